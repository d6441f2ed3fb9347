"""What fails how often: documented weights and the shop's own records together.

The shares of the kinds of part among all failures follow a Dirichlet
distribution.  The documented weights, scaled to ``STRENGTH`` records in all, are
its prior counts; each failure on record adds one to the count of its kind.  The
mean of a kind is then

    (prior + seen) / (all priors + all seen)

and its share alone follows Beta(its count, the other counts) (Gelman et al.,
Bayesian Data Analysis, chapter 3).

Worked example: prior counts of 1 for each of four kinds and 6, 3, 1, 0 records
give the means 0.5, 0.285714, 0.142857, 0.071429.

Parts beside a kicker, which are shaken, are counted apart from all others: one
call for each.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

import attrs

from simrig.history import beta

STRENGTH: Final = 10.0
"""How many records the documented weights are worth: a choice of ours, weak on purpose."""

MASS: Final = 0.9
"""The probability inside the intervals that are shown."""


@attrs.frozen(kw_only=True)
class Seen:
    """How often one kind of part of one machine model failed, in one neighbourhood."""

    machine: str
    part_kind: str
    beside_kicker: bool
    count: int


def counts(seen: Iterable[Seen], *, beside_kicker: bool) -> dict[str, int]:
    """Return the records of one neighbourhood by kind of part."""
    found: dict[str, int] = {}
    for row in seen:
        if row.beside_kicker == beside_kicker:
            found[row.part_kind] = found.get(row.part_kind, 0) + row.count
    return found


@attrs.frozen(kw_only=True)
class KindRate:
    """The share of one kind of part among the failures."""

    kind: str
    prior: float
    seen: int
    mean: float
    low: float
    high: float


@attrs.frozen(kw_only=True)
class Shares:
    """The shares of all kinds, commonest first, and how many records stand behind them."""

    records: int
    mass: float
    kinds: tuple[KindRate, ...]


def prior_counts(
    weights: Iterable[tuple[str, float]], strength: float = STRENGTH
) -> dict[str, float]:
    """Return the prior count of each kind: its weights summed, scaled to ``strength`` in all."""
    summed: dict[str, float] = {}
    for kind, weight in weights:
        if not weight > 0:
            raise ValueError(f"found the weight {weight} for {kind}; wanted one above 0")
        summed[kind] = summed.get(kind, 0.0) + weight
    total = sum(summed.values())
    return {kind: strength * weight / total for kind, weight in summed.items()}


def posterior_counts(prior: Mapping[str, float], seen: Mapping[str, int]) -> dict[str, float]:
    """Return prior and records together.

    A kind on record that the prior does not know gets the least prior count.
    """
    least = min(prior.values(), default=1.0)
    kinds = dict.fromkeys((*prior, *sorted(seen)))
    return {kind: prior.get(kind, least) + seen.get(kind, 0) for kind in kinds}


def means(counts: Mapping[str, float]) -> dict[str, float]:
    """Return the mean share of each kind under a Dirichlet distribution with these counts."""
    total = sum(counts.values())
    return {kind: count / total for kind, count in counts.items()}


def shares(prior: Mapping[str, float], seen: Mapping[str, int], *, mass: float = MASS) -> Shares:
    """Return mean and interval of each kind's share, commonest first, then by name."""
    counts = posterior_counts(prior, seen)
    total = sum(counts.values())
    rows = []
    for kind, count in counts.items():
        own = seen.get(kind, 0)
        # A single kind is all there is.
        low, high = beta.interval(count, total - count, mass) if len(counts) > 1 else (1.0, 1.0)
        rows.append(
            KindRate(kind=kind, prior=count - own, seen=own, mean=count / total, low=low, high=high)
        )
    rows.sort(key=lambda row: (-row.mean, row.kind))
    return Shares(records=sum(seen.values()), mass=mass, kinds=tuple(rows))


def factors(prior: Mapping[str, float], seen: Mapping[str, int]) -> dict[str, float]:
    """Return by what each kind's documented weight is multiplied once the records count too.

    Both sides are shares among the kinds that the prior knows, so that without a
    record every factor is 1.
    """
    known = {kind: count for kind, count in seen.items() if kind in prior}
    before = means(prior)
    after = means(posterior_counts(prior, known))
    return {kind: after[kind] / before[kind] for kind in prior}
