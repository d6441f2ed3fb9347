"""Checks of the matrix: its lines, what joins them, its diodes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.checks_plugs import mixed_up
from simrig.diagnosis.measuring import OHMS, OPEN_DOOR, RAISED
from simrig.scan.circuit import Crossing, Node
from simrig.sensing.chain import Part


def line_checks(ground: Ground) -> Iterator[Check]:
    """Yield the checks of the matrix: its lines, what joins them, its diodes."""
    circuit = ground.table.circuit
    for axis, lines in (("column", circuit.strobes), ("row", circuit.reads)):
        for number in sorted(lines):
            yield _line(ground, axis, number)
        for one, other in pairwise(sorted(lines)):
            yield _between(ground, axis, one, other)
            pair = f"{one}+{other}"
            yield mixed_up(
                ground, f"{axis}s-{pair}", Part(f"{axis}s", pair),
                f"Follow the wires of {axis}s {one} and {other} by their colours", 2.0,
            )  # fmt: skip
    for name in sorted(ground.crossings):
        if ground.profile.has_diode(ground.profile.row("sensor", name)):
            yield from _diode(ground, name)


def _ends(case: Case, axis: str, number: int) -> tuple[frozenset[Node], list[Crossing]]:
    circuit = case.table.circuit
    driven = (circuit.strobes if axis == "column" else circuit.reads).get(number, frozenset())
    here = [
        one
        for one in circuit.crossings
        if (one.column if axis == "column" else one.row)[0] == number
    ]
    return driven, here


def _line(ground: Ground, axis: str, number: int) -> Check:
    order: tuple[str, ...] = ()
    plug: list[Part] = []
    for line in getattr(ground.profile.matrix, axis) if ground.profile.matrix else ():
        if line.number == number:
            order = line.order or ()
            plug = [Part("connector", str(line.connector))]

    def judge(case: Case) -> frozenset[str]:
        fault = case.failed(axis, str(number))
        if fault is not None and fault.kind.id.endswith("-shorted"):
            return frozenset(("short",))
        driven, here = _ends(case, axis, number)
        reached_ = {
            one.sensor for one in here if (one.column if axis == "column" else one.row) in driven
        }
        if not driven or not reached_:
            return frozenset(("open",))
        return frozenset(("whole" if len(reached_) == len(here) else "broken",))

    pieces = [Part(f"{axis} piece", f"{number}@{place}") for place in range(1, len(order))]
    parts = frozenset((Part(axis, str(number)), *pieces, *plug)) | frozenset(
        Part(f"{axis}s", pair) for one, other in pairwise(range(max(number - 1, 0), number + 2))
        for pair in (f"{one}+{other}",)
    )  # fmt: skip
    return Check(
        id=f"line-{axis}-{number}",
        title=f"Ring {axis} {number} through, from the controller's pin to each of its switches",
        work="ohms", needs=needs_of("ohms", **RAISED), minutes=3.0,
        results={"whole": "it reaches every switch", "open": "it reaches none",
                 "broken": "it reaches some: the break is before the first that it does not",
                 "short": "it conducts to bare metal of the machine"},
        caution=OHMS, ground=ground, judge=judge, parts=parts,
    )  # fmt: skip


def _between(ground: Ground, axis: str, one: int, other: int) -> Check:
    def judge(case: Case) -> frozenset[str]:
        joined = any(
            line == axis and {first, second} == {one, other}
            for line, first, second in case.table.circuit.joined
        )
        return frozenset(("joined" if joined else "apart",))

    return Check(
        id=f"between-{axis}s-{one}+{other}", title=f"Ohms between {axis} {one} and {axis} {other}",
        work="ohms", needs=needs_of("ohms", **OPEN_DOOR), minutes=1.0,
        results={"joined": "they conduct to each other", "apart": "they do not"}, caution=OHMS,
        ground=ground, judge=judge, parts=frozenset((Part(f"{axis}s", f"{one}+{other}"),)),
    )  # fmt: skip


def _diode(ground: Ground, name: str) -> Iterator[Check]:
    title = ground.profile.row("sensor", name).title
    part, wiring = Part("diode", name), Part("diode wiring", name)

    def measured_diode(case: Case) -> frozenset[str]:
        if case.failed(*part) is None:
            return frozenset(("good",))
        crossing = next(one for one in case.table.circuit.crossings if one.sensor == name)
        if crossing.forward:
            return frozenset(("short",))
        return frozenset(("open" if crossing.backward is None else "backwards",))

    def looked(case: Case) -> frozenset[str]:
        return frozenset(("past" if wiring in case.parts else "behind",))

    yield Check(
        id=f"diode-{name}", title=f"Diode test at {title}'s position, one lead lifted",
        work="iron", needs=needs_of("iron", **RAISED), minutes=2.0,
        results={"good": "conducts one way, as its band says", "open": "conducts neither way",
                 "short": "conducts both ways", "backwards": "conducts against its band"},
        caution="Hot iron, fumes, clipped leads: glasses on. " + OHMS, ground=ground,
        judge=measured_diode, parts=frozenset((part,)),
    )  # fmt: skip
    yield Check(
        id=f"lug-{name}", title=f"Look to which lug the wire of {title} goes: behind the diode?",
        work="plugs", needs=needs_of("plugs", **RAISED), minutes=0.7,
        results={"past": "past the diode", "behind": "behind the diode, as it must"},
        caution="", ground=ground, judge=looked, parts=frozenset((wiring,)),
    )  # fmt: skip
