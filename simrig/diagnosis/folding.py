"""Folding: each set under the likeliest of the minimal sets that it contains.

The problem.  Whatever explains a reading still explains it, mostly, with a silent
fault beside it.  A list of all consistent sets buries the few that matter, yet
leaving the others out would make the few look likelier than they are.  So only
the subset-minimal consistent sets are listed, and each other consistent set is
counted once, under the likeliest minimal set that it contains (of equal ones, the
one with the lowest indices).

Families (see ``families``) are folded as one wherever all their sets contain
just one minimal set; only where several compete is each set looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping
from functools import lru_cache
from itertools import combinations
from operator import itemgetter

import attrs

from simrig.diagnosis.families import Classes, Family

Smaller = tuple[tuple[int, ...], Callable[[Family], Family]]
"""Places in a family, and what takes the members of a family that stand there."""


@attrs.define
class Fold:
    """A minimal set's own weight, with the number and weight of what is folded under it."""

    weight: float
    likelihood: float
    count: int = 0
    folded: float = 0.0


def fold(classes: Classes, families: Mapping[Family, float]) -> dict[tuple[int, ...], Fold]:
    """Return the minimal sets, as sorted indices, with what is folded under each.

    ``families`` maps each family of consistent sets to the likelihood that its
    sets share.
    """
    folds: dict[tuple[int, ...], Fold] = {}
    # For each minimal family: what stands beside it in families that hold it alone.
    beside: dict[Family, list[tuple[Family, float]]] = {}
    sizes: frozenset[int] = frozenset()
    contested = []
    if () in families:
        folds[()] = Fold(families[()], families[()])
        _fold_whole(classes, folds, (), [item for item in families.items() if item[0]])
        return folds
    for family in sorted(families, key=len):
        held = _places(family, beside, _smaller(len(family), sizes))
        likelihood = families[family]
        if not held:
            beside[family] = []
            sizes |= {len(family)}
            for chosen, odds in classes.expand(family):
                folds[tuple(sorted(chosen))] = Fold(odds * likelihood, likelihood)
        elif len(held) == 1:
            (places,) = held
            within = tuple([family[place] for place in places])
            rest = [number for place, number in enumerate(family) if place not in places]
            beside[within].append((tuple(rest), likelihood))
        else:
            contested.append((family, likelihood, held))
    for family, others in beside.items():
        _fold_whole(classes, folds, family, others)
    for family, likelihood, held in contested:
        _fold_singly(classes, folds, family, likelihood, held)
    return folds


def _places(
    family: Family, minimal: Container[Family], smaller: tuple[Smaller, ...]
) -> list[tuple[int, ...]]:
    """Return the places in a family that a smaller, minimal one can take."""
    return [places for places, take in smaller if take(family) in minimal]


@lru_cache(maxsize=64)
def _smaller(length: int, sizes: frozenset[int]) -> tuple[Smaller, ...]:
    """Return all proper parts, of some sizes, of families of one length: places, and how to take
    what stands there."""
    return tuple(
        [
            (places, itemgetter(slice(places[0], places[0] + 1)))
            if len(places) == 1
            else (places, itemgetter(*places))
            for size in range(1, length)
            if size in sizes
            for places in combinations(range(length), size)
        ]
    )


def _fold_whole(
    classes: Classes,
    folds: dict[tuple[int, ...], Fold],
    family: Family,
    others: list[tuple[Family, float]],
) -> None:
    """Fold what stands beside a minimal family under each of its sets."""
    for chosen, odds in classes.expand(family):
        parts = [classes.parts[index] for index in chosen]
        target = folds[tuple(sorted(chosen))]
        for rest, likelihood in others:
            count, weight = classes.total(rest, parts)
            target.count += count
            target.folded += odds * weight * likelihood


def _fold_singly(
    classes: Classes,
    folds: dict[tuple[int, ...], Fold],
    family: Family,
    likelihood: float,
    held: list[tuple[int, ...]],
) -> None:
    """Fold a family set by set, as the minimal sets at several places compete."""
    for chosen, odds in classes.expand(family):
        names = [tuple(sorted([chosen[place] for place in places])) for places in held]
        name = min(names, key=lambda name: (-folds[name].weight, name))
        folds[name].count += 1
        folds[name].folded += odds * likelihood
