"""The beta distribution against published values and scipy."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.history import beta

scipy_special = pytest.importorskip("scipy.special")
scipy_stats = pytest.importorskip("scipy.stats")

counts = st.floats(min_value=0.02, max_value=5e4)


def test_seven_of_ten_under_a_uniform_prior():
    """Beta(8, 4) lies above one half with probability 0.886719.  Source: BB+OWN (REL-01)."""
    assert 1 - beta.cumulative(0.5, 8, 4) == pytest.approx(0.886719, abs=1e-6)


def test_no_failure_seen_in_a_hundred():
    """The exact 95 % bound after 100 trials without a failure is 0.029513, and the rule of three
    (3/n) lies just above.  Source: OWN (REL-05)."""
    bound = beta.quantile(0.95, 1, 100)
    assert bound == pytest.approx(0.029513, abs=1e-6)
    assert bound == pytest.approx(1 - 0.05 ** (1 / 100), abs=1e-12)
    assert bound < 3 / 100 < bound * 1.02


@given(a=counts, b=counts, x=st.floats(min_value=0, max_value=1))
def test_the_cumulative_probability_is_scipys(a, b, x):
    """The continued fraction agrees with scipy's incomplete beta function."""
    assert beta.cumulative(x, a, b) == pytest.approx(
        float(scipy_special.betainc(a, b, x)), rel=1e-8, abs=1e-10
    )


@settings(deadline=None)
@given(
    a=st.floats(min_value=0.05, max_value=2e4),
    b=st.floats(min_value=0.05, max_value=2e4),
    mass=st.sampled_from((0.5, 0.8, 0.9, 0.95, 0.99)),
)
def test_the_interval_is_scipys(a, b, mass):
    """The equal-tailed interval agrees with scipy's."""
    low, high = beta.interval(a, b, mass)
    wanted_low, wanted_high = scipy_stats.beta.interval(mass, a, b)
    assert low == pytest.approx(float(wanted_low), rel=1e-7, abs=1e-12)
    assert high == pytest.approx(float(wanted_high), rel=1e-7, abs=1e-12)


@settings(deadline=None)
@given(
    a=st.floats(min_value=0.05, max_value=2e4),
    b=st.floats(min_value=0.05, max_value=2e4),
    probability=st.floats(min_value=1e-6, max_value=1 - 1e-6),
)
def test_the_quantile_is_the_inverse(a, b, probability):
    """Whoever stays below the quantile does so with the probability asked for."""
    share = beta.quantile(probability, a, b)
    if 1e-300 < share < 1 - 1e-9:
        assert beta.cumulative(share, a, b) == pytest.approx(probability, abs=1e-7)


def test_the_ends_of_the_scale():
    """Nothing lies below 0, everything below 1."""
    assert beta.cumulative(0, 2, 3) == 0
    assert beta.cumulative(1, 2, 3) == 1
    assert beta.quantile(0, 2, 3) == 0
    assert beta.quantile(1, 2, 3) == 1


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: beta.cumulative(0.5, 0, 1), "above 0"),
        (lambda: beta.cumulative(0.5, 1, math.inf), "finite"),
        (lambda: beta.quantile(1.5, 1, 1), "from 0 to 1"),
        (lambda: beta.interval(1, 1, 1), "between 0 and 1"),
    ],
)
def test_what_is_no_beta_distribution_is_refused(call, said):
    """A count of 0, or a probability outside, is refused with what is wanted."""
    with pytest.raises(ValueError, match=said):
        call()


def test_a_share_too_small_for_a_number_is_nought():
    """Of Beta(0.001, 1) a twentieth lies below 0.05 ** 1000, which no number of this kind holds."""
    assert beta.quantile(0.05, 0.001, 1) == 0.0


def test_counts_too_large_are_no_answer():
    """Where the continued fraction does not converge it says so, and gives no wrong number."""
    with pytest.raises(ArithmeticError, match=r"no convergence for x=0\.5, a=1000000000000"):
        beta.cumulative(0.5, 1e12, 1e12)
