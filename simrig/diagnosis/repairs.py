"""Repairs on the way: what is wrong in everything that is left is put right, then read again.

A repair tells nothing by itself; what is seen after it is of a machine that no longer
has that fault.
"""

from __future__ import annotations

import difflib
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
from simrig.sensing.chain import Part

REPAIR: Final = "repair-"
DONE: Final = "done"
MINUTES: Final = 10.0
FEW_MINUTES: Final = 2.0
"""What a repair takes, and what balls take: common practice, no source.  It is owed anyway,
and weighs nothing in what comes next."""
_AT_THE_DOOR: Final = ("fuse", "supply", "interlock")


def repair(ground: Ground, fault: Fault, *others: Fault) -> Check:
    """Return the repair of a part, or of balls, whatever is wrong, by one of its faults.

    ``others`` are what else it can be that is wrong with it: said where another thing is
    done about it.
    """
    part = fault.component
    balls = fault.kind.effect == MOVES
    work = "hand" if balls else "iron"
    what, does = fault_words(ground.profile, fault), fault.kind.repair
    words = f"{does[0].upper()}{does[1:]} ({what})" if balls else f"Put right {what}: {does}"
    for other in others:
        if other.kind.repair != fault.kind.repair:
            words += f"; or, if it is {fault_words(ground.profile, other)}: {other.kind.repair}"

    def done(case: Case) -> frozenset[str]:
        return frozenset((DONE,))

    return Check(
        id=f"{REPAIR}{fault.name}",
        title=words, work=work, needs=needs_of(work, **_where(ground, fault)),
        minutes=FEW_MINUTES if balls else MINUTES,
        results={DONE: "it is put right"}, caution=repair_caution((fault, *others)),
        ground=ground,
        judge=done, heals=lambda other: other.component == part, parts=frozenset((Part(*part),)),
    )  # fmt: skip


def repair_named(ground: Ground, faults: Iterable[Fault], name: str) -> Check | None:
    """Return the repair of that id; None for the id of no repair.

    Raises ValueError with near matches for a repair that the machine does not have.
    """
    wanted = name.strip().lower()
    if not wanted.startswith(REPAIR):
        return None
    known = {f"{REPAIR}{fault.name}": fault for fault in faults}
    fault = known.get(wanted)
    if fault is None:
        near = difflib.get_close_matches(wanted, known, 3)
        hint = f"did you mean {' or '.join(near)}?" if near else f"wanted {REPAIR}KIND:PART"
        raise ValueError(f'there is no check "{name.strip()}"; {hint}')
    return repair(ground, fault)


def shared(
    causes: Sequence[Cause], results: Sequence[Result], skipped: Iterable[str] = ()
) -> tuple[Fault, ...]:
    """Return a part that is wrong in every cause and was not put right yet, by its faults.

    All that it can be, as the first of the causes has it first; none where there is no such
    part.  A part of which a repair was ``skipped``, by its id, is passed over.
    """
    left_out = set(skipped)

    def wrong(cause: Cause) -> dict[tuple[str, str], Fault]:
        return {fault.component: fault for fault in cause.faults if mended(fault, results) is None}

    found: dict[tuple[str, str], dict[Fault, None]] | None = None
    for cause in causes:
        here = wrong(cause)
        if found is None:
            found = {part: {} for part in here}
        found = {part: {**kinds, here[part]: None} for part, kinds in found.items() if part in here}
        if not found:
            return ()
    for kinds in (found or {}).values():
        if not any(f"{REPAIR}{fault.name}" in left_out for fault in kinds):
            return tuple(kinds)
    return ()


def is_repair(check: Check) -> bool:
    """Whether a check is a repair, which tells nothing by itself."""
    return check.id.startswith(REPAIR)


def mended(fault: Fault, results: Iterable[Result]) -> Check | None:
    """Return the repair, or else the first check, that has put a fault right; None: none has."""
    checks = (one.check for one in results)
    found = [one for one in checks if one.heals is not None and one.heals(fault)]
    return next(filter(is_repair, found), found[0] if found else None)


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
    if fault.kind.effect == MOVES:
        return OPEN_DOOR
    if kind == "connector":
        return placed(ground, name)
    return OPEN_DOOR if kind in _AT_THE_DOOR else RAISED
