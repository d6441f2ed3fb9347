"""Repairs on the way: what is wrong in everything that is left is put right, then read again.

A repair tells nothing by itself; what is seen after it is of a machine that no longer
has that fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from simrig.diagnosis.bench_case import MOVES, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import needs_of
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.diagnose import Cause
from simrig.diagnosis.measuring import OPEN_DOOR, RAISED, placed
from simrig.diagnosis.words import fault_words
from simrig.faults.candidates import Fault

REPAIR: Final = "repair-"
DONE: Final = "done"
MINUTES: Final = 10.0
"""What a repair takes: common practice, no source.  It is owed anyway, and weighs nothing
in what comes next."""
_AT_THE_DOOR: Final = ("fuse", "supply", "interlock")


def repair(ground: Ground, fault: Fault) -> Check:
    """Return the repair of a part, whatever is wrong with it, by one of its faults."""
    part = fault.component

    def done(case: Case) -> frozenset[str]:
        return frozenset((DONE,))

    return Check(
        id=f"{REPAIR}{fault.name}",
        title=f"Put right {fault_words(ground.profile, fault)}. To do: {fault.kind.repair}",
        work="iron", needs=needs_of("iron", **_where(ground, fault)), minutes=MINUTES,
        results={DONE: "it is put right"}, caution=repair_caution((fault,)), ground=ground,
        judge=done, heals=lambda other: other.component == part,
    )  # fmt: skip


def repair_named(ground: Ground, faults: Iterable[Fault], name: str) -> Check | None:
    """Return the repair of that id; None where the machine has no such fault, or no repair."""
    wanted = name.strip().lower()
    for fault in faults:
        if wanted == f"{REPAIR}{fault.name}" and fault.kind.effect != MOVES:
            return repair(ground, fault)
    return None


def shared(causes: Sequence[Cause], results: Sequence[Result]) -> Fault | None:
    """Return a fault at a part that is wrong in every cause and was not put right yet.

    As the first of the causes has it; None where there is no such part.
    """
    checks = [one.check for one in results]

    def wrong(cause: Cause) -> dict[tuple[str, str], Fault]:
        return {
            fault.component: fault
            for fault in cause.faults
            if fault.kind.effect != MOVES and not mended(fault, checks)
        }

    if not causes:
        return None
    first = wrong(causes[0])
    common = set(first)
    for cause in causes[1:]:
        common &= wrong(cause).keys()
        if not common:
            return None
    return next(fault for part, fault in first.items() if part in common) if common else None


def repaired(results: Iterable[Result]) -> tuple[Check, ...]:
    """Return the repairs that are among some results."""
    return tuple(one.check for one in results if one.check.id.startswith(REPAIR))


def mended(fault: Fault, checks: Iterable[Check]) -> bool:
    """Whether one of some checks has put a fault right."""
    return any(check.heals is not None and check.heals(fault) for check in checks)


def repair_caution(faults: Iterable[Fault]) -> str:
    """Return the caution of the repairs of some faults, each sentence once."""
    found: dict[str, None] = {}
    for fault in faults:
        kind = fault.kind
        if kind.effect == MOVES:
            found["Near mechanisms a stick, not a finger; coils proven dead."] = None
            continue
        found["Balls out, unplugged, charge measured gone before hands go in."] = None
        if "fuse" in kind.part:
            found["Only a fuse of the same value and kind."] = None
        if kind.part in ("resistor", "emitter", "emitter joint", "diode", "receiver"):
            found["Hot iron, fumes, clipped leads: glasses on."] = None
        if kind.part == "resistor":
            found["Never bridge the resistor itself: the emitter dies."] = None
        if kind.part == "interlock":
            found["Try the interlock both ways at the end."] = None
    return " ".join(found)


def _where(ground: Ground, fault: Fault) -> Mapping[str, str]:
    """Return how the bench stands for a repair; where nobody knows, hands come from below."""
    kind, name = fault.component
    if kind == "connector":
        return placed(ground, name)
    return OPEN_DOOR if kind in _AT_THE_DOOR else RAISED
