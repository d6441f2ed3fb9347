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

from collections.abc import Container, Iterator, Mapping
from itertools import chain, combinations

import attrs

from simrig.diagnosis.families import Classes, Family


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
    contested = []
    if () in families:
        folds[()] = Fold(families[()], families[()])
        _fold_whole(classes, folds, (), [item for item in families.items() if item[0]])
        return folds
    for family in sorted(families, key=len):
        held = _places(family, beside)
        likelihood = families[family]
        if not held:
            beside[family] = []
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


def _places(family: Family, minimal: Container[Family]) -> list[tuple[int, ...]]:
    """Return the places in a family that a smaller, minimal one can take."""
    return [
        places
        for places, smaller in zip(
            _smaller(tuple(range(len(family)))), _smaller(family), strict=True
        )
        if smaller in minimal
    ]


def _smaller(family: Family) -> Iterator[Family]:
    """Yield all proper sub-families but the empty one, the same places at the same turn."""
    return chain.from_iterable([combinations(family, size) for size in range(1, len(family))])


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
