"""The repair of one part: where hands come to it, what it mends, what has to be said with it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import attrs
import pytest

from simrig.diagnosis.bench_case import Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.repairs import (
    is_repair,
    mended,
    repair,
    repair_caution,
    repair_named,
    shared,
)
from simrig.faults.candidates import Fault, fault_named, possible_faults
from simrig.faults.modes import FAULT_KINDS
from simrig.sensing.chain import Part
from tests.diagnosis.bench_machine import bench_machine

GROUND = Ground.of(bench_machine())
FAULTS = possible_faults(GROUND.profile)
LOOK = Check(
    id="look", title="Look", work="look", needs=needs_of("look"), minutes=1,
    results={"seen": "it is seen"}, caution="", ground=GROUND,
    judge=lambda case: frozenset(("seen",)),
)  # fmt: skip
"""A check that puts nothing right."""
HANDS = "Balls out, unplugged, charge measured gone before hands go in."
FUSE = "Only a fuse of the same value and kind."
IRON = "Hot iron, fumes, clipped leads: glasses on."
BRIDGE = "Never bridge the resistor itself: the emitter dies."
BOTH_WAYS = "Try the interlock both ways at the end."
STICK = "Near mechanisms a stick, not a finger; coils proven dead."


def fault(name: str) -> Fault:
    """A fault of Bench Mill."""
    return fault_named(FAULTS, name)


def put_right(name: str) -> Check:
    """The repair of a fault of Bench Mill."""
    return repair(GROUND, fault(name))


def causes(*sets: str) -> Any:
    """Sets of faults, their names apart by blanks."""
    return [SimpleNamespace(faults=tuple(fault(name) for name in names.split())) for names in sets]


@pytest.mark.parametrize(
    ("name", "where"),
    [
        ("fuse-blown:f1", {"door": "open"}),
        ("supply-lost:light", {"door": "open"}),
        ("interlock-open:door", {"door": "open"}),
        ("plug-off:lane-plug", {"door": "open", "balls": "out"}),
        ("plug-off:plug-a", {"door": "open", "playfield": "raised", "balls": "out"}),
        ("emitter-dead:t1", {"door": "open", "playfield": "raised", "balls": "out"}),
    ],
)
def test_hands_come_to_a_part_where_it_is(name: str, where: dict[str, str]) -> None:
    """Behind the door, at the cabinet's floor, or below the playfield: unplugged wherever."""
    check = put_right(name)
    assert check.needs == needs_of("iron", **where)
    assert [need.power for need in check.needs] == ["unplugged"]


def test_a_repair_mends_whatever_is_wrong_with_its_part_and_nothing_else() -> None:
    """A plug that is off and one that is loose are one plug; that of the other bank is not."""
    check = put_right("plug-off:plug-a")
    results = [Result(check=LOOK, result="seen"), Result(check=check, result="done")]
    assert mended(fault("plug-off:plug-a"), results) is check
    assert mended(fault("plug-loose:plug-a"), results) is check
    assert mended(fault("plug-off:plug-b"), results) is None
    assert mended(fault("emitter-dead:t1"), results) is None
    assert mended(fault("plug-off:plug-a"), results[:1]) is None
    assert mended(fault("plug-off:plug-a"), []) is None


def test_of_what_has_mended_a_part_its_repair_is_told_first() -> None:
    """A plug that was pushed home, then changed; and pushed home twice."""
    check = put_right("plug-off:plug-a")
    home, again = (
        attrs.evolve(LOOK, id=name, heals=lambda one: one.component == ("connector", "plug-a"))
        for name in ("home", "again")
    )
    off = fault("plug-off:plug-a")
    pushed = [Result(check=one, result="seen") for one in (home, again)]
    assert mended(off, pushed) is home
    assert mended(off, [*pushed, Result(check=check, result="done")]) is check


def test_a_repair_is_named_by_its_fault_and_has_one_result() -> None:
    """Its title says what and how; the rest is owed anyway, ten minutes (common practice)."""
    check = put_right("resistor-lead-broken:t1")
    assert check.id == "repair-resistor-lead-broken:t1"
    one = fault("resistor-lead-broken:t1")
    assert check.title == f"Put right {one.kind.title} at t1: {one.kind.repair}"
    assert dict(check.results) == {"done": "it is put right"}
    assert check.outcomes(GROUND.case((one,))) == check.sound == {"done"}
    assert (check.work, check.minutes) == ("iron", 10)
    assert check.caution == f"{HANDS} {IRON} {BRIDGE}"
    assert check.parts == {Part(*one.component)}


def test_a_repair_is_found_by_its_name() -> None:
    """Capitals and blanks around it do not count; another check is no repair, and a repair of
    what the machine does not have is answered with near ones."""
    found = repair_named(GROUND, FAULTS, " Repair-Emitter-Dead:T1 ")
    assert found is not None
    assert found.id == "repair-emitter-dead:t1"
    assert repair_named(GROUND, FAULTS, "emitter-dead:t1") is None
    near = 'there is no check "repair-emitter-dead:t9"; did you mean ' + " or ".join(
        f"repair-emitter-dead:t{n}" for n in (3, 2, 1)
    )
    with pytest.raises(ValueError, match=rf"^{near}\?$"):
        repair_named(GROUND, FAULTS, " repair-emitter-dead:t9")
    with pytest.raises(ValueError, match=r'"repair-x"; wanted repair-KIND:PART$'):
        repair_named(GROUND, FAULTS, "repair-x")


