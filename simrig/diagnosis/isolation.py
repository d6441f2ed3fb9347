"""From what can be wrong to the next check, until no check parts what is left.

Each cause of a diagnosis is a suspect of the sequencing, with the results that the
bench checks can give for it; a fault that comes and goes is two, one that shows
during the work and one that does not.  The bench, with its moves and its rules, is
the sequencing's bench.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import attrs

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import Way
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.benches import Bench
from simrig.diagnosis.check_results import (
    SHOWS,
    STAYS_HIDDEN,
    BenchResults,
    Result,
    chances,
    hidden,
    product,
)
from simrig.diagnosis.diagnose import Cause, Diagnosis

MOST_CAUSES = 150
"""So many causes, the likeliest, are weighed for the next check."""
FEW_CAUSES, FEW_SHARE = 30, 0.995
"""Where there are more causes than a few, those that make up so much are weighed first."""
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
class _Suspected:
    """One cause in one state: showing, or hidden where it comes and goes."""

    cause: int
    case: Case
    weight: float


@attrs.frozen(kw_only=True, eq=False)
class Isolation:
    """A diagnosis, the results so far, and the bench: what to do next.

    ``diagnosis`` must already carry ``results`` as evidence.  Checks that are
    ``skipped`` are not offered.
    """

    diagnosis: Diagnosis
    bench: Bench = attrs.field(repr=False)
    results: tuple[Result, ...] = ()
    skipped: frozenset[str] = frozenset()
    state: BenchState

    @cached_property
    def _ranked(self) -> tuple[Cause, ...]:
        ranked = sorted(
            self.diagnosis.causes, key=lambda cause: (-round(cause.chance, 12), cause.group)
        )
        steady = [cause for cause in ranked if self._holds(cause)] if self.results else ranked
        return tuple(steady or ranked)

    def _holds(self, cause: Cause) -> bool:
        """Whether a cause explains the results without changing its mind between two checks."""
        return any(product(chances(self.results, case)) > 0 for case, _ in self._ways(cause))

    def _ways(self, cause: Cause) -> list[tuple[Case, float]]:
        shows = self.bench.ground.case(cause.faults, mistakes=cause.assumes)
        fickle = [fault for fault in cause.faults if fault.kind.intermittent]
        if not fickle:
            return [(shows, 1.0)]
        return [(shows, SHOWS), (hidden(shows, fickle), STAYS_HIDDEN)]

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes that are weighed, likeliest first.

        What comes and goes, and would have to do so just between two of the results, is
        set aside as long as anything else explains them.
        """
        return self._ranked[:MOST_CAUSES]

    @property
    def cut(self) -> int:
        """How many causes, the least likely, are not weighed."""
        return len(self._ranked) - self._weighed[0]

    @cached_property
    def _weighed(self) -> tuple[int, sequencing.Problem]:
        """How many causes are weighed, and the problem that they pose.

        The likeliest; all of them once no check parts these.
        """
        total = sum(cause.chance for cause in self.causes)
        few, mass = 0, 0.0
        while few < len(self.causes) and (few < FEW_CAUSES or mass < FEW_SHARE * total):
            mass += self.causes[few].chance
            few += 1
        if few < len(self.causes):
            problem = self._problem(few)
            if any(self.bench.way(self.state, self.check(one.id)) for one in problem.checks):
                return few, problem
        return len(self.causes), self._problem(len(self.causes))

    def _live(self, causes: int) -> list[_Suspected]:
        return [one for one in self._suspected if one.weight > 0 and one.cause < causes]

    @cached_property
    def _suspected(self) -> tuple[_Suspected, ...]:
        found = []
        for number, cause in enumerate(self.causes):
            ways = [
                (case, share * product(chances(self.results, case)))
                for case, share in self._ways(cause)
            ]
            total = sum(share for _, share in ways)
            for case, share in ways:
                part = share / total if total else 1 / len(ways)
                if part > 0:
                    found.append(_Suspected(cause=number, case=case, weight=cause.chance * part))
        return tuple(found)

    @property
    def problem(self) -> sequencing.Problem:
        """What is left, as a sequencing problem."""
        return self._weighed[1]

    def _problem(self, causes: int) -> sequencing.Problem:
        done = self.skipped.union(one.check.id for one in self.results)
        suspected = self._live(causes)
        checks: list[sequencing.Check] = []
        for check in self.bench.checks:
            made = None if check.id in done else _compiled(check, suspected, self._haste(check))
            if made is not None:
                checks.append(made)
        by_id = {check.id: check for check in self.bench.checks}

        def change(
            state: sequencing.State, check: sequencing.Check
        ) -> tuple[float, sequencing.State] | None:
            assert isinstance(state, BenchState)
            moved = self.bench.way(state, by_id[check.id])
            return None if moved is None else (moved.minutes, moved.after)

        return sequencing.Problem(
            weights=[one.weight for one in suspected] or [1.0],
            checks=checks,
            start=self.state,
            change=change,
        )

    @cached_property
    def next(self) -> NextCheck | None:
        """The check to do next; None when no allowed check parts what is left."""
        if len(self.causes) < 2:
            return None
        choice = sequencing.next_check(self.problem)
        if choice is None:
            return None
        check = self.check(choice.check.id)
        moved = self.bench.way(self.state, check)
        assert moved is not None
        return NextCheck(
            check=check,
            way=moved,
            expected_minutes=choice.expected_minutes,
            proven=choice.proven and not self.cut,
            method=str(choice.method)
            + (f", of the {self._weighed[0]} likeliest" if self.cut else ""),
            leaves=self.leaves(choice.check.id),
        )

    def _haste(self, check: Check) -> int:
        """Return the tier in which a check may be offered, if it parts enough.

        First what eyes alone do, the bench left as it stands; what lists readings wants some
        number of balls in, and hands have to put them there.  What needs no tool comes before
        the rest unless a raised playfield had to be lowered for it.
        """
        if check.tier:
            return LAST
        moved = self.bench.way(self.state, check)
        if moved is None or not check.easy:
            return USUAL
        if check.work in ("look", "read") and not check.listing and not moved.moves:
            return FIRST
        return USUAL if any(move.id == "lower" for move in moved.moves) else EASY

    def check(self, check_id: str) -> Check:
        """Return the catalogue's check of that id."""
        return next(one for one in self.bench.checks if one.id == check_id)

    def leaves(self, check_id: str) -> tuple[Left, ...]:
        """Return what each result of a check leaves, likeliest result first."""
        made, check = self.problem.check(check_id), self.check(check_id)
        suspected = self._live(self._weighed[0])
        total = sum(one.weight for one in suspected)
        found: dict[str, dict[int, float]] = {}
        for one, mapping in zip(suspected, made.results, strict=True):
            group = self.causes[one.cause].group
            for word, chance in mapping.items():
                groups = found.setdefault(word, {})
                groups[group] = groups.get(group, 0.0) + one.weight / total * chance
        left = []
        for word, groups in found.items():
            mass = sum(groups.values())
            ranked = sorted(groups.items(), key=lambda pair: -pair[1])
            left.append(
                Left(
                    result=word,
                    words=result_words(check, word),
                    probability=mass,
                    groups=tuple((group, share / mass) for group, share in ranked),
                )
            )
        return tuple(sorted(left, key=lambda one: (-one.probability, one.result)))

    @cached_property
    def plan(self) -> sequencing.Plan:
        """The whole plan from here."""
        return sequencing.plan(self.problem)

    def left_at(self, group: sequencing.Group) -> tuple[Cause, ...]:
        """Return the causes that a leaf of the plan stands for, likeliest first."""
        suspected = self._live(self._weighed[0])
        numbers: dict[int, float] = {}
        for index, share in zip(group.hypotheses, group.shares, strict=True):
            cause = suspected[index].cause
            numbers[cause] = numbers.get(cause, 0.0) + share
        return tuple(
            self.causes[number] for number in sorted(numbers, key=lambda number: -numbers[number])
        )


def result_words(check: Check, result: str) -> str:
    """Return a result of a check in words."""
    if check.listing and result not in check.results:
        return "wrong at " + ", ".join(result.split("+"))
    if check.listing and result != "right":
        return f"wrong at {result}"
    return check.results.get(result, result)


def _compiled(check: Check, suspected: Sequence[_Suspected], haste: int) -> sequencing.Check | None:
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


def _smaller_share(
    results: Sequence[Mapping[str, float]], suspected: Sequence[_Suspected]
) -> float:
    """Return the share of what is suspected that does not give the likeliest result."""
    masses: dict[str, float] = {}
    for one, mapping in zip(suspected, results, strict=True):
        for word, chance in mapping.items():
            masses[word] = masses.get(word, 0.0) + one.weight * chance
    return 1 - max(masses.values()) / sum(masses.values())


def evidence(results: Sequence[Result]) -> tuple[BenchResults, ...]:
    """Return results as evidence for a diagnosis; none is no evidence."""
    return (BenchResults(results=tuple(results)),) if results else ()
