"""Results of bench checks as evidence: each set of suspects explains them or does not.

A fault that comes and goes may show during the whole of the work, or not at all,
or change its mind between two checks; what it then gives counts less, but is never
ruled out.
"""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.families import Classes
from simrig.diagnosis.suspects import Suspect
from simrig.diagnosis.system import Allowed, Conflict, Deviation, System
from simrig.faults.candidates import Fault
from simrig.sensing.chain import Part

SHOWS, HIDES, CHANGES = 0.8, 0.15, 0.05
"""How likely an intermittent fault shows throughout the work on it, hides, or changes:
common practice, no source."""


@attrs.frozen(kw_only=True)
class Result:
    """What a check has shown."""

    check: Check
    result: str

    def __str__(self) -> str:
        return f"{self.check.id}={self.result}"


@attrs.frozen(kw_only=True)
class BenchResults:
    """The results of one piece of work at the bench, as evidence together."""

    results: tuple[Result, ...]

    def system(self, suspects: tuple[Suspect, ...], limit: int) -> Shown:
        """Return them as a system over these suspects."""
        del limit
        return Shown.of(self.results, suspects)


@attrs.frozen(kw_only=True, eq=False)
class Shown(System):
    """Results of checks over the suspects of a machine.

    ``speaking`` are the suspects that any of the checks can tell something about.
    """

    deviations: tuple[Deviation, ...]
    suspects: tuple[Suspect, ...] = attrs.field(repr=False)
    results: tuple[Result, ...]
    speaking: frozenset[int] = attrs.field(repr=False)
    _known: dict[frozenset[int], float] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(cls, results: tuple[Result, ...], suspects: tuple[Suspect, ...]) -> Shown:
        """Find out which suspects the checks speak of."""
        sensors = frozenset(name for one in results for name in one.check.sensors)
        parts = frozenset(part for one in results for part in one.check.parts)
        always = any(one.check.always for one in results)
        speaking = set()
        for index, one in enumerate(suspects):
            fault = one.fault
            if fault is None or (
                Part(*fault.component) in parts
                or (always and (fault.kind.effect == "moves balls" or fault.kind.intermittent))
                or (results and results[0].check.ground.touched(fault) & sensors)
            ):
                speaking.add(index)
        return cls(
            deviations=tuple([one.deviation for one in suspects]),
            suspects=suspects,
            results=results,
            speaking=frozenset(speaking),
        )

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        """Tell whether a set explains every result, and how well."""
        told = chosen & self.speaking
        likelihood = self._known.get(told)
        if likelihood is None:
            likelihood = self._known[told] = self._likelihood(told)
        if likelihood > 0:
            return Allowed(likelihood=likelihood)
        return Conflict(candidates=self.speaking - chosen)

    def classes(self) -> Classes:
        """Return suspects of which the checks tell nothing as one class."""
        keys = [index if index in self.speaking else -1 for index in range(len(self.suspects))]
        return Classes.group(self.deviations, keys)

    def _likelihood(self, chosen: frozenset[int]) -> float:
        ones = [self.suspects[index] for index in sorted(chosen)]
        faults = tuple(one.fault for one in ones if one.fault is not None)
        mistakes = tuple(one.mistake for one in ones if one.mistake is not None)
        if not self.results:
            return 1.0
        ground = self.results[0].check.ground
        fickle = tuple(fault for fault in faults if fault.kind.intermittent)
        shows = Case(ground=ground, faults=faults, mistakes=mistakes)
        if not fickle:
            return product(chances(self.results, shows))
        hides = hidden(shows, fickle)
        one, other = chances(self.results, shows), chances(self.results, hides)
        mixed = [
            max((p + q) / 2, 0.1 if result.check.may_stay == result.result else 0.0)
            for p, q, result in zip(one, other, self.results, strict=True)
        ]
        return SHOWS * product(one) + HIDES * product(other) + CHANGES * product(mixed)


def hidden(case: Case, fickle: Iterable[Fault]) -> Case:
    """Return a case in which the faults that come and go do not show."""
    gone = tuple(fickle)
    return Case(
        ground=case.ground,
        faults=tuple(fault for fault in case.faults if fault not in gone),
        hidden=gone,
        mistakes=case.mistakes,
    )


def chances(results: Iterable[Result], case: Case) -> list[float]:
    """Return how likely each result is in a case; any result where nobody can tell."""
    found = []
    for one in results:
        can = one.check.outcomes(case)
        if not can:
            found.append(1 / max(len(one.check.results), 2))
        else:
            found.append(1 / len(can) if one.result in can else 0.0)
    return found


def product(values: Iterable[float]) -> float:
    """Return the product of some chances."""
    total = 1.0
    for value in values:
        total *= value
    return total
