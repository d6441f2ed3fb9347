"""The catalogue: what each check says about each fault, worked out by hand from the chain.

Bench Mill: 12 V light supply behind f1 -> plug -> return -> 560 ohm -> joint -> emitter
-> beam -> receiver -> eye-plug -> channel (closed when dark) -> 5 V logic -> out-plug.
"""

from __future__ import annotations

import os
import re
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings

import simrig
from simrig.diagnosis.bench_case import Act, Case, Ground
from simrig.diagnosis.checks import catalogue, check_named, outcomes, result_named
from simrig.diagnosis.suspects import Mistake
from simrig.diagnosis.wrong_facts import assumed_facts
from simrig.faults.candidates import fault_named, possible_faults
from simrig.profile.machine import Profile
from simrig.sensing.chain import Part
from tests.diagnosis.bench_machine import TEXT, bench_machine
from tests.generated_profiles import profiles

FULL = bool(os.environ.get("SIMRIG_FULL"))
MILL = bench_machine()
CHECKS = catalogue(MILL)
FAULTS = possible_faults(MILL)


def says(check: str, *faults: str) -> str:
    """The only result that a check can give with these faults."""
    found = outcomes(check_named(CHECKS, check), [fault_named(FAULTS, name) for name in faults])
    assert len(found) == 1, found
    return next(iter(found))


@pytest.mark.parametrize(
    ("fault", "camera", "volts"),
    [
        # Healthy, there is about a volt and a bit across an infra-red emitter; failed
        # open, the full supply; with its resistor or the bank open, nothing (common
        # practice, no source).
        (None, "lit", "forward"),
        ("emitter-dead:t1", "dark", "full"),
        ("emitter-joint-cracked:t1", "dark", "full"),
        ("resistor-lead-broken:t1", "dark", "none"),
        ("plug-off:plug-a", "dark", "none"),
        ("bank-return-open:low", "dark", "none"),
        ("fuse-blown:f1", "dark", "none"),
        ("supply-lost:light", "dark", "none"),
        ("emitter-shorted:t1", "dark", "none"),
        # Behind the emitter nothing changes its light or its volts.
        ("beam-obstructed:t1", "lit", "forward"),
        ("receiver-dead:t1", "lit", "forward"),
        ("board-dead:eyes", "lit", "forward"),
        # Another bank's plug is not in this chain.
        ("plug-off:plug-b", "lit", "forward"),
    ],
)
def test_light_and_volts_follow_from_the_place_in_the_chain(
    fault: str | None, camera: str, volts: str
) -> None:
    """The camera sees an emitter lit if all links up to it pass; volts tell before from behind."""
    named = [] if fault is None else [fault]
    assert says("camera-t1", *named) == camera
    assert says("volts-t1", *named) == volts


