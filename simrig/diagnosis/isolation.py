"""From what can be wrong to the next check, until no check parts what is left.

Each cause of a diagnosis is a suspect of the sequencing, with the results that the
bench checks can give for it; a fault that comes and goes is two, one that shows
during the work and one that does not.  The bench, with its moves and its rules, is
the sequencing's bench.  Where everything that is left has one fault in it, and checks
do not go on, that one is put right, and the machine is read again.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import attrs

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.benches import Bench
from simrig.diagnosis.check_results import (
    BenchResults,
    Result,
    followed,
    product,
    states,
)
from simrig.diagnosis.diagnose import Cause, Diagnosis
from simrig.diagnosis.offered import (
    EASY,
    FIRST,
    LAST,
    USUAL,
    Left,
    NextCheck,
    Suspected,
    compiled,
    result_words,
)
from simrig.diagnosis.repairs import is_repair, repair, shared
from simrig.diagnosis.until_mended import alone, until_mended

MOST_CAUSES = 150
"""So many causes, the likeliest, are weighed for the next check."""
FEW_CAUSES, FEW_SHARE = 30, 0.995
"""Where there are more causes than a few, those that make up so much are weighed first."""


@attrs.frozen(kw_only=True, eq=False)
class Isolation:
    """A diagnosis, the results so far, and the bench: what to do next.

    ``diagnosis`` must already carry ``results`` as evidence.  Checks that are
    ``skipped`` are not offered.  ``mend_first``: what is certain is put right although
    checks go on.
    """

    diagnosis: Diagnosis
    bench: Bench = attrs.field(repr=False)
    results: tuple[Result, ...] = ()
    skipped: frozenset[str] = frozenset()
    mend_first: bool = False
    state: BenchState

    @cached_property
    def _ranked(self) -> tuple[Cause, ...]:
        ranked = sorted(
            self.diagnosis.causes, key=lambda cause: (-round(cause.chance, 12), cause.group)
        )
        if not self.results or (best := next(filter(self._holds, ranked), None)) is None:
            return tuple(ranked)
        return tuple([one for one in ranked if one.chance > best.chance or self._holds(one)])

    def _holds(self, cause: Cause) -> bool:
        """Whether a cause explains the results without changing its mind between two checks."""
        return any(product(followed(self.results, case)[0]) > 0 for case, _ in self._ways(cause))

    def _ways(self, cause: Cause) -> list[tuple[Case, float]]:
        return states(self.bench.ground.case(cause.faults, mistakes=cause.assumes))

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes that are weighed, likeliest first.

        What comes and goes, and would have to do so just between two of the results, is
        set aside as long as anything likelier explains them.
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

    def _live(self, causes: int) -> list[Suspected]:
        return [one for one in self._suspected if one.weight > 0 and one.cause < causes]

    @cached_property
    def _suspected(self) -> tuple[Suspected, ...]:
        found = []
        for number, cause in enumerate(self.causes):
            ways = []
            for before, share in self._ways(cause):
                shown, case = followed(self.results, before)
                ways.append((case, share * product(shown)))
            total = sum(share for _, share in ways)
            for case, share in ways:
                part = share / total if total else 1 / len(ways)
                if part > 0:
                    found.append(Suspected(cause=number, case=case, weight=cause.chance * part))
        return tuple(found)

    @property
    def problem(self) -> sequencing.Problem:
        """What is left, as a sequencing problem."""
        return self._weighed[1]

    def _problem(self, causes: int) -> sequencing.Problem:
        suspected = self._live(causes)
        checks: list[sequencing.Check] = []
        for check in self._open:
            made = compiled(check, suspected, self._haste(check))
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
        """What to do next; None when no allowed check parts what is left.

        A check, or the repair of what is certain (``mending``).
        """
        if len(self.causes) < 2:
            return None
        if self.mending is not None:
            return self._mend(self.mending)
        choice = self.choice
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

    @cached_property
    def choice(self) -> sequencing.Choice | None:
        """The check that pays best; None when no allowed check parts what is left."""
        return sequencing.next_check(self.problem)

    @cached_property
    def certain(self) -> Check | None:
        """The repair of what is wrong in everything that is left, whatever else is; None
        where there is no such part, or nothing else."""
        if len(self.causes) < 2:
            return None
        found = shared(self.diagnosis.causes, self.results, self.skipped)
        return repair(self.bench.ground, *found) if found else None

    @cached_property
    def mending(self) -> Check | None:
        """The repair that comes before any further check: of what is certain, where more is
        left than can be weighed, where checks part what is left only after it, or where it is
        wanted first."""
        found = self.certain
        if found is None or self.bench.way(self.state, found) is None:
            return None
        if self.mend_first or self.cut or (self.choice is None and self._parted_after(found)):
            return found
        return None

    def _parted_after(self, mended: Check) -> bool:
        return self._parted([mended.after(one.case) for one in self._live(len(self.causes))])

    def _parted(self, cases: Sequence[Case]) -> bool:
        """Whether a check parts some machines, once something on them was put right."""
        suspected = [Suspected(cause=n, case=case, weight=1.0) for n, case in enumerate(cases)]
        return any(
            compiled(check, suspected, USUAL) is not None
            for check in self.bench.checks
            if check.id not in self.skipped and "misread" not in check.asks
        )

    def goes_on(self, check_id: str, group: sequencing.Group) -> bool:
        """Whether a leaf of the plan is one only because a check has put something right in
        all that is left there: other checks then part it."""
        suspected, check = self._live(self._weighed[0]), self.check(check_id)
        before = [suspected[index].case for index in group.hypotheses]
        after = [check.after(case) for case in before]
        changed = all(new is not old for new, old in zip(after, before, strict=True))
        return len(before) > 1 and changed and self._parted(after)

    def _mend(self, mended: Check) -> NextCheck:
        moved = self.bench.way(self.state, mended)
        assert moved is not None
        groups: dict[int, float] = {}
        for cause in self.diagnosis.causes:
            groups[cause.group] = groups.get(cause.group, 0.0) + cause.chance
        total = sum(groups.values())
        ranked = sorted(groups.items(), key=lambda pair: -pair[1])
        ((word, words),) = mended.results.items()
        left = Left(
            result=word,
            words=words,
            probability=1.0,
            groups=tuple((group, share / total) for group, share in ranked),
        )
        return NextCheck(
            check=mended,
            way=moved,
            expected_minutes=None,
            proven=False,
            method="certain",
            leaves=(left,),
        )

    @cached_property
    def _open(self) -> tuple[Check, ...]:
        """The checks that can still tell something: neither done nor skipped.

        What was done before something was put right can be done again, but for those that
        ask about the sheet as it was read.
        """
        last = max((n for n, one in enumerate(self.results) if self._mended(one)), default=None)
        done = {one.check.id for one in self.results[last or 0 :]} | self.skipped
        return tuple(
            check
            for check in self.bench.checks
            if check.id not in done and (last is None or "misread" not in check.asks)
        )

    def _mended(self, one: Result) -> bool:
        """Whether a result says that the machine is another one since, repaired or cured, or
        that it is read with other eyes."""
        return one.check.changes and (
            is_repair(one.check)
            or all(any(one.check.puts_right(cause.faults, cause.assumes)) for cause in self.causes)
        )

    def check(self, check_id: str) -> Check:
        """Return the check of that id, the repair that comes next among them."""
        every = self.bench.checks if self.certain is None else (*self.bench.checks, self.certain)
        return next(one for one in every if one.id == check_id)

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
        """The whole plan from here, as far as where something is put right."""
        if self.mending is not None:
            moved = self.bench.way(self.state, self.mending)
            assert moved is not None
            (word,) = self.mending.results
            check = sequencing.Check(
                id=self.mending.id,
                minutes=self.mending.minutes,
                results=sequencing.certain([word] * len(self.problem.weights)),
            )
            return alone(self.problem, check, moved.minutes, moved.after)
        suspected = self._live(self._weighed[0])

        def changes(check: sequencing.Check, index: int) -> bool:
            case = suspected[index].case
            return self.check(check.id).after(case) is not case

        return until_mended(sequencing.plan(self.problem), changes)

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


def evidence(results: Sequence[Result]) -> tuple[BenchResults, ...]:
    """Return results as evidence for a diagnosis; none is no evidence."""
    return (BenchResults(results=tuple(results)),) if results else ()
