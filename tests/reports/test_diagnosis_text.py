"""The words of a diagnosis: groups, shared causes first, what a group is called."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import attrs
import pytest

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.diagnose import diagnose
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import observe
from simrig.profile.reader import read
from simrig.reports import diagnosis_text as report
from simrig.reports import isolation_text
from simrig.world.phases import Conditions
from tests.diagnosis.small_machine import TEXT, machine, sheet

MACHINE = machine()


def test_what_wrong_readings_share_comes_first() -> None:
    """Two wrong readings, resistors that break all the time: one thing for both still comes first."""
    brittle = machine(TEXT.replace("[balls]", "[priors]\nresistor-lead-broken = 100\n[balls]", 1))
    seen = sheet(brittle, ["t1", "t2"], unknown=["t3"])
    empty = Sheet(observation=seen.observation, conditions=Conditions(spots=frozenset()))
    found = diagnose(brittle, [empty])
    shown = report.top_groups(found)
    assert sorted(shown) == [1, 2, 3]
    members = [found.group(number)[0].members for number in shown]
    assert [len(one) for one in members] == [1, 1, 2]
    assert shown[2] == 1
    symbols, fuse = (found.group(number)[0] for number in shown[:2])
    assert [one.kind for one in symbols.assumes] == ["symbols"]
    assert found.whys.grouping.touches(fuse.faults[0]) >= {"t1", "t2"}


def test_a_group_at_one_sensor_names_it_once() -> None:
    """What fails at one sensor and shows alike is told in one breath."""
    seen = sheet(MACHINE, ["t2"], balls=0)
    found = diagnose(MACHINE, [seen], limit=1, apart=lambda fault: None)
    group = next(one.group for one in found.causes if one.faults and one.faults[0].sensor == "t2")
    words = report.group_words(found, group)
    assert words.count("t2") == 1
    assert words.startswith("at t2: ")
    assert " or " in words


def test_the_sensor_that_holds_most_of_the_chance_is_told() -> None:
    """Many things at one sensor, each unlikely, are together likely; the screen says so."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)])
    assert "All that can fail at t2 alone, together: about 8 in 10." in report.screen(found)


def test_a_single_cause_left_is_named() -> None:
    """Only where one thing is left does the verdict name it.

    Exchanged columns would show the full machine alike, the empty one rules them out.
    """
    full = sheet(MACHINE, ["launcher-ball"])
    empty = sheet(MACHINE, ["t1", "t2", "t3", "launcher-ball"], balls=0)
    swapped = diagnose(MACHINE, [full, empty], limit=1)
    assert "Only this is left: all symbols taken the wrong way round." in report.verdict(swapped)
    several = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)], limit=1)
    assert "none is sure yet" in report.verdict(several)


def test_readings_that_are_right() -> None:
    """A missing ball leaves every reading right: the verdict does not speak of wrong sensors."""
    seen = [sheet(MACHINE, ["t1", "t2"]), sheet(MACHINE, ["t1"], balls=2)]
    found = diagnose(MACHINE, seen, limit=1)
    lines = report.screen(found)
    assert any("count the balls" in line for line in lines)
    assert any("a ball is missing" in line for line in lines)


def test_another_look_is_asked_for_where_no_check_is() -> None:
    """Where symbols may be swapped and no catalogue is at hand, another look stands first."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["launcher-ball"])], limit=1)
    first = "First, it costs nothing: make sure which symbol means closed."
    assert first in report.screen(found)
    assert first not in report.screen(found, next_lines=lambda most: ["Next: a check."])


def test_a_long_way_to_the_next_check_is_cut_to_the_screen() -> None:
    """Whatever must be done before the next check, the first screen keeps to its 20 lines."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["t2"], balls=0)], limit=1)
    asked = []

    def long(most: int) -> list[str]:
        asked.append(most)
        return ["do this"] * most

    assert len(report.screen(found, next_lines=long)) <= 20
    assert min(asked) >= 5


def test_what_nobody_named_is_said_to_be_so() -> None:
    """Open named alone leaves the launcher taken for closed: the verdict says where that came from."""
    seen = observe(MACHINE, open=["t1", "t2", "t3"], open_named=True)
    where = "Not as it must be at launcher-ball (not named, so taken for closed)."
    for named, note in ((seen, True), (attrs.evolve(seen, unnamed=frozenset()), False)):
        asked = Sheet(observation=named, conditions=Conditions(balls=0))
        assert (where in report.verdict(diagnose(MACHINE, [asked], limit=1))) is note


def test_the_verdict_is_followed_by_the_repair_where_one_thing_is_left() -> None:
    """One thing left: its caution, the repair in words, and what proves it, in this order."""
    job = Job(profile=MACHINE, sheets=(sheet(MACHINE, ["t2"], balls=0),), limit=1)
    results = [job.result("look-t2", "object")]
    isolation = job.isolation(results)
    lines = report.screen(
        job.diagnosis(results),
        next_lines=partial(isolation_text.next_lines, isolation, machine="lantern.toml"),
    )
    text = " ".join(" ".join(lines).split())
    caution = text.index("Caution: Balls out, unplugged, charge measured gone")
    repair = text.index("Next: take the object out, unless you did with look-t2.")
    proof = text.index("simrig prove lantern.toml --repaired t2")
    assert caution < repair < proof


def test_symbols_of_a_board_that_explain_several_readings_stand_before_one_part() -> None:
    """What is shared by several wrong readings comes first, also where a reader's mistake does it."""
    found = diagnose(MACHINE, [sheet(MACHINE, ["launcher-ball"])], limit=1)
    shown = report.top_groups(found)
    shared = [number for number in shown if found.group(number)[0].assumes]
    assert shared
    assert shown[: len(shared)] == shared


@pytest.mark.parametrize(
    ("closed", "phase", "balls", "said"),
    [
        # One in the launcher, none in the trough: with one ball no phase has it so.
        (["launcher-ball"], "idle", 1, False),  # ready has
        (["t1", "launcher-ball"], "idle", 3, False),  # a ball is not there: no settled way
        (["t1", "t2", "t3"], "ready", 3, False),  # idle has
    ],
)
def test_where_a_phase_has_the_balls_nothing_more_is_said(
    closed: list[str], phase: str, balls: int, said: bool
) -> None:
    """A way that a phase names, or that leaves a ball out, is not told a second time."""
    found = diagnose(MACHINE, [sheet(MACHINE, closed, phase=phase, balls=balls)], limit=1)
    assert bool(found.as_read) is said


def test_a_way_that_no_phase_names_is_told_before_any_part() -> None:
    """Three home and one in the hopper, none in the lane: no phase of Frost Mill has that."""
    path = Path(__file__).parents[1] / "stories" / "frost-mill.toml"
    mill = read(path.read_bytes(), path.name)
    seen = observe(mill, closed=["trough-3", "trough-4", "trough-5", "hopper-1"], closed_named=True)
    asked = Sheet(observation=seen, conditions=Conditions(phase="ready", balls=4))
    found = diagnose(mill, [asked], limit=1)
    assert found.as_read == ({"trough": 3, "hopper": 1},)
    text = " ".join(" ".join(report.screen(found)).split())
    assert (
        "If every reading is right, the balls lie as no phase of the profile has them: 3 balls in "
        "the ball trough and 1 ball in the hopper lock. Look there first." in text
    )