@pytest.mark.parametrize(
    ("check", "faults", "result"),
    [
        ("volts-t1", ("emitter-dead:t1", "resistor-lead-broken:t1"), "none"),
        ("volts-t1", ("emitter-shorted:t1", "emitter-joint-cracked:t1"), "full"),
        ("resistor-t1", ("resistor-lead-broken:t1",), "open"),
        ("resistor-t1", ("emitter-dead:t1",), "value"),
        ("emitter-t1", ("emitter-dead:t1",), "open"),
        ("emitter-t1", ("emitter-shorted:t1",), "short"),
        ("emitter-t1", ("resistor-lead-broken:t1",), "conducts"),
        # The board's contact closes when dark: a beam without light stays closed.
        ("work-t1", (), "answers"),
        ("work-t1", ("emitter-dead:t1",), "stays-closed"),
        ("work-t1", ("receiver-flooded:t1",), "stays-open"),
        ("work-t1", ("board-dead:eyes",), "stays-open"),
        ("work-t1", ("plug-off:eye-plug",), "stays-closed"),
        ("work-lane-ball", ("contact-wrong-lug:lane-ball",), "inverted"),
        ("work-t1", ("leads-exchanged:t1+t2",), "elsewhere"),
        # A known-good emitter replaces the whole emitter's side.
        ("light-t1", ("emitter-dead:t1",), "answers"),
        ("light-t1", ("fuse-blown:f1",), "answers"),
        ("light-t1", ("receiver-dead:t1",), "stays-closed"),
        ("light-t1", ("wire-open:t1",), "stays-open"),
        # Bridging at the board leaves out the receiver, at the controller also the wire.
        ("channel-t1", ("receiver-dead:t1",), "answers"),
        ("channel-t1", ("channel-on:t1",), "stays-closed"),
        ("bridge-t1", ("channel-on:t1",), "answers"),
        ("bridge-t1", ("wire-open:t1",), "stays-open"),
        ("bridge-input-t1", ("wire-open:t1",), "answers"),
        ("bridge-input-t1", ("input-shorted:t1",), "stays-closed"),
        ("wire-t1", ("wire-open:t1",), "open"),
        ("contact-lane-ball", ("contact-stuck-closed:lane-ball",), "stays-closed"),
        ("contact-lane-ball", ("wire-open:lane-ball",), "works"),
        # Putting it right cures what it puts right, and nothing else.
        ("wipe-t1", ("beam-dirty:t1",), "cured"),
        ("wipe-t1", ("beam-misaligned:t1",), "no-change"),
        ("wipe-t1", ("beam-dirty:t1", "channel-on:t1"), "no-change"),
        ("aim-t1", ("beam-misaligned:t1",), "cured"),
        ("reseat-plug-a", ("plug-off:plug-a",), "cured"),
        ("reseat-plug-a", ("fuse-blown:f1",), "no-change"),
        ("reseat-plug-a", ("plug-off:plug-b",), "was-right"),
        ("reseat-lane-plug", ("plug-off:lane-plug",), "cured"),
        # Two plugs exchanged: a fault before the plug goes along, one behind it stays.
        ("exchange-plug-a+plug-b", (), "neither"),
        ("exchange-plug-a+plug-b", ("plug-off:plug-a",), "second"),
        ("exchange-plug-a+plug-b", ("emitter-dead:t1",), "first"),
        ("exchange-plug-a+plug-b", ("fuse-blown:f1",), "both"),
        # Ball counts: dark is seen at an empty position only.
        ("read-empty", ("emitter-dead:t1",), "t1"),
        ("read-home", ("emitter-dead:t1",), "right"),
        ("read-1", ("emitter-dead:t2",), "t2"),
        ("read-2", ("emitter-dead:t2",), "right"),
        ("read-empty", ("plug-off:plug-a",), "t1+t2"),
        ("read-home", ("board-dead:eyes",), "t1+t2+t3"),
        ("read-2", ("leads-exchanged:t2+t3",), "t2+t3"),
        ("count-balls", ("ball-missing:any",), "fewer"),
        ("count-balls", ("ball-extra:any",), "more"),
        ("way-drain", ("ball-hung:drain",), "ball"),
        ("look-t1", ("beam-obstructed:t1",), "object"),
        ("look-t1", ("beam-dirty:t1",), "clear"),
        ("supply-logic", ("fuse-blown:f2",), "none"),
        ("fuse-f1", ("fuse-blown:f1",), "open"),
        ("fuse-f3", ("coil-fuse-blown:f3",), "open"),
        ("coil-kicker", ("coil-open:kicker",), "open"),
        ("kick-kicker", ("driver-dead:kicker",), "dead"),
        ("kick-kicker", ("interlock-open:door",), "dead"),
        ("kick-kicker", ("interlock-stuck:door",), "kicks"),
        ("interlock", ("interlock-stuck:door",), "stays-closed"),
        ("tap-low", ("emitter-joint-loose:t1",), "changes"),
        ("tap-low", ("emitter-joint-cracked:t1",), "steady"),
    ],
)
def test_what_a_check_says_about_a_fault(check: str, faults: tuple[str, ...], result: str) -> None:
    """Worked out by hand along the chain of Bench Mill (derived; common practice)."""
    assert says(check, *faults) == result


def test_on_a_board_that_closes_when_lit_the_same_break_reads_the_other_way() -> None:
    """Polarity follows from the links: nothing in a check assumes it."""
    lit = bench_machine(TEXT.replace('output_closes = "dark"', 'output_closes = "lit"'))
    checks, faults = catalogue(lit), possible_faults(lit)
    dark = fault_named(faults, "emitter-dead:t1")
    assert outcomes(check_named(checks, "work-t1"), dark) == {"stays-open"}
    assert outcomes(check_named(checks, "camera-t1"), dark) == {"dark"}


