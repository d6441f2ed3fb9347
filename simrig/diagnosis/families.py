"""Families: sets of deviations that differ only by interchangeable members.

The problem.  Most explanations of a reading are one short story told many times:
a dark emitter, or its resistor, or its joint; and beside it any one of the many
faults that the sheet cannot show.  The search tells a story once, as a family: a
tuple of classes of interchangeable deviations, with repetition.  This module
says which sets a family stands for, how many they are and what they weigh,
without forming them where only the sum is wanted.

A set takes at most one deviation of a part, so a family's weight is a sum of
products over members of different parts.  The largest class is summed in closed
form, the others are walked through, unless no part is in two of them.

A worked example: an emitter that is dark by two causes of equal effect, and two
faults that no reading shows, one of them on the emitter's own part.

>>> deviations = tuple(
...     Deviation(part=part, mode=mode, prior=prior)
...     for part, mode, prior in [("LED", "dead", 0.5), ("lead", "broken", 0.25),
...                               ("coil", "open", 0.5), ("LED", "dim", 0.5)])
>>> classes = Classes.group(deviations, ["dark", "dark", "silent", "silent"])
>>> list(classes.expand((0, 1)))
[((0, 2), 0.25), ((1, 2), 0.125), ((1, 3), 0.125)]
>>> classes.total((0, 1))
(3, 0.5)
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator, Sequence

import attrs

from simrig.diagnosis.deviation import Deviation

Family = tuple[int, ...]
"""Classes in ascending order; a class that gives two members stands in it twice."""


@attrs.frozen(kw_only=True)
class Classes:
    """The deviations of a system, sorted into interchangeable ones.

    ``members[c]`` holds the deviations of class ``c``, ``class_of[i]`` the class
    of deviation ``i``, ``parts[i]`` a number for its part, ``priors[i]`` its
    prior odds.
    """

    members: tuple[tuple[int, ...], ...]
    class_of: tuple[int, ...]
    parts: tuple[int, ...]
    priors: tuple[float, ...]
    _sums: tuple[tuple[int, float, frozenset[int]], ...]

    @classmethod
    def group(cls, deviations: Sequence[Deviation], keys: Sequence[Hashable]) -> Classes:
        """Sort deviations by their keys, classes in the order of their first members."""
        numbers: dict[Hashable, int] = {}
        class_of = tuple([numbers.setdefault(key, len(numbers)) for key in keys])
        part_numbers: dict[Hashable, int] = {}
        parts = tuple([part_numbers.setdefault(one.part, len(part_numbers)) for one in deviations])
        priors = tuple([one.prior for one in deviations])
        members: list[list[int]] = [[] for _ in numbers]
        for index, number in enumerate(class_of):
            members[number].append(index)
        sums = [
            (len(group), sum([priors[i] for i in group]), frozenset([parts[i] for i in group]))
            for group in members
        ]
        return cls(
            members=tuple(map(tuple, members)),
            class_of=class_of,
            parts=parts,
            priors=priors,
            sums=tuple(sums),
        )

    def total(self, family: Family, taken: Collection[int] = ()) -> tuple[int, float]:
        """Return the number of sets in a family and the sum of their prior odds.

        Only sets that leave the parts ``taken`` alone are counted.
        """
        if not family:
            return 1, 1.0
        parts = self.parts
        if len(family) == 1:
            count, odds, class_parts = self._sums[family[0]]
            if class_parts.isdisjoint(taken):
                return count, odds
            free = [self.priors[i] for i in self.members[family[0]] if parts[i] not in taken]
            return len(free), sum(free)
        if len(family) == 2:
            count, odds, class_parts = self._sums[family[0]]
            other_count, other_odds, other_parts = self._sums[family[1]]
            if (
                class_parts.isdisjoint(other_parts)
                and class_parts.isdisjoint(taken)
                and other_parts.isdisjoint(taken)
            ):
                return count * other_count, odds * other_odds
        # Walk through the smallest class. A set with k members of it is met k times.
        walked = min(family, key=lambda number: self._sums[number][0])
        times = family.count(walked)
        rest = list(family)
        rest.remove(walked)
        others = tuple(rest)
        count, odds = 0, 0.0
        for index in self.members[walked]:
            if parts[index] not in taken:
                more, weight = self.total(others, (*taken, parts[index]))
                count += more
                odds += self.priors[index] * weight
        return count // times, odds / times

    def expand(self, family: Family) -> Iterator[tuple[tuple[int, ...], float]]:
        """Yield each set of a family once, with the product of its prior odds.

        Members stand in the order of the family's classes.
        """
        found: list[tuple[tuple[int, ...], float]] = [((), 1.0)]
        if not family:
            return iter(found)
        last = len(family) - 1
        for place in range(last):
            found = list(self._longer(found, family, place))
        # Only what is formed last can be much: it is not held.
        return self._longer(found, family, last)

    def _longer(
        self, found: list[tuple[tuple[int, ...], float]], family: Family, place: int
    ) -> Iterator[tuple[tuple[int, ...], float]]:
        """Yield sets of the first classes of a family with one of the next class added."""
        parts, priors = self.parts, self.priors
        members = self.members[family[place]]
        repeated = place > 0 and family[place - 1] == family[place]
        for chosen, odds in found:
            taken = [parts[index] for index in chosen]
            for index in members:
                if parts[index] not in taken and not (repeated and index < chosen[-1]):
                    yield (*chosen, index), odds * priors[index]

    def representative(self, family: Family) -> frozenset[int] | None:
        """Return some set of a family, or None where its parts exclude each other."""
        for chosen, _ in self.expand(family):
            return frozenset(chosen)
        return None
