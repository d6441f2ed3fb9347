"""Which reading to take next: the one that leaves the least uncertainty.

The problem.  Several candidates explain what has been read.  One more point can
be probed, and each candidate predicts the value there, or predicts none.  How
uncertain will the candidates leave us, on average, after the reading?

The reference.  De Kleer J., Williams B.C., "Diagnosing multiple faults",
Artificial Intelligence 32 (1987) 97-130, section 4 (from memory).  A candidate
that predicts no value gives each of the ``m`` possible values the chance 1/m.
With X the reading, C the candidate and H the entropy in bits::

    H(C after X) = H(C) + H(X given C) - H(X),     H(X given C) = P(no prediction) log2 m

A worked example: three of four candidates say 0 at ``a``, two say 0 at ``b``.

>>> for probe in rank_probes([0.25] * 4, {"a": [0, 0, 0, 1], "b": [0, 0, 1, 1]}, m=2):
...     print(probe.point, round(probe.remaining, 6))
b 1.0
a 1.188722
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence

import attrs


def entropy(chances: Iterable[float]) -> float:
    """Return the entropy, in bits, of chances that add up to 1."""
    return -math.fsum(chance * math.log2(chance) for chance in chances if chance > 0)


@attrs.frozen(kw_only=True)
class Probe:
    """A point that can be read, and what reading it is worth.

    ``values`` holds the chance of the candidates that predict each value,
    ``unpredicted`` of those that predict none, ``bits`` the entropy of the reading
    and ``remaining`` the expected entropy of the candidates after it, in bits.
    """

    point: Hashable
    values: dict[Hashable, float]
    unpredicted: float
    bits: float
    remaining: float


def _probe(
    point: Hashable, chances: Sequence[float], predicted: Sequence[Hashable | None], m: int
) -> Probe:
    if len(predicted) != len(chances):
        raise ValueError(f"{point}: {len(predicted)} predictions found, {len(chances)} wanted")
    values: dict[Hashable, float] = {}
    unpredicted = 0.0
    for chance, value in zip(chances, predicted, strict=True):
        if value is None:
            unpredicted += chance
        else:
            values[value] = values.get(value, 0.0) + chance
    if len(values) > m:
        raise ValueError(f"{point}: {len(values)} values found, at most {m} wanted")
    share = unpredicted / m
    bits = entropy([*[chance + share for chance in values.values()], *[share] * (m - len(values))])
    return Probe(
        point=point,
        values=values,
        unpredicted=unpredicted,
        bits=bits,
        remaining=max(entropy(chances) + unpredicted * math.log2(m) - bits, 0.0),
    )


def rank_probes(
    chances: Sequence[float], predictions: Mapping[Hashable, Sequence[Hashable | None]], *, m: int
) -> list[Probe]:
    """Return the probes, the one that leaves the least entropy first.

    ``chances`` holds the probability of each candidate (together 1),
    ``predictions`` for each point what each candidate predicts there, None for
    no prediction, ``m`` the number of values that a point can have.  Equal
    probes keep the order of ``predictions``.  Raises ValueError if the chances
    do not add up to 1, if a point lacks predictions, or has more than ``m`` values.
    """
    if not math.isclose(math.fsum(chances), 1.0, abs_tol=1e-9):
        raise ValueError(f"chances: a sum of {math.fsum(chances)!r} found, 1 wanted")
    probes = [_probe(point, chances, predicted, m) for point, predicted in predictions.items()]
    # Rounded, so that equal probes do not trade places over the last bit of a sum.
    return sorted(probes, key=lambda probe: round(probe.remaining, 12))


def best_probe(
    chances: Sequence[float], predictions: Mapping[Hashable, Sequence[Hashable | None]], *, m: int
) -> Probe:
    """Return the first of ``rank_probes``; raises ValueError if there is no point to probe."""
    probes = rank_probes(chances, predictions, m=m)
    if not probes:
        raise ValueError("predictions: none found, at least one point wanted")
    return probes[0]
