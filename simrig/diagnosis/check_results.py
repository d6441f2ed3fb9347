"""Results of bench checks as evidence: each set of suspects explains them or does not.

A fault that comes and goes may show during the whole of the work, or not at all,
or change its mind between two checks; what it then gives counts less, but is never
ruled out.  Of two such faults each does so by itself.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Hashable, Iterable
from functools import cached_property

import attrs

from simrig.diagnosis.bench_case import FICKLE, MOVES, Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.families import Classes
from simrig.diagnosis.interchangeable import interchangeable
from simrig.diagnosis.measuring import condition
from simrig.diagnosis.suspects import Suspect
from simrig.diagnosis.system import Allowed, Conflict, Deviation, System
from simrig.faults.candidates import Fault
from simrig.sensing.chain import Part

SHOWS, STAYS_HIDDEN = 0.8, 0.15
"""How likely an intermittent fault shows throughout the work on it, or hides; else it changes
its mind: common practice, no source."""
CARRYING = ("numbering", "profile")
"""Mistakes under which another sensor is read, or another matrix."""
LIFTING = ("clip", "exchange")
"""Kinds of work that take part of a chain out of the circuit."""
MAY_STAY = 0.1
"""And how likely a tap leaves it as it is."""


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

    ``spoken_of`` are, for each result, the suspects that its check can tell something about.
    """

    deviations: tuple[Deviation, ...]
    suspects: tuple[Suspect, ...] = attrs.field(repr=False)
    results: tuple[Result, ...]
    spoken_of: tuple[frozenset[int], ...] = attrs.field(repr=False)
    _known: dict[frozenset[int], tuple[float, int | None]] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(cls, results: tuple[Result, ...], suspects: tuple[Suspect, ...]) -> Shown:
        """Find out which suspects the checks speak of."""
        return cls(
            deviations=tuple([one.deviation for one in suspects]),
            suspects=suspects,
            results=results,
            spoken_of=tuple([_spoken_of(one.check, suspects) for one in results]),
        )

    @cached_property
    def speaking(self) -> frozenset[int]:
        """The suspects that any of the checks can tell something about."""
        return frozenset().union(*self.spoken_of)

    @cached_property
    def carrying(self) -> frozenset[int]:
        """Those of them that can bring what others do to the sensors of a check."""
        found = [i for i in self.speaking if self._does(i, Ground.carries)]
        found += [
            index
            for index in self.speaking
            if (mistake := self.suspects[index].mistake) and mistake.kind in CARRYING
        ]
        return frozenset(found)

    @cached_property
    def carried(self) -> frozenset[int]:
        """The suspects of which a check tells something beside what carries it."""
        every = range(len(self.suspects)) if self.carrying else ()
        return frozenset([i for i in every if self._does(i, Ground.touched)])

    def _does(self, index: int, what: Callable[[Ground, Fault], object]) -> bool:
        fault = self.suspects[index].fault
        return fault is not None and bool(what(self.results[0].check.ground, fault))

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        """Tell whether a set explains every result, and how well."""
        told = chosen & self.speaking
        carried = not told.isdisjoint(self.carrying)
        if carried:
            told |= chosen & self.carried
        known = self._known.get(told)
        if known is None:
            known = self._known[told] = self._judged(told)
        likelihood, against = known
        if against is None:
            return Allowed(likelihood=likelihood)
        helpful = self.spoken_of[against]
        return Conflict(candidates=(helpful | self.carried if carried else helpful) - chosen)

    def classes(self) -> Classes:
        """Return what the checks cannot part as classes.

        Suspects of which they tell nothing are one; others are alike when no reading
        parts them, whatever else is wrong, and every check shows the same for each.
        """
        if not self.results:
            return Classes.group(self.deviations, [-1] * len(self.suspects))
        ground = self.results[0].check.ground
        alike = tuple(interchangeable(ground.profile, ground.table, self.suspects))
        keys: list[Hashable] = []
        for index, one in enumerate(self.suspects):
            fault = one.fault
            if index not in self.speaking:
                keys.append((alike[index], "carried") if index in self.carried else -1)
            elif fault is None or alike[index] == index:
                keys.append((index,))
            else:
                told = self._told_of(fault, ground)
                keys.append((alike[index], told, condition(fault), self._lifted_at(fault, ground)))
        return Classes.group(self.deviations, keys)

    def _told_of(self, fault: Fault, ground: Ground) -> Hashable:
        """Return what the checks show of a fault alone, and which of them puts it right."""
        case, shown, healed = ground.case((fault,)), [], None
        for number, one in enumerate(self.results):
            shown.append(one.check.outcomes(case))
            after = one.check.after(case)
            case, healed = after, number if after is not case else healed
        return tuple(shown), healed

    def _lifted_at(self, fault: Fault, ground: Ground) -> Hashable:
        """Return the part where a check has lifted or joined something in its chain.

        Alone, phantoms can hide on which side of that it lies; beside another fault they do not.
        """
        if not ground.sneaking:
            return None
        behind = ground.behind(Part(*fault.component))
        lifted = any(
            one.check.work in LIFTING and not behind.isdisjoint(one.check.sensors)
            for one in self.results
        )
        return fault.component if lifted else None

    def _judged(self, chosen: frozenset[int]) -> tuple[float, int | None]:
        """Return how well a set explains the results, and a result that it cannot explain.

        Of several such, the one of whose check the fewest suspects are spoken of.
        """
        if not self.results:
            return 1.0, None
        ones = [self.suspects[index] for index in sorted(chosen)]
        faults = tuple(one.fault for one in ones if one.fault is not None)
        mistakes = tuple(one.mistake for one in ones if one.mistake is not None)
        ground = self.results[0].check.ground
        ways = states(ground.case(faults, mistakes=mistakes))
        shown = [chances(self.results, case) for case, _ in ways]
        likelihood = sum(
            share * product(found) for (_, share), found in zip(ways, shown, strict=True)
        )
        ever = shown[0]
        if len(ways) > 1:
            ever = [
                max(sum(each) / len(each), MAY_STAY if one.check.may_stay == one.result else 0.0)
                for one, *each in zip(self.results, *shown, strict=True)
            ]
            likelihood += (1 - sum(share for _, share in ways)) * product(ever)
        if likelihood > 0:
            return likelihood, None
        against = [number for number, chance in enumerate(ever) if chance == 0]
        return 0.0, min(against, key=lambda number: len(self.spoken_of[number]))