def test_mates_tell_what_is_shared_from_what_is_one_sensor_s_own() -> None:
    """All of a bank dark: none answers; one dark: some do (three beams on one bank, by hand)."""
    shared = bench_machine(TEXT.replace('bank = "high"', 'bank = "low"'))
    checks, faults = catalogue(shared), possible_faults(shared)

    def mates(*names: str) -> frozenset[str]:
        chosen = [fault_named(faults, name) for name in names]
        return outcomes(check_named(checks, "mates-low"), chosen)

    assert mates() == {"all"}
    assert mates("plug-off:plug-a") == {"none"}
    assert mates("emitter-dead:t2") == {"some"}
    assert mates("emitter-dead:t1", "emitter-dead:t2", "emitter-dead:t3") == {"none"}


def test_the_reader_s_mistakes_show_in_what_the_reader_says() -> None:
    """Symbols the wrong way round invert an answer; a second look ends a misreading."""
    ground = Ground.of(MILL)
    symbols = Case(ground=ground, mistakes=(Mistake(kind="symbols", value="all"),))
    misread = Case(ground=ground, mistakes=(Mistake(kind="misread", value="t1", sheet=0),))
    by_id = {check.id: check for check in CHECKS}
    assert by_id["work-t1"].outcomes(symbols) == {"inverted"}
    assert by_id["camera-t1"].outcomes(symbols) == {"lit"}
    assert by_id["read-again"].outcomes(misread) == {"changed"}
    assert by_id["work-t1"].outcomes(misread) == {"answers"}


def test_volts_are_offered_only_on_stated_low_supplies() -> None:
    """A supply of unknown volts, or of more than 24 V d.c., has no voltage check."""
    for text in (TEXT.replace("volts = 12\n", ""), TEXT.replace("volts = 12\n", "volts = 48\n")):
        ids = {check.id for check in catalogue(bench_machine(text))}
        assert "volts-t1" not in ids
        assert "supply-light" not in ids
        assert "supply-logic" in ids


def test_checks_are_made_only_for_stated_parts() -> None:
    """No interlock, no interlock check; no return stated, none rung through."""
    without = bench_machine(TEXT.replace("[interlock]\nfitted = true\n", ""))
    ids = {check.id for check in catalogue(without)}
    assert "interlock" not in ids
    assert "kick-kicker" in ids
    assert not any(name.startswith("return-") for name in ids)


def test_an_unknown_polarity_widens_the_results() -> None:
    """Where nobody knows how a contact stands at rest, a reading parts nothing by it."""
    unknown = bench_machine(TEXT.replace('contact = "normally open"\n', ""))
    checks = catalogue(unknown)
    can = check_named(checks, "work-lane-ball").sound
    assert {"answers", "stays-open", "stays-closed"} <= can | {"answers"}
    assert len(can) > 1
    assert check_named(checks, "contact-lane-ball").sound == frozenset()


def test_every_single_fault_of_the_machine_is_parted_from_every_other() -> None:
    """With one coil on its bank, driver and supply alone look alike; a second coil parts them."""

    def alike(text: str) -> list[list[str]]:
        machine = bench_machine(text)
        checks = catalogue(machine)
        groups: dict[object, list[str]] = {}
        for fault in possible_faults(machine):
            told = tuple(outcomes(check, fault) for check in checks)
            groups.setdefault((fault.kind.intermittent, told), []).append(fault.name)
        return [names for names in groups.values() if len(names) > 1]

    assert alike(TEXT) == [["driver-dead:kicker", "coil-supply-lost:kickers"]]
    assert alike(TEXT + '[[coil]]\nid = "gate"\nbank = "kickers"\n') == []


def test_names_that_do_not_exist_are_answered_with_near_ones() -> None:
    """A check or a result that is not there: what was meant, what is known."""
    with pytest.raises(ValueError, match=r'no check "camra-t1"; did you mean camera-t1'):
        check_named(CHECKS, "camra-t1")
    camera = check_named(CHECKS, "camera-t1")
    with pytest.raises(ValueError, match="it knows: lit, dark; did you mean dark"):
        result_named(camera, "darkk")
    listing = check_named(CHECKS, "read-empty")
    assert result_named(listing, "t3,t1") == "t1+t3"
    assert result_named(listing, "Right") == "right"
    with pytest.raises(ValueError, match="t9"):
        result_named(listing, "t9")


def test_every_check_is_whole() -> None:
    """An id of its own, a title without dashes of an id, results, minutes, needs in words."""
    assert len({check.id for check in CHECKS}) == len(CHECKS)
    for check in CHECKS:
        assert re.fullmatch(r"[a-z0-9+-]+", check.id)
        assert len(check.results) >= 2
        assert 0 < check.minutes <= 12
        assert all(need.words() for need in check.needs)
        assert check.sound <= set(check.results) or check.listing


