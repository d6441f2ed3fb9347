"""A trough found by feeding balls, the answers taken from the simulator."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs
import pytest

from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.interchange.beginning import feeding, starting
from simrig.interchange.beginning.questions import answered, open_questions
from simrig.interchange.switch_list import read as read_list
from simrig.interchange.toml_writer import written
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.scan.scanner import Links, links, readings
from simrig.sensing.chain import chain, contact
from simrig.world.balls import settled
from simrig.world.worlds import Value, worlds

FOLDER = Path(__file__).parents[2] / "plugins/simrig_machines"
MACHINES = {path.stem: read(path.read_bytes(), path.name) for path in FOLDER.glob("*.toml")}
POSITION_3 = {
    "tidal-clockwork": "emitter-dead:trough-3",
    "basalt-freight": "emitter-dead:trough-3",
    "orchard-signal": "contact-stuck-open:trough-1",
}
"""What kills the third position from the exit end."""


def list_of(machine: Profile) -> bytes:
    """The machine's switch list as a manual gives it: numbers and names."""
    return "".join(f"{s.number}\t{s.title}\t{s.address}\n" for s in machine.sensor).encode()


def display(machine: Profile, table: Links, balls: int) -> dict[str, str]:
    """What the machine's own display shows with this many balls in the trough, no others."""
    (placement,) = settled(machine, {"trough": balls})
    frame = readings(machine, table, worlds(machine, (placement,)))
    return {sensor.id: frame.reading(sensor.id) for sensor in machine.sensor}


def number(machine: Profile, name: str) -> int:
    return machine.row("sensor", name).number  # type: ignore[no-any-return]


def fed(
    machine: Profile, table: Links, *, listed: bool = True, balls: int | None = None
) -> Profile:
    """Feed all balls of a simulated machine into a profile that begins with nothing else."""
    profile = starting.begin("new", balls)
    if listed:
        profile, _ = starting.with_switches(profile, read_list(list_of(machine), "list"))
    before = display(machine, table, 0)
    closed = [str(number(machine, name)) for name, seen in before.items() if seen == "closed"]
    profile = feeding.emptied(profile, ", ".join(closed) or "none")
    for ball in range(1, machine.balls.installed + 1):
        after = display(machine, table, ball)
        changed = [
            f"{number(machine, name)} {seen}"
            for name, seen in after.items()
            if seen != before[name]
        ]
        # Kept and read again after each ball, as a closed lid would have it.
        profile = read(
            written(feeding.ball_fed(profile, ", ".join(changed) or "none")).encode(), "x"
        )
        before = after
    return feeding.finished(profile)


def order(profile: Profile) -> list[int | None]:
    """The numbers of the trough's switches from the exit end."""
    found: dict[int, int | None] = {}
    for spot in profile.spots.values():
        if spot.place == "trough" and spot.position is not None:
            sensors = profile.covering.get(spot.id, ())
            found[spot.position] = sensors[0].number if sensors else None
    return [found[position] for position in sorted(found)]


def polarity(profile: Profile) -> Mapping[int, str]:
    """The reading with a ball of each switch of the trough, from its chain."""
    return {
        sensor.number or 0: "closed"
        if contact(chain(profile, sensor), Value(1, 1), 1).surely
        else "open"
        for sensor in profile.sensor
        if any(spot.startswith("trough.") and spot != "trough.jam" for spot in sensor.spots)
    }


@pytest.mark.parametrize("name", MACHINES)
@pytest.mark.parametrize("listed", [True, False])
@pytest.mark.parametrize("said", [True, False])
def test_feeding_finds_the_trough_its_order_and_its_polarity(
    name: str, listed: bool, said: bool
) -> None:
    """With a list or without, ball count known before or not, the trough is the real one's."""
    machine = MACHINES[name]
    balls = machine.balls.installed if said else None
    profile = fed(machine, links(machine), listed=listed, balls=balls)
    assert order(profile) == order(machine)
    assert polarity(profile) == polarity(machine)
    assert profile.balls.installed == machine.balls.installed
    assert feeding.shown(profile).reports == ()
    assert profile.row("place", "trough").seats == machine.row("place", "trough").seats


@pytest.mark.parametrize("name", MACHINES)
def test_positions_keep_the_numbers_of_their_names(name: str) -> None:
    """A trough that is numbered from its far end by its names is written so."""
    machine = MACHINES[name]
    profile = fed(machine, links(machine))
    trough = machine.row("place", "trough")
    assert profile.row("place", "trough").position_1 == trough.position_1
    assert [s.at for s in profile.sensor if s.spots] == [
        s.at for s in machine.sensor if any(spot.startswith("trough.") for spot in s.spots)
        and s.at != ("trough.jam",)
    ]  # fmt: skip


@pytest.mark.parametrize("name", MACHINES)
def test_a_dead_position_is_reported_and_not_built_in(name: str) -> None:
    """The trough has its place for it, no switch is bound there, and its name is told."""
    machine = MACHINES[name]
    fault = fault_named(possible_faults(machine), POSITION_3[name])
    profile = fed(machine, inject(machine, links(machine), [fault]))
    expected = order(machine)
    dead, expected[2] = expected[2], None
    assert order(profile) == expected
    real = {key: word for key, word in polarity(machine).items() if key != dead}
    assert polarity(profile) == real
    (report,) = feeding.shown(profile).reports
    assert report.startswith("Ball 3 changed nothing")
    assert f"({dead})" in report
    assert "not built in" in report