def _spoken_of(check: Check, suspects: Iterable[Suspect]) -> frozenset[int]:
    """Return the suspects that can change what a check gives, alone or beside others."""
    asked = set(check.asks)
    if check.sensors or check.parts:
        asked |= {"symbols", "numbering", "profile"}
    found = set()
    for index, one in enumerate(suspects):
        fault = one.fault
        if fault is None:
            assert one.mistake is not None
            speaks = one.mistake.kind in asked
        elif fault.kind.effect == MOVES:
            speaks = MOVES in asked or Part(*fault.component) in check.parts
        else:
            speaks = check.speaks_of(fault) or (fault.kind.intermittent and FICKLE in asked)
        if speaks:
            found.add(index)
    return frozenset(found)


def states(case: Case) -> list[tuple[Case, float]]:
    """Return a case for each way in which its faults that come and go can last, and how likely.

    Each shows during the whole of the work or hides during it; the first is the case
    itself, in which all show.  What is left to certainty: one changes its mind.
    """
    fickle = [fault for fault in case.faults if fault.kind.intermittent]
    if not fickle:
        return [(case, 1.0)]
    found = []
    for hides in itertools.product((False, True), repeat=len(fickle)):
        gone = tuple(fault for fault, one in zip(fickle, hides, strict=True) if one)
        left = tuple(fault for fault in case.faults if fault not in gone)
        state = case.ground.case(left, gone, case.mistakes) if gone else case
        found.append((state, product(STAYS_HIDDEN if one else SHOWS for one in hides)))
    return found


def chances(results: Iterable[Result], case: Case) -> list[float]:
    """Return how likely each result is in a case; any result where nobody can tell."""
    return followed(results, case)[0]


def followed(results: Iterable[Result], case: Case) -> tuple[list[float], Case]:
    """Return the chances of results, one after the other, and the case as they leave it.

    What a check puts right is right for those that come after it.
    """
    found = []
    for one in results:
        can = one.check.outcomes(case)
        if not can:
            found.append(1 / max(len(one.check.results), 2))
        else:
            found.append(1 / len(can) if one.result in can else 0.0)
        case = one.check.after(case)
    return found, case


def product(values: Iterable[float]) -> float:
    """Return the product of some chances."""
    total = 1.0
    for value in values:
        total *= value
    return total
