"""The repair of one part: where hands come to it, what it mends, what has to be said with it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from simrig.diagnosis.bench_case import Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.repairs import (
    mended,
    repair,
    repair_caution,
    repair_named,
    repaired,
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
    assert mended(fault("plug-off:plug-a"), [check])
    assert mended(fault("plug-loose:plug-a"), [check])
    assert not mended(fault("plug-off:plug-b"), [check])
    assert not mended(fault("emitter-dead:t1"), [check])
    assert not mended(fault("plug-off:plug-a"), [])
    assert not mended(fault("plug-off:plug-a"), [LOOK])
    assert mended(fault("plug-off:plug-a"), [put_right("emitter-dead:t1"), check])


def test_a_repair_is_named_by_its_fault_and_has_one_result() -> None:
    """Its title says what and how; the rest is owed anyway, ten minutes (common practice)."""
    check = put_right("resistor-lead-broken:t1")
    assert check.id == "repair-resistor-lead-broken:t1"
    one = fault("resistor-lead-broken:t1")
    assert check.title == f"Put right {one.kind.title} at t1. To do: {one.kind.repair}"
    assert dict(check.results) == {"done": "it is put right"}
    assert check.outcomes(GROUND.case((one,))) == check.sound == {"done"}
    assert (check.work, check.minutes) == ("iron", 10)
    assert check.caution == f"{HANDS} {IRON} {BRIDGE}"
    assert Part(*one.component) not in check.parts


def test_a_repair_is_found_by_its_name() -> None:
    """Capitals and blanks around it do not count; another fault, or balls, have no repair."""
    found = repair_named(GROUND, FAULTS, " Repair-Emitter-Dead:T1 ")
    assert found is not None
    assert found.id == "repair-emitter-dead:t1"
    assert repair_named(GROUND, FAULTS, "emitter-dead:t1") is None
    assert repair_named(GROUND, FAULTS, "repair-emitter-dead:t9") is None
    assert repair_named(GROUND, FAULTS, "repair-ball-missing:any") is None


def test_what_is_wrong_in_every_cause_is_told_by_its_part() -> None:
    """Dead in the first, shorted in the second: the emitter of t1, as the first has it."""
    found = shared(causes("emitter-dead:t1 wire-open:t3", "wire-open:t2 emitter-shorted:t1"), ())
    assert found == fault("emitter-dead:t1")
    assert shared(causes("emitter-dead:t1 wire-open:t3", "emitter-dead:t2 wire-open:t3"), ()) == (
        fault("wire-open:t3")
    )
    assert shared(causes("emitter-dead:t1", "emitter-dead:t1", "emitter-dead:t2"), ()) is None
    assert shared(causes("emitter-dead:t1", "resistor-lead-broken:t1"), ()) is None
    assert shared(causes("emitter-dead:t1"), ()) == fault("emitter-dead:t1")
    assert shared([], ()) is None
    assert shared(causes("", "emitter-dead:t1"), ()) is None


def test_balls_and_what_was_put_right_are_not_put_right_again() -> None:
    """A ball away is no part; after the repair of the emitter the wire of t3 is next."""
    assert shared(causes("ball-missing:any", "ball-missing:any"), ()) is None
    both = causes("emitter-dead:t1 wire-open:t3", "emitter-shorted:t1 wire-open:t3")
    assert shared(both, ()) == fault("emitter-dead:t1")
    done = Result(check=put_right("emitter-dead:t1"), result="done")
    look = Result(check=LOOK, result="seen")
    assert shared(both, (look,)) == fault("emitter-dead:t1")
    assert shared(both, (look, done)) == fault("wire-open:t3")
    wire = Result(check=put_right("wire-open:t3"), result="done")
    assert shared(both, (done, wire)) is None


def test_repairs_among_results() -> None:
    """A check that is no repair is not one of them."""
    done = Result(check=put_right("emitter-dead:t1"), result="done")
    (check,) = repaired((Result(check=LOOK, result="seen"), done))
    assert check is done.check
    assert repaired(()) == ()


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
