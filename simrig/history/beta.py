"""The beta distribution: share of a thing, seen so and so often.

The regularised incomplete beta function is evaluated by its continued fraction
(NIST Digital Library of Mathematical Functions, 8.17.22) with Lentz's method as
modified by Thompson and Barnett; its inverse by bisection on a logarithmic scale
and Newton steps that never leave the bracket.

Worked example: a uniform prior and 7 of 10 give Beta(8, 4);
``1 - cumulative(0.5, 8, 4)`` is 0.886719.
"""

from __future__ import annotations

import math
from typing import Final

_TINY: Final = 1e-300
_CLOSE: Final = 1e-15
_MOST_TERMS: Final = 20_000
_SMALLEST: Final = -700.0


def cumulative(x: float, a: float, b: float) -> float:
    """Return the probability that a share under Beta(a, b) is at most ``x``.

    ``a`` and ``b`` are above 0; raises ValueError otherwise, and ArithmeticError where they
    are so large (about 1e12) that the fraction does not converge.
    """
    _check(a, b)
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    return _cumulative_log(math.log(x), x, a, b)


def quantile(probability: float, a: float, b: float) -> float:
    """Return the share that Beta(a, b) stays below with a probability from 0 to 1.

    Raises ValueError for a probability outside, or ``a`` or ``b`` not above 0.
    """
    _check(a, b)
    if not 0 <= probability <= 1:
        raise ValueError(f"found the probability {probability}; wanted one from 0 to 1")
    if probability in (0, 1):
        return float(probability)
    if probability > cumulative(0.5, a, b):
        # The upper half is found from the other end, where digits are not lost to 1 - x.
        return 1.0 - _lower_quantile(1.0 - probability, b, a)
    return _lower_quantile(probability, a, b)


def interval(a: float, b: float, mass: float = 0.9) -> tuple[float, float]:
    """Return the ends of the equal-tailed interval that holds ``mass`` of Beta(a, b)."""
    if not 0 < mass < 1:
        raise ValueError(f"found the mass {mass}; wanted one between 0 and 1")
    tail = (1 - mass) / 2
    return quantile(tail, a, b), quantile(1 - tail, a, b)


def _check(a: float, b: float) -> None:
    if not (0 < a < math.inf and 0 < b < math.inf):
        raise ValueError(f"found Beta({a}, {b}); wanted two finite numbers above 0")


def _cumulative_log(log_x: float, x: float, a: float, b: float) -> float:
    """Return the cumulative probability where ``x`` may have underflowed but its logarithm has
    not."""
    front = a * log_x + b * math.log1p(-x) + _log_of_inverse_beta(a, b)
    if x < (a + 1) / (a + b + 2):
        return math.exp(front) * _fraction(x, a, b) / a
    return 1.0 - math.exp(front) * _fraction(1.0 - x, b, a) / b


def _log_of_inverse_beta(a: float, b: float) -> float:
    return math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)


def _fraction(x: float, a: float, b: float) -> float:
    """Evaluate the continued fraction 8.17.22, which converges fast for x below its mean."""
    numerator = 1.0
    denominator = _away_from_zero(1.0 - (a + b) * x / (a + 1.0))
    denominator = 1.0 / denominator
    value = denominator
    for m in range(1, _MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            denominator = 1.0 / _away_from_zero(1.0 + term * denominator)
            numerator = _away_from_zero(1.0 + term / numerator)
            step = denominator * numerator
            value *= step
        if abs(step - 1.0) < _CLOSE:
            return value
    raise ArithmeticError(f"no convergence for x={x}, a={a}, b={b}")


def _away_from_zero(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def _lower_quantile(probability: float, a: float, b: float) -> float:
    """Find a share of at most one half, or just above; below e^-700 it is taken for 0.

    Each turn halves the bracket or the step, so that it ends.
    """
    low, high = _SMALLEST, math.log(0.5) + 1e-12
    if _cumulative_log(low, 0.0, a, b) >= probability:
        return 0.0
    guess, move = (low + high) / 2, math.inf
    log_inverse = _log_of_inverse_beta(a, b)
    while True:
        x = math.exp(guess)
        excess = _cumulative_log(guess, x, a, b) - probability
        if excess > 0:
            high = guess
        else:
            low = guess
        # The slope by the logarithm of x is the density times x.
        slope = math.exp(log_inverse + a * guess + (b - 1) * math.log1p(-x))
        following = guess - excess / slope if slope > 0 else math.inf
        if not (low < following < high and abs(following - guess) < move / 2):
            following = (low + high) / 2
        move = abs(following - guess)
        if move <= 1e-15 * max(1.0, abs(guess)):
            return math.exp(following)
        guess = following
