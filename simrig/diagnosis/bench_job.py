"""One job at the bench: the sheets, the results of checks so far, and what is left after each.

The results are held apart from the sheets, so that any of them can be taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import attrs

from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.benches import Bench, Benches
from simrig.diagnosis.check_results import Result, followed
from simrig.diagnosis.checks import result_named
from simrig.diagnosis.conflicts import Conflicting
from simrig.diagnosis.diagnose import Diagnosis, Evidence, diagnose
from simrig.diagnosis.isolation import Isolation, evidence
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.repairs import DONE, repair, shared
from simrig.diagnosis.suspects import Sheet
from simrig.faults.candidates import possible_faults
from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.profile.machine import Profile

RESULTS = "the results of checks contradict what was seen"
MOST_TRIED = 8
"""Results of which each is left out in turn, to see whether the rest fits."""


@attrs.frozen(kw_only=True, eq=False)
class Job:
    """What is known about one machine before any check.

    ``start`` is how the bench stood when the first ``done`` results were in; as the last
    sheet left it when None.  ``shared`` and ``benches`` are worked out once for many jobs on one machine.
    """

    profile: Profile = attrs.field(repr=False)
    sheets: tuple[Sheet, ...] = attrs.field(repr=False)
    others: tuple[Evidence, ...] = attrs.field(default=(), repr=False)
    kinds: tuple[FaultKind, ...] = attrs.field(default=FAULT_KINDS, repr=False)
    limit: int = 2
    start: BenchState | None = None
    done: int = 0
    shared: Models | None = attrs.field(default=None, repr=False)
    benches: Benches | None = attrs.field(default=None, repr=False)
    _diagnoses: dict[tuple[tuple[str, str], ...], Diagnosis] = attrs.field(factory=dict, repr=False)

    @cached_property
    def bench(self) -> Bench:
        """The machine's bench as the last sheet left it."""
        benches = self.benches or Benches(profile=self.profile)
        return benches.after(self.sheets)

    @cached_property
    def models(self) -> Models:
        """What diagnoses of this machine share."""
        if self.shared is not None:
            return self.shared
        faults = possible_faults(self.profile, self.kinds)
        return Models(profile=self.profile, faults=faults, limit=self.limit)

    def result(self, check: str, result: str) -> Result:
        """Return a result by the names of the check and of what it showed.

        Raises ValueError in words for a check or a result that does not exist.
        """
        found = self.bench.named(check, self.models.faults)
        return Result(check=found, result=result_named(found, result))

    def diagnosis(self, results: Sequence[Result]) -> Diagnosis:
        """Return what can be wrong after some results; raises ImpossibleError as ``diagnose``."""
        found = self._plain(results)
        if found.conflict is None or not results:
            return found
        return attrs.evolve(found, conflict=self._contradiction(results, found.conflict))

    def _plain(self, results: Sequence[Result]) -> Diagnosis:
        key = tuple((one.check.id, one.result) for one in results)
        found = self._diagnoses.get(key)
        if found is None:
            found = self._diagnoses[key] = diagnose(
                self.profile,
                self.sheets,
                evidence=(*self.others, *evidence(results)),
                limit=self.limit,
                models=self.models,
            )
        return found

    def isolation(
        self,
        results: Sequence[Result],
        skipped: frozenset[str] = frozenset(),
        *,
        mend_first: bool = False,
    ) -> Isolation:
        """Return what to do next after some results."""
        return Isolation(
            diagnosis=self.diagnosis(results),
            bench=self.bench,
            results=tuple(results),
            skipped=skipped,
            mend_first=mend_first,
            state=self.bench.after(results[self.done :], self.start),
        )

    def _contradiction(self, results: Sequence[Result], plain: Conflicting) -> Conflicting:
        """Say which result does not fit what came before, and which can be left out."""
        if (self.sheets or self.others) and self._plain(()).conflict is not None:
            return plain
        last = next(
            number
            for number in range(1, len(results) + 1)
            if number == len(results) or self._plain(results[:number]).conflict is not None
        )
        wrong, before = results[last - 1], results[: last - 1]
        words = f"nothing that is left after what came before can give {wrong}"
        if self.sheets or self.others or before:
            can = possible_results(self.isolation(before), wrong)
            words += f"; what is left gives {' or '.join(can)}" if can else ""
        spare = [str(wrong)]
        if len(results) <= MOST_TRIED:
            spare = [
                str(one)
                for one in results
                if len(results) > 1 or self.sheets or self.others
                if self._plain([other for other in results if other is not one]).conflict is None
            ]
        way_back = f"do the check {wrong.check.id} again"
        if (mended := self._unsaid(before, wrong)) is not None:
            way_back += f"; or, if it was put right by then, say {mended} before it"
        if spare:
            way_back += f"; or leave one of these out: {', '.join(spare)}"
        way_back += f"; or suspect more at once: --faults {self.limit + 1}"
        return Conflicting(kind=RESULTS, readings=(), words=words, way_back=way_back)

    def _unsaid(self, before: Sequence[Result], wrong: Result) -> Result | None:
        """Return a repair that nobody told of, after which a result is none to wonder at."""
        found = shared(self._plain(before).causes, before) if before else ()
        if not found:
            return None
        made = repair(self.bench.ground, found[0])
        done = Result(check=made, result=DONE)
        return done if self._plain([*before, done, wrong]).conflict is None else None


def possible_results(isolation: Isolation, asked: Result) -> tuple[str, ...]:
    """Return the results that what is left can give to a check."""
    found: dict[str, None] = {}
    for cause in isolation.causes[:40]:
        case = isolation.bench.ground.case(cause.faults, mistakes=cause.assumes)
        _, now = followed(isolation.results, case)
        found.update(dict.fromkeys(sorted(asked.check.outcomes(now))))
    return tuple(found)[:6]
