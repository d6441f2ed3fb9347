"""What a scan can miss, against derived and published values."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.scan.sampling import Sampling, chance_sampled, safe_pulse_ms


@pytest.mark.parametrize(("pulse", "period", "chance"), [(1, 2, 0.5), (3, 4, 0.75), (2, 2, 1.0)])
def test_chance_of_one_sample(pulse, period, chance):
    """A pulse of w ms is sampled with min(1, w/T). Derived (SCN-01)."""
    assert chance_sampled(pulse, period) == pytest.approx(chance, abs=1e-9)


@pytest.mark.parametrize(
    ("pulse", "period", "samples", "chance"),
    [(5, 2, 3, 0.5), (6, 2, 3, 1), (4, 2, 3, 0), (10, 2, 4, 1)],
)
def test_chance_of_equal_samples_in_a_row(pulse, period, samples, chance):
    """n samples in a row with clamp((w - (n-1)T)/T, 0, 1). Derived (SCN-02)."""
    assert chance_sampled(pulse, period, samples) == pytest.approx(chance, abs=1e-9)


def test_safe_pulse():
    """1 + 3 + 2 x 10 ms: a flag of 5 mm at 1 m/s is too short, 30 mm not. Source: MDG (SCN-04)."""
    needed = safe_pulse_ms(sensor_ms=1, filter_ms=3, scan_ms=10)
    assert needed == 24
    assert [length_mm / 1.0 >= needed for length_mm in (5, 30)] == [False, True]


def test_input_filter():
    """A filter of 10 ms ignores a pulse of 5 ms, one of 2 ms does not. Source: FIL (SCN-05)."""
    assert not Sampling(period_ms=1, filter_ms=10).passes_filter(5)
    assert Sampling(period_ms=1, filter_ms=10).verdict(5) == "never"
    assert Sampling(period_ms=1, filter_ms=2).verdict(5) == "certain"
    assert Sampling(period_ms=1, filter_ms=2).verdict(2) == "certain"
    assert Sampling(period_ms=1, filter_ms=2).verdict(1.9) == "never"


@pytest.mark.parametrize(
    ("pulse", "period", "samples"), [(1, 2, 1), (3, 4, 1), (5, 2, 3), (7, 3, 2)]
)
def test_chance_agrees_with_drawn_phases(pulse, period, samples):
    """The formula agrees with counting samples at random phases. Derived (SCN-01)."""
    draw = random.Random(20)
    hits = 0
    for _ in range(20_000):
        first = draw.random() * period
        inside = 0
        while first + inside * period < pulse:
            inside += 1
        hits += inside >= samples
    assert hits / 20_000 == pytest.approx(chance_sampled(pulse, period, samples), abs=0.015)


@given(
    pulse=st.floats(0, 100),
    period=st.floats(0.01, 50),
    readings=st.integers(1, 10),
    filter_ms=st.floats(0, 50),
)
def test_verdict_follows_the_bounds(pulse, period, readings, filter_ms):
    """At certain_ms and above a pulse is seen, below possible_ms never."""
    sampling = Sampling(period_ms=period, equal_readings=readings, filter_ms=filter_ms)
    if pulse >= sampling.certain_ms * (1 + 1e-9):
        assert sampling.verdict(pulse) == "certain"
    if pulse < sampling.possible_ms * (1 - 1e-9):
        assert sampling.verdict(pulse) == "never"
    least, greatest = sampling.delay_ms
    assert greatest - least == pytest.approx(period, rel=1e-6)


def test_reasons_in_words():
    """Each verdict says why."""
    sampling = Sampling(period_ms=2, equal_readings=3, filter_ms=1)
    assert sampling.why(7) == "7 ms is long enough for 3 equal readings 2 ms apart"
    assert sampling.why(5) == (
        "5 ms may fall between: the controller wants 3 equal readings 2 ms apart"
    )
    assert sampling.why(3) == "3 ms is too short for 3 equal readings 2 ms apart"
    assert sampling.why(0.5) == "0.5 ms is shorter than the input filter of 1 ms"
    assert Sampling(period_ms=4).why(3).endswith("wants a reading every 4 ms")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: chance_sampled(-1, 2), "pulse_ms is -1"),
        (lambda: chance_sampled(1, 0), "period_ms is 0"),
        (lambda: chance_sampled(1, 2, 0), "samples is 0"),
        (lambda: safe_pulse_ms(sensor_ms=1, filter_ms=-3, scan_ms=10), "filter_ms is -3"),
        (lambda: Sampling(period_ms=float("nan")), "period_ms is nan"),
        (lambda: Sampling(period_ms=1, equal_readings=0), "equal_readings is 0"),
    ],
)
def test_values_that_cannot_be_are_refused(make, message):
    """A value that cannot be is named."""
    with pytest.raises(ValueError, match=f"^{message}"):
        make()


def test_bounds_of_a_slow_filter_and_of_many_readings():
    """By hand, T = 2 ms: three readings want 4 ms to be possible and 6 to be certain; a filter
    of 5 ms lies between; the edge is taken 4 to 6 ms after the filter has passed it."""
    plain = Sampling(period_ms=2, equal_readings=3)
    assert (plain.possible_ms, plain.certain_ms, plain.delay_ms) == (4, 6, (4, 6))
    filtered = Sampling(period_ms=2, equal_readings=3, filter_ms=5)
    assert (filtered.possible_ms, filtered.certain_ms, filtered.delay_ms) == (5, 6, (9, 11))
    slow = Sampling(period_ms=2, filter_ms=9)
    assert (slow.possible_ms, slow.certain_ms, slow.delay_ms) == (9, 9, (9, 11))
    assert Sampling(period_ms=2).possible_ms == 0
    assert Sampling(period_ms=2).chance(1) == 0.5


def test_a_pulse_as_long_as_the_filter_passes():
    """The filter swallows what is shorter than itself."""
    sampling = Sampling(period_ms=1, filter_ms=3)
    assert (sampling.passes_filter(3), sampling.passes_filter(2.999)) == (True, False)
    assert (sampling.chance(3), sampling.chance(2.999)) == (1, 0)


@pytest.mark.parametrize("name", ["sensor_ms", "filter_ms", "scan_ms"])
def test_every_part_of_the_safe_pulse_is_checked(name):
    """The part that cannot be is named."""
    with pytest.raises(ValueError, match=f"^{name} is -1; wanted"):
        safe_pulse_ms(**{"sensor_ms": 0, "filter_ms": 0, "scan_ms": 0, name: -1})
    with pytest.raises(ValueError, match="period_ms is 0; wanted a number above 0"):
        Sampling(period_ms=0)
    with pytest.raises(ValueError, match="filter_ms is -1; wanted"):
        Sampling(period_ms=1, filter_ms=-1)