@settings(max_examples=40 if FULL else 6)
@given(profiles())
def test_whatever_the_machine_each_result_is_one_that_the_check_knows(profile: Profile) -> None:
    """Over made-up machines: checks can be made, and every fault gives known results."""
    checks = catalogue(profile)
    assert len({check.id for check in checks}) == len(checks)
    faults = possible_faults(profile)
    sensors = {sensor.id for sensor in profile.sensor}
    for fault in faults[:: max(1, len(faults) // 12)]:
        for check in checks:
            for word in outcomes(check, fault):
                assert word in check.results or set(word.split("+")) <= sensors


def unlike_the_short_cut(profile: Profile, step: int) -> list[tuple[str, str]]:
    """The checks and faults for which leaving out what does not concern a check tells otherwise."""
    checks = catalogue(profile)
    found = []
    for fault in possible_faults(profile)[::step]:
        case = Case(ground=checks[0].ground, faults=(fault,))
        found += [
            (check.id, fault.name) for check in checks if check.outcomes(case) != check.judge(case)
        ]
    return found


def test_a_check_is_skipped_only_where_a_case_cannot_touch_it() -> None:
    """The short cut for what does not concern a check gives what the check itself gives."""
    assert unlike_the_short_cut(MILL, 3) == []


@settings(max_examples=40 if FULL else 4)
@given(profiles())
def test_the_short_cut_holds_on_every_matrix(profile: Profile) -> None:
    """Lines, diodes, sneak paths: over made-up machines, every kind of fault."""
    assert unlike_the_short_cut(profile, 2) == []


def _mistaken(machine: Profile, check: str, mistake: Mistake, **ground: Any) -> frozenset[str]:
    about = Ground.of(machine, **ground)
    found = check_named(catalogue(machine, ground=about), check)
    return found.outcomes(Case(ground=about, mistakes=(mistake,)))


def test_what_was_taken_for_granted_is_asked_by_eye_alone() -> None:
    """Symbols, numbering, an assumed fact: each check answers for its own mistake only."""
    assumed = TEXT.replace(
        'contact = "normally open"', 'contact = "normally open"\nassumed = { contact = "drawn so" }'
    )
    machine = bench_machine(assumed)
    (fact,) = assumed_facts(machine)
    mistakes = {
        "symbols": Mistake(kind="symbols", value="eyes"),
        "end-trough": Mistake(kind="numbering", value="trough"),
        "fact-lane-ball-contact": Mistake(kind="profile", value="lane ball contact", fact=fact),
    }
    sound = {check: _mistaken(machine, check, _misread()) for check in mistakes}
    for check in mistakes:
        for asked, mistake in mistakes.items():
            found = _mistaken(machine, check, mistake)
            assert (found != sound[check]) == (asked == check), (check, asked)
        assert check_named(catalogue(machine), check).work == "look"


def _misread() -> Mistake:
    return Mistake(kind="misread", value="t1", sheet=0)


def test_wrong_lug_and_wrong_profile_are_parted_by_the_manual() -> None:
    """Both read the other way round; the machine's own manual agrees with the profile or not."""
    machine = bench_machine(
        TEXT.replace(
            'contact = "normally open"',
            'contact = "normally open"\nassumed = { contact = "drawn so" }',
        )
    )
    (fact,) = assumed_facts(machine)
    wrong = Mistake(kind="profile", value="lane ball contact", fact=fact)
    about = Ground.of(machine)
    checks = catalogue(machine, ground=about)
    lug = Case(
        ground=about,
        faults=(fault_named(possible_faults(machine), "contact-wrong-lug:lane-ball"),),
    )
    profile = Case(ground=about, mistakes=(wrong,))
    parting = [one.id for one in checks if one.outcomes(lug) != one.outcomes(profile)]
    assert parting == ["fact-lane-ball-contact"]


def test_balls_are_looked_for_where_nobody_saw_them() -> None:
    """Missing, stacked, in another phase: they lie otherwise; what a part does moves none."""
    for name, told in (
        ("ball-missing:any", "otherwise"),
        ("balls-stacked:trough", "otherwise"),
        ("emitter-dead:t1", "as-assumed"),
    ):
        assert says("look-balls", name) == told, name
    for kind, sheet, told in (
        ("phase", 0, "otherwise"),
        ("passing", 0, "otherwise"),
        ("phase", 1, "as-assumed"),
    ):
        mistake = Mistake(kind=kind, value="ready", sheet=sheet)
        assert _mistaken(MILL, "look-balls", mistake) == {told}, (kind, sheet)
    seen = catalogue(MILL, ground=Ground.of(MILL, balls_seen=True))
    assert "look-balls" not in {one.id for one in seen}


@pytest.mark.parametrize(
    ("fault", "works", "meter"),
    [
        ("contact-gap-wide:lane-ball", "only-pressed", "only-pressed"),
        ("contact-stuck-open:lane-ball", "stays-open", "stays-open"),
        ("contact-stuck-closed:lane-ball", "stays-closed", "stays-closed"),
        # The wire is behind the contact: pressing it changes nothing at the address.
        ("wire-open:lane-ball", "stays-open", "works"),
    ],
)
def test_a_wide_gap_closes_when_the_contact_itself_is_pressed(
    fault: str, works: str, meter: str
) -> None:
    """A contact that never closes stays open when pressed; one whose gap is wide does not."""
    assert says("work-lane-ball", fault) == works
    assert says("contact-lane-ball", fault) == meter


def test_a_wide_gap_beside_an_open_wire_stays_open_when_pressed() -> None:
    """Pressing the contact mends the gap, not the wire."""
    both = ("contact-gap-wide:lane-ball", "wire-open:lane-ball")
    assert says("work-lane-ball", *both) == "stays-open"


def test_a_plug_of_wires_alone_can_be_tapped() -> None:
    """No board is behind the lane's plug: a tap on the plug itself tells loose from off."""
    assert says("tap-plug-lane-plug", "plug-loose:lane-plug") == "changes"
    assert says("tap-plug-lane-plug", "plug-off:lane-plug") == "steady"
    ids = {check.id for check in CHECKS}
    assert "tap-plug-plug-a" not in ids  # its bank's boards are tapped
    assert "tap-low" in ids


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_what_was_told_of_one_fault_is_told_of_two_only_where_it_holds(machine: str) -> None:
    """A check that has been asked about each fault of a pair says of both what one says that was
    never asked before: leads, lines and diodes carry what the other does to its sensors."""
    profile = simrig.load(machine)
    asked, fresh = catalogue(profile), catalogue(profile)
    faults, chance = possible_faults(profile), Random(f"{machine} 1")
    carrying = [one for one in faults if asked[0].ground.carries(one)]
    for _ in range(25):
        pair = (chance.choice(carrying), chance.choice(faults))
        if pair[0].component == pair[1].component:
            continue
        for check, other in zip(asked, fresh, strict=True):
            for fault in pair:
                outcomes(check, [fault])
            case = Case(ground=other.ground, faults=pair)
            bears = other.sensors & case.touched or other.parts & case.parts or other.asks & case.of
            wanted = other.judge(case) if bears else other.sound
            assert outcomes(check, pair) == wanted, (check.id, [one.name for one in pair])


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_worked_by_hand_in_worlds_of_its_own_reads_as_with_its_contact_held(machine: str) -> None:
    """For pairs of faults and each sensor: the same readings empty and with every ball home."""
    profile = simrig.load(machine)
    ground = Ground.of(profile)
    faults, chance = possible_faults(profile), Random(f"{machine} 2")
    for _ in range(40):
        pair = tuple({one.component: one for one in chance.sample(faults, 2)}.values())
        case = ground.case(pair)
        for sensor in chance.sample(profile.sensor, 4):
            by_hand = frozenset((sensor.id,))
            own = case.cells(Act(by_hand=by_hand))
            held = case.cells(Act(by_hand=by_hand, edit=lambda table: table))
            for balls in (0, "home"):
                for one in profile.sensor:
                    assert case.reads(own, one.id, balls) == case.reads(held, one.id, balls)


def test_a_plug_pushed_home_beside_another_fault_cures_a_part_of_it() -> None:
    """By hand: with plug-a off both lower beams are dark; pushed home, the one whose own wire is
    open stays so, the other reads right."""
    behind = sorted(CHECKS[0].ground.behind(Part("connector", "plug-a")))
    assert len(behind) > 1
    assert says("reseat-plug-a", "plug-off:plug-a") == "cured"
    assert says("reseat-plug-a", "plug-off:plug-a", f"receiver-dead:{behind[0]}") == "partly"
    assert says("reseat-plug-a", f"receiver-dead:{behind[0]}") == "no-change"