def test_a_stranger_that_answers_in_place_of_a_silent_switch_is_not_built_in() -> None:
    """A diode the wrong way round shows a ball at another switch: both are told of."""
    listed = read_list(b"31 trough 1\n32 trough 2\n33 trough 3\n44 engine target\n", "list")
    profile, _ = starting.with_switches(starting.begin("new", 3), listed)
    profile = feeding.emptied(profile, "none")
    for line in ("31", "44", "33"):
        profile = feeding.ball_fed(profile, line)
    assert order(feeding.finished(profile)) == [31, None, 33]
    (report,) = feeding.shown(profile).reports
    assert "engine target (44)" in report
    assert "trough 2 (32)" in report


@pytest.mark.parametrize(("empty", "lines", "words"), [
    ("33", ("31", "32", "33"), "trough 3 (33) reads open with a ball where most others read closed"),
    ("none", ("31", "33", "32"), "look whether leads are exchanged"),
])  # fmt: skip
def test_what_is_not_like_its_neighbours_is_built_in_and_told_of(
    empty: str, lines: tuple[str, ...], words: str
) -> None:
    """One that reads the other way round, and two that answer in each other's turn."""
    listed = read_list(b"31 trough 1\n32 trough 2\n33 trough 3\n", "list")
    profile, _ = starting.with_switches(starting.begin("new", 3), listed)
    profile = feeding.emptied(profile, empty)
    for line in lines:
        profile = feeding.ball_fed(profile, line)
    assert order(feeding.finished(profile)) == [int(line) for line in lines]
    (report,) = feeding.shown(profile).reports
    assert words in report


def test_a_switch_that_lets_go_again_is_reported_and_not_built_in() -> None:
    """One that answers to ball 1 and changes back at ball 3 does not hold."""
    profile = feeding.emptied(starting.begin("new", 3), "none")
    for line in ("31 closed", "32 closed", "33 closed, 31 open"):
        profile = feeding.ball_fed(profile, line)
    profile = feeding.finished(profile)
    assert order(profile) == [None, 32, 33]
    assert "does not hold" in " ".join(feeding.shown(profile).reports)


def test_two_switches_that_one_ball_changes_are_not_guessed_between() -> None:
    """Unless one of them alone is named after the trough."""
    profile = feeding.ball_fed(
        feeding.emptied(starting.begin("new", 1), "none"), "31 closed, 40 closed"
    )
    assert order(feeding.finished(profile)) == [None]
    listed = read_list(b"31 trough 1\n40 left lane\n", "list")
    profile, _ = starting.with_switches(starting.begin("new", 1), listed)
    profile = feeding.ball_fed(feeding.emptied(profile, "none"), "31 closed, 40 closed")
    assert order(feeding.finished(profile)) == [31]
    assert "left lane (40) is not built in" in feeding.shown(profile).reports[0]


@pytest.mark.parametrize(("line", "words"), [
    ("31 closed, 31 open", "read"), ("31 closed", "read closed before"), ("99 shut", "no sensor"),
    ("column 3 row 99 closed", "from 1 to 64"),
])  # fmt: skip
def test_an_answer_that_cannot_be_is_refused_in_words(line: str, words: str) -> None:
    """A switch that read closed with all out has not become closed; a word is no switch."""
    profile = feeding.emptied(starting.begin("new", 3), "31")
    with pytest.raises(ValueError, match=words):
        feeding.ball_fed(profile, line)


def test_without_the_empty_readings_the_word_closed_or_open_is_wanted() -> None:
    """With them, naming the switch is enough: it is the other way round now."""
    blind = feeding.emptied(starting.begin("new", 2), "don't know")
    with pytest.raises(ValueError, match="closed or open"):
        feeding.ball_fed(blind, "31")
    seen = feeding.emptied(starting.begin("new", 2), "31")
    seen = feeding.finished(feeding.ball_fed(feeding.ball_fed(seen, "31"), "32"))
    assert polarity(seen) == {31: "open", 32: "closed"}


def test_a_line_can_be_taken_back() -> None:
    """The last ball first, then the readings with all out, then nothing is left."""
    start = starting.begin("new", 2)
    empty = feeding.emptied(start, "none")
    one = feeding.ball_fed(empty, "31 closed")
    assert feeding.taken_back(one).begun == empty.begun
    assert feeding.taken_back(empty).begun == {}
    with pytest.raises(ValueError, match="nothing"):
        feeding.taken_back(start)


def test_feeding_leaves_the_questions_that_it_cannot_answer() -> None:
    """Balls, trough and the way the switches read are no longer asked."""
    machine = MACHINES["tidal-clockwork"]
    profile = fed(machine, links(machine))
    assert [one.id for one in open_questions(profile)] == [
        "captive", "places", "kinds", "ready", "interlock"]  # fmt: skip


def test_feeding_a_machine_that_has_a_trough_in_its_file_checks_it() -> None:
    """Exchanged leads come back as a profile that may be wrong, and nothing is moved."""
    listed = read_list(b"31 trough 1\n32 trough 2\n", "list")
    profile, _ = starting.with_switches(starting.begin("new", 2), listed)
    trough = next(one for one in open_questions(profile) if one.id == "trough")
    profile = feeding.emptied(answered(profile, trough, "31, 32"), "none")
    profile = feeding.ball_fed(feeding.ball_fed(profile, "32 closed"), "31 closed")
    words = feeding.disagreements(profile, feeding.shown(profile))
    assert len(words) == 2
    assert "may be wrong here" in words[0]
    assert order(feeding.finished(profile)) == [31, 32]
    assert attrs.evolve(profile, begun=None).place == feeding.finished(profile).place
