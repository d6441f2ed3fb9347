"""Minimal hitting sets, and the diagnoses and conflicts that they are.

The problem.  A conflict is a set of parts that cannot all be healthy.  A
diagnosis takes at least one part from each conflict: it hits them all.  So the
minimal diagnoses are the minimal hitting sets of the minimal conflicts, and the
other way round.

The reference.  Reiter R., "A theory of diagnosis from first principles",
Artificial Intelligence 32 (1987) 57-95, grows a tree: a node is the set of parts
chosen so far, its children add each member of some conflict not yet hit, and
conflicts are asked for one by one.  His pruning loses diagnoses if a conflict is
not minimal (Greiner R., Smith B.A., Wilkerson R.W., "A correction to the algorithm
in Reiter's theory of diagnosis", Artificial Intelligence 41 (1989) 79-88).  The
tree here needs neither the rule nor its correction: once a member of a conflict
has had its child, it is barred from the later children, so that each set is met
on one path only, and level by level no set is met before its subsets.

A worked example:

>>> [sorted(hitting) for hitting in minimal_hitting_sets(["ab", "bc", "ac", "bd", "b"])]
[['a', 'b'], ['b', 'c']]
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from typing import TypeVar

from simrig.diagnosis.system import Allowed, System

Element = TypeVar("Element", bound=Hashable)


def _grow(
    missed: Callable[[frozenset[Element]], Iterable[Element] | None], limit: int | None
) -> Iterator[frozenset[Element]]:
    """Yield the minimal hitting sets, smallest first.

    ``missed`` returns a set that the given one does not hit, or None.
    """
    found: list[frozenset[Element]] = []
    nothing: frozenset[Element] = frozenset()
    level = [(nothing, nothing)]
    size = 0
    while level:
        deeper = []
        for chosen, barred in level:
            if any(hitting <= chosen for hitting in found):
                continue
            conflict = missed(chosen)
            if conflict is None:
                found.append(chosen)
                yield chosen
            elif size != limit:
                closed = set(barred)
                for element in conflict:
                    if element not in closed:
                        deeper.append((chosen | {element}, frozenset(closed)))
                        closed.add(element)
        level = deeper
        size += 1


def minimal_hitting_sets(
    sets: Iterable[Iterable[Element]], limit: int | None = None
) -> list[frozenset[Element]]:
    """Return every subset-minimal set that meets each of ``sets``, smallest first.

    ``limit`` bounds their size.  No sets are hit by the empty set; an empty set
    is hit by nothing.
    """
    # A set that holds another is hit whenever the other is.
    distinct = {frozenset(members): tuple(dict.fromkeys(members)) for members in map(tuple, sets)}
    minimal = [
        members for key, members in distinct.items() if not any(other < key for other in distinct)
    ]
    minimal.sort(key=len)

    def missed(chosen: frozenset[Element]) -> tuple[Element, ...] | None:
        return next((members for members in minimal if chosen.isdisjoint(members)), None)

    return list(_grow(missed, limit))


def minimal_diagnoses(system: System, limit: int | None = None) -> list[frozenset[int]]:
    """Return every consistent set of deviations without a consistent proper subset.

    Smallest first, of at most ``limit`` deviations.  Parts with several modes
    are in at most one.
    """
    parts = [deviation.part for deviation in system.deviations]

    def missed(chosen: frozenset[int]) -> list[int] | None:
        outcome = system.outcomes(chosen)
        if isinstance(outcome, Allowed):
            return None
        taken = {parts[index] for index in chosen}
        return sorted(index for index in outcome.candidates if parts[index] not in taken)

    return list(_grow(missed, limit))


def minimal_conflicts(system: System) -> list[frozenset[int]]:
    """Return every minimal set of deviations of which at least one is present.

    By the duality of hitting sets, which holds where a deviation leaves its part
    unconstrained (each superset of a consistent set is consistent): elsewhere
    these are the sets that the minimal diagnoses have to hit, no more.
    """
    return minimal_hitting_sets(map(sorted, minimal_diagnoses(system)))
