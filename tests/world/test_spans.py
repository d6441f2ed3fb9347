"""Kinematics between bounds."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simrig.world.rolling import Roll, Track
from simrig.world.spans import Span, speed_after, time_to

lengths = st.floats(0, 2000)
speeds = st.floats(0, 5000)
pushes = st.floats(-9000, 9000)


def spans(values):
    return st.lists(values, min_size=3, max_size=3).map(lambda three: Span(*sorted(three)))


@given(spans(lengths), spans(speeds), spans(pushes), st.data())
def test_whatever_lies_within_the_bounds_gives_a_time_and_a_speed_within_theirs(
    distance, speed, push, data
):
    """Bounds of the result hold for every value within the bounds given."""

    def within(span):
        return data.draw(st.floats(span.low, span.high))

    s, v, a = within(distance), within(speed), within(push)
    one = Span.exactly
    time = time_to(one(s), one(v), one(a)).typical
    limits = time_to(distance, speed, push)
    assert limits.low <= time * (1 + 1e-9) + 1e-9
    assert time <= limits.high * (1 + 1e-9) + 1e-9
    reached = speed_after(one(s), one(v), one(a)).typical
    limits = speed_after(distance, speed, push)
    assert limits.low - 1e-6 <= reached <= limits.high + 1e-6


@given(st.floats(0.1, 2000), st.floats(0, 5000), st.floats(0.5, 45))
def test_known_values_give_the_time_and_speed_of_a_rolling_ball(distance, speed, slope):
    """On a known slope the time is that of rolling.Roll."""
    track = Track(ball_diameter_mm=27, slope_deg=slope)
    roll = Roll(track=track, entry_speed_mm_s=speed)
    push = Span.exactly(track.acceleration_mm_s2)
    time = time_to(Span.exactly(distance), Span.exactly(speed), push)
    assert time.known
    assert time.low / 1000 == pytest.approx(roll.time_s(distance))
    after = speed_after(Span.exactly(distance), Span.exactly(speed), push)
    assert after.low == pytest.approx(roll.speed_mm_s(distance))


@pytest.mark.parametrize(("speed", "push"), [(1900.0, -700.0), (300.0, 793.0), (0.0, 500.0)])
def test_time_agrees_with_an_integrator_uphill_too(speed, push):
    """Source: scipy.integrate.solve_ivp, x'' = a, to 1e-6."""

    def arrives(_, state):
        return state[0] - 170.0

    arrives.terminal = True
    solved = solve_ivp(
        lambda _, state: (state[1], push), (0, 10), (0.0, speed), events=arrives,
        rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    time = time_to(Span.exactly(170.0), Span.exactly(speed), Span.exactly(push))
    assert time.low / 1000 == pytest.approx(solved.t_events[0][0], rel=1e-6)


def test_a_ball_that_may_turn_back_may_take_for_ever():
    """Uphill at 1 m/s with gravity against it a ball stops before 260 mm."""
    uphill = Span(-9806.65, 0.0, 0.0)
    assert math.isinf(time_to(Span.exactly(260.0), Span.exactly(1000.0), uphill).high)


def test_a_span_out_of_order_is_refused_in_words():
    """The typical value lies between the bounds."""
    with pytest.raises(ValueError, match="found 2, 1, 3; wanted least, typical, greatest"):
        Span(2.0, 1.0, 3.0)


def test_sums_differences_and_factors_of_spans():
    """By hand: bounds meet the other's near bound in a sum, its far one in a difference."""
    one, other = Span(3, 5, 9), Span(1, 2, 4)
    assert one + other == Span(4, 7, 13)
    assert one.less(other) == Span(0, 3, 8)
    assert Span(5, 6, 9).less(other) == Span(1, 4, 8)
    assert other.less(one) == Span(0, 0, 1)
    assert other.less(Span(10, 11, 12)) == Span(0, 0, 0)
    assert one.times(10) == Span(30, 50, 90)
    assert one.widened(0.5, 2) == Span(1.5, 5, 18)
    assert (Span.exactly(4).known, one.known, Span(1, 2, 2).known) == (True, False, False)
    with pytest.raises(ValueError, match="wanted least, typical, greatest"):
        Span(1, 3, 2)


def test_speed_where_the_ball_may_be_pushed_either_way():
    """By hand, v^2 = v0^2 + 2 a s: pushed back it is slowest at the far end, pushed on it is
    fastest there; a ball that would stop has speed 0."""
    speed = Span.exactly(10.0)
    back = speed_after(Span(2, 3, 4), speed, Span(-6.0, -6.0, -6.0))
    assert (back.low, back.typical, back.high) == pytest.approx(
        (math.sqrt(52), math.sqrt(64), math.sqrt(76))
    )
    on = speed_after(Span(2, 3, 4), speed, Span(6.0, 6.0, 6.0))
    assert (on.low, on.high) == pytest.approx((math.sqrt(124), math.sqrt(148)))
    level = speed_after(Span(2, 3, math.inf), speed, Span(0.0, 0.0, 0.0))
    assert (level.low, level.typical, level.high) == (10, 10, 10)
    assert speed_after(Span.exactly(50.0), speed, Span.exactly(-2.0)) == Span(0, 0, 0)
    assert speed_after(Span.exactly(4.0), Span(0.0, 0.0, 0.0), Span.exactly(0.5)).low == 2


def test_times_by_hand():
    """t = 2 s / (v0 + v), in ms; at rest and never pushed it takes for ever, at no distance none."""
    exactly = Span.exactly

    def time(distance, speed, push):
        return time_to(exactly(distance), exactly(speed), exactly(push)).typical

    assert time(100.0, 50.0, 0.0) == 2000
    assert time(0.0, 0.0, 0.0) == 0
    assert time(100.0, math.inf, 0.0) == 0
    assert time(math.inf, 50.0, 1.0) == math.inf
    assert time(100.0, 0.0, 0.0) == math.inf
    # 10 mm/s against 1 mm/s^2 comes to rest after 50 mm and 10 s.
    assert time(50.0, 10.0, -1.0) == pytest.approx(10_000)
    assert time(50.1, 10.0, -1.0) == math.inf
    assert time(0.5, 0.0, 1.0) == pytest.approx(1000)


def test_a_typical_time_stays_within_its_bounds():
    """Typical values that go with each other badly are brought back within."""
    found = time_to(Span(1, 2, 2), Span(1.0, 1.0, 2.0), Span(0.0, 0.0, 0.0))
    assert (found.low, found.typical, found.high) == (500, 2000, 2000)


def test_a_weak_push_is_a_push():
    """By hand from rest and from 10 mm/s: 0.5 mm/s^2 is not level, whichever way it goes."""
    distance = Span(2, 3, 4)
    on = speed_after(distance, Span.exactly(0.0), Span.exactly(0.5))
    assert (on.low, on.typical, on.high) == pytest.approx(
        (math.sqrt(2), math.sqrt(3), math.sqrt(4))
    )
    back = speed_after(distance, Span.exactly(10.0), Span.exactly(-0.5))
    assert (back.low, back.typical, back.high) == pytest.approx(
        (math.sqrt(96), math.sqrt(97), math.sqrt(98))
    )


def test_a_typical_time_is_not_the_latest():
    """By hand: 100, 200 or 300 mm at 100 mm/s."""
    found = time_to(Span(100, 200, 300), Span.exactly(100.0), Span.exactly(0.0))
    assert (found.low, found.typical, found.high) == (1000, 2000, 3000)
