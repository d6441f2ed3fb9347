"""One check offered for what is left: its tier, and what each of its results leaves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import attrs

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import Way

EASY_SHARE = 0.15
"""A check without a tool and with the playfield down goes first if it parts off so much."""
LOOK_SHARE = 0.03
"""A look that leaves the bench as it stands goes before these if it parts off so much."""
FIRST, EASY, USUAL, LAST = range(4)
"""The tiers in which checks are offered: a look as the bench stands, no tool, any, coil voltage."""


@attrs.frozen(kw_only=True)
class Left:
    """What one result of a check leaves: groups of causes, likeliest first, with their chances."""

    result: str
    words: str
    probability: float
    groups: tuple[tuple[int, float], ...]


@attrs.frozen(kw_only=True)
class NextCheck:
    """The check that pays best, the way to it, and what each result leaves."""

    check: Check
    way: Way
    expected_minutes: float | None
    proven: bool
    method: str
    leaves: tuple[Left, ...]

    @property
    def minutes(self) -> float:
        """The check's own minutes and those of the way to it."""
        return self.way.minutes + self.check.minutes


@attrs.frozen(kw_only=True)
class Suspected:
    """One cause in one state: showing, or hidden where it comes and goes.

    ``case`` is the machine as the results have left it.
    """

    cause: int
    case: Case
    weight: float


def result_words(check: Check, result: str) -> str:
    """Return a result of a check in words."""
    if check.listing and result not in check.results:
        return "wrong at " + ", ".join(result.split("+"))
    if check.listing and result != "right":
        return f"wrong at {result}"
    return check.results.get(result, result)


def compiled(check: Check, suspected: Sequence[Suspected], haste: int) -> sequencing.Check | None:
    """Return a check over what is suspected; None when it parts nothing."""
    can = [check.outcomes(one.case) for one in suspected]
    known = frozenset().union(*can)
    if len(known) < 2:
        return None
    if all(one == can[0] for one in can):
        return None
    shared: dict[frozenset[str], Mapping[str, float]] = {}
    results = []
    for one in can:
        words = one or known
        if words not in shared:
            shared[words] = {word: 1 / len(words) for word in sorted(words)}
        results.append(shared[words])
    tier = max(haste, USUAL)
    if haste < USUAL:
        share = _smaller_share(results, suspected)
        if haste == FIRST and share >= LOOK_SHARE:
            tier = FIRST
        elif share >= EASY_SHARE:
            tier = EASY
    return sequencing.Check(id=check.id, minutes=check.minutes, tier=tier, results=tuple(results))


def _smaller_share(results: Sequence[Mapping[str, float]], suspected: Sequence[Suspected]) -> float:
    """Return the share of what is suspected that does not give the likeliest result."""
    masses: dict[str, float] = {}
    for one, mapping in zip(suspected, results, strict=True):
        for word, chance in mapping.items():
            masses[word] = masses.get(word, 0.0) + one.weight * chance
    return 1 - max(masses.values()) / sum(masses.values())