def test_balls_are_put_right_by_hand_in_two_minutes() -> None:
    """The coils dead behind the open door; what to do comes first."""
    away = fault("ball-missing:any")
    check = repair(GROUND, away)
    assert (check.work, check.minutes, check.caution) == ("hand", 2, STICK)
    assert check.needs == needs_of("hand", door="open")
    does = away.kind.repair
    assert check.title == f"{does[0].upper()}{does[1:]} ({away.kind.title})"


def test_what_else_it_can_be_is_said_where_another_thing_is_done() -> None:
    """What is done anyway is not said twice; for a loose plug another thing is done."""
    off, loose = fault("plug-off:plug-a"), fault("plug-loose:plug-a")
    assert off.kind.repair != loose.kind.repair
    base = repair(GROUND, off)
    assert repair(GROUND, off, off).title == base.title
    title = repair(GROUND, off, loose).title
    assert title.startswith(f"{base.title}; or, if it is {loose.kind.title}: ")
    assert title.endswith(f": {loose.kind.repair}")


def test_what_is_wrong_in_every_cause_is_told_by_its_part() -> None:
    """Dead in the first, shorted in the second: the emitter of t1, as the first has it."""
    dead, shorted = fault("emitter-dead:t1"), fault("emitter-shorted:t1")
    found = shared(causes("emitter-dead:t1 wire-open:t3", "wire-open:t2 emitter-shorted:t1"), ())
    assert found == (dead, shorted)
    assert shared(causes("emitter-dead:t1 wire-open:t3", "emitter-dead:t2 wire-open:t3"), ()) == (
        fault("wire-open:t3"),
    )
    assert shared(causes("emitter-dead:t1", "emitter-dead:t1", "emitter-dead:t2"), ()) == ()
    assert shared(causes("emitter-dead:t1", "resistor-lead-broken:t1"), ()) == ()
    assert shared(causes("emitter-dead:t1"), ()) == (dead,)
    assert shared([], ()) == ()
    assert shared(causes("", "emitter-dead:t1"), ()) == ()
    assert shared(causes("ball-missing:any", "ball-missing:any"), ()) == (
        fault("ball-missing:any"),
    )


def test_what_was_put_right_or_skipped_is_not_put_right_again() -> None:
    """After the repair of the emitter the wire of t3 is next, and so if the repair is skipped by
    either of its names; after both nothing is."""
    both = causes("emitter-dead:t1 wire-open:t3", "emitter-shorted:t1 wire-open:t3")
    emitter = (fault("emitter-dead:t1"), fault("emitter-shorted:t1"))
    wire = (fault("wire-open:t3"),)
    done = Result(check=put_right("emitter-dead:t1"), result="done")
    look = Result(check=LOOK, result="seen")
    assert shared(both, ()) == shared(both, (look,)) == emitter
    assert shared(both, (look, done)) == wire
    for name in ("repair-emitter-dead:t1", "repair-emitter-shorted:t1"):
        assert shared(both, (), (name,)) == wire
    assert shared(both, (done,), ("repair-wire-open:t3",)) == ()
    mended_too = Result(check=put_right("wire-open:t3"), result="done")
    assert shared(both, (done, mended_too)) == ()


def test_a_repair_is_told_from_other_checks() -> None:
    """By its name."""
    assert is_repair(put_right("emitter-dead:t1"))
    assert not is_repair(LOOK)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["wire-open:t1"], HANDS),
        (["fuse-blown:f1"], f"{HANDS} {FUSE}"),
        (["coil-fuse-blown:f3"], f"{HANDS} {FUSE}"),
        (["emitter-dead:t1"], f"{HANDS} {IRON}"),
        (["emitter-joint-cracked:t1"], f"{HANDS} {IRON}"),
        (["receiver-dead:t1"], f"{HANDS} {IRON}"),
        (["resistor-lead-broken:t1"], f"{HANDS} {IRON} {BRIDGE}"),
        (["interlock-stuck:door"], f"{HANDS} {BOTH_WAYS}"),
        (["ball-missing:any"], STICK),
        (["ball-missing:any", "emitter-dead:t1", "emitter-dead:t2"], f"{STICK} {HANDS} {IRON}"),
        ([], ""),
    ],
)
def test_what_is_said_with_a_repair(names: list[str], words: str) -> None:
    """Each caution once: charge, the fuse, the iron, the resistor, the interlock, the stick."""
    assert repair_caution([fault(name) for name in names]) == words


def test_a_diode_is_changed_with_the_iron() -> None:
    """Bench Mill has none, so it is one of another machine."""
    kind = next(kind for kind in FAULT_KINDS if kind.part == "diode")
    assert repair_caution([Fault(kind=kind, part="1,1", odds=1e-3)]) == f"{HANDS} {IRON}"
