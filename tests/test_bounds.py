"""Bounds of numbers."""

import math

import pytest

from simrig.bounds import COUNT, FACTOR, NOT_NEGATIVE, POSITIVE, SHARE, Bounds


@pytest.mark.parametrize(
    ("bounds", "good", "bad"),
    [
        (POSITIVE, [1, 0.001, 10**400], [0, -1, math.inf, math.nan, True, "1", None]),
        (NOT_NEGATIVE, [0, 0.0, 3], [-0.1, math.inf, math.nan]),
        (COUNT, [1, 7], [0, 1.0, -1]),
        (FACTOR, [0.01, 1], [0, 1.01]),
        (SHARE, [0, 0.99], [1, -0.01]),
        (Bounds(least=0, infinite=True), [0, math.inf], [-1, -math.inf, math.nan]),
    ],
)
def test_a_number_holds_or_not(bounds, good, bad):
    """A number at or beyond a bound is told from one within it."""
    assert [value for value in good if not bounds.holds(value)] == []
    assert [value for value in bad if bounds.holds(value)] == []


def test_the_message_says_what_was_found_and_what_is_wanted():
    """The name, the value and every bound stand in the message."""
    with pytest.raises(
        ValueError, match=r"^share is 1.5; wanted a number above 0 and of at most 1$"
    ):
        FACTOR.check("share", 1.5)
    with pytest.raises(ValueError, match=r"^count is '3'; wanted a whole number of 1 or more$"):
        COUNT.check("count", "3")
    with pytest.raises(ValueError, match=r"^x is nan; wanted a number below 2$"):
        Bounds(below=2).check("x", math.nan)
