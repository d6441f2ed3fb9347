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

from collections.abc import Mapping
from itertools import combinations

import attrs

from simrig.diagnosis.families import Classes, Family


@attrs.define
class Fold:
    """A minimal set's own weight, with the number and weight of what is folded under it."""

    weight: float
    likelihood: float
    count: int = 0
    folded: float = 0.0


def minimal_families(families: Mapping[Family, float]) -> list[Family]:
    """Return the families of which no proper sub-family is there."""
    if () in families:
        return [()]
    return [
        family
        for family in families
        if not any(
            smaller in families
            for size in range(1, len(family))
            for smaller in combinations(family, size)
        )
    ]


def fold(classes: Classes, families: Mapping[Family, float]) -> dict[tuple[int, ...], Fold]:
    """Return the minimal sets, as sorted indices, with what is folded under each.

    ``families`` maps each family of consistent sets to the likelihood that its
    sets share.
    """
    folds: dict[tuple[int, ...], Fold] = {}
    minimal = set(minimal_families(families))
    for family in minimal:
        for chosen, odds in classes.expand(family):
            likelihood = families[family]
            folds[tuple(sorted(chosen))] = Fold(odds * likelihood, likelihood)
    sizes = sorted({len(family) for family in minimal})
    for family, likelihood in families.items():
        if family in minimal:
            continue
        # The places in the family that a minimal set can take.
        held = [
            places
            for size in sizes
            for places in combinations(range(len(family)), size)
            if tuple([family[place] for place in places]) in minimal
        ]
        if len(held) == 1:
            _fold_whole(classes, folds, family, likelihood, held[0])
        else:
            _fold_singly(classes, folds, family, likelihood, held)
    return folds


def _fold_whole(
    classes: Classes,
    folds: dict[tuple[int, ...], Fold],
    family: Family,
    likelihood: float,
    places: tuple[int, ...],
) -> None:
    """Fold a family whose sets contain one minimal set each, at ``places``."""
    within = tuple([family[place] for place in places])
    beside = tuple([number for place, number in enumerate(family) if place not in places])
    for chosen, odds in classes.expand(within):
        count, weight = classes.total(beside, [classes.parts[i] for i in chosen])
        if count:
            target = folds[tuple(sorted(chosen))]
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
