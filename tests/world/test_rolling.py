"""A rolling ball against published and independent values."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simrig.world.rolling import (
    Roll,
    Track,
    Window,
    chord_mm,
    contact_width_in_groove_mm,
    contact_width_on_rods_mm,
    gap_mm,
    light_between,
    rebound_share,
    resting_centre_mm,
    settling_s,
)

BALL_MM = 26.9875  # 1 1/16 in


def track(slope_deg=6.5, **changes):
    return Track(ball_diameter_mm=BALL_MM, slope_deg=slope_deg, **changes)


def test_sphere_on_30_degrees():
    """On 30 degrees a solid sphere gains 5/14 of free fall. Source: PHY (MEC-01)."""
    rolling = track(30, gravity_mm_s2=9800)
    assert rolling.acceleration_mm_s2 / 1000 == pytest.approx(3.5, abs=1e-9)


def test_sphere_on_a_plane_from_rest():
    """A metre down 6.5 degrees takes 1.588142 s. Source: PHY, derived (MEC-02)."""
    roll = Roll(track=track())
    assert roll.track.acceleration_mm_s2 / 1000 == pytest.approx(0.79296, abs=1e-6)
    assert roll.time_s(1000) == pytest.approx(1.588142, abs=1e-6)
    assert roll.speed_mm_s(1000) / 1000 == pytest.approx(1.259333, abs=1e-6)
    assert roll.time_s(1000) * math.sqrt(roll.track.factor) == pytest.approx(1.342225, abs=1e-6)


def test_sphere_on_a_fifth_of_a_radian():
    """On 0.2 rad a solid sphere gains 1.39 m/s^2. Source: PHY (MEC-03)."""
    rolling = track(math.degrees(0.2), gravity_mm_s2=9800)
    assert rolling.acceleration_mm_s2 / 1000 == pytest.approx(1.39, abs=0.01)


def test_slope_of_a_given_acceleration():
    """A slope of 18.784 degrees gives 0.23 g. Source: PHY, derived (MEC-04)."""
    rolling = track(18.784)
    assert rolling.acceleration_mm_s2 / rolling.gravity_mm_s2 == pytest.approx(0.23, abs=1e-5)


@pytest.mark.parametrize(
    ("width_mm", "factor", "time_s"),
    [(10, 0.683218, 1.623849), (15, 0.633388, 1.686515), (20, 0.529851, 1.843946)],
)
def test_groove_and_rails_slow_a_ball(width_mm, factor, time_s):
    """The wider the contacts, the slower the ball. Source: NIC, derived (MEC-05)."""
    roll = Roll(track=track(contact_width_mm=width_mm))
    assert roll.track.factor == pytest.approx(factor, abs=1e-6)
    assert roll.time_s(1000) == pytest.approx(time_s, abs=1e-6)


def test_right_angled_groove():
    """In a V-groove of 90 degrees the factor is 5/9. Source: NIC, derived (MEC-05)."""
    width_mm = contact_width_in_groove_mm(BALL_MM, 90)
    roll = Roll(track=track(contact_width_mm=width_mm))
    assert roll.track.factor == pytest.approx(0.555556, abs=1e-6)
    assert roll.time_s(1000) == pytest.approx(1.800784, abs=1e-6)


def test_contacts_on_rods_lie_within_the_rods_centres():
    """Knife-edge rails touch at their gap; rods as thick as the ball halfway. Derived."""
    assert contact_width_on_rods_mm(20, gap_between_mm=12, rod_diameter_mm=0) == pytest.approx(12)
    assert contact_width_on_rods_mm(20, gap_between_mm=4, rod_diameter_mm=20) == pytest.approx(12)


@pytest.mark.parametrize(
    ("offset_mm", "chord", "milliseconds"),
    [(0, 26.9875, 53.975), (5, 25.0664, 50.133), (10, 18.1197, 36.239), (13, 7.2336, 14.467)],
)
def test_chord_and_the_time_it_takes(offset_mm, chord, milliseconds):
    """A beam off the centre meets a chord; at 0.5 m/s it takes so long. Derived (MEC-08)."""
    assert chord_mm(BALL_MM, offset_mm) == pytest.approx(chord, abs=1e-3)
    assert chord_mm(BALL_MM, -offset_mm) == chord_mm(BALL_MM, offset_mm)
    level = Roll(track=track(0), entry_speed_mm_s=500)
    spell = level.blocks(beam_mm=300, offset_mm=offset_mm)
    assert spell.partly is not None
    assert spell.partly.length_s * 1000 == pytest.approx(milliseconds, abs=1e-3)
    assert spell.partly == spell.wholly


def test_a_row_of_touching_balls():
    """Centres a diameter apart, and a gap that widens off the centre. Derived (MEC-09)."""
    centres = [resting_centre_mm(BALL_MM, position) for position in range(1, 6)]
    assert centres == pytest.approx([13.494, 40.481, 67.469, 94.456, 121.444], abs=1e-3)
    gaps = [gap_mm(BALL_MM, offset_mm) for offset_mm in (0, 5, 10)]
    assert gaps == pytest.approx([0, 1.921, 8.868], abs=1e-3)
    assert Roll(track=track()).time_s(BALL_MM) == pytest.approx(0.2609, abs=1e-4)


def test_bounces_die_out():
    """Dropped from 1 m with e = 0.7: 0.49 m, at rest after 2.559071 s. Source: COR (MEC-10)."""
    gravity, height = 9806.65, 1000.0
    assert rebound_share(0.7) * height / 1000 == pytest.approx(0.49, abs=1e-9)
    fall_s = math.sqrt(2 * height / gravity)
    rest_s = settling_s(speed_mm_s=gravity * fall_s, acceleration_mm_s2=gravity, restitution=0.7)
    assert fall_s + rest_s == pytest.approx(2.559071, abs=1e-6)


def integrated_time_s(rolling, speed_mm_s, distance_mm):
    """Time to a distance from Newton's and Euler's laws, solved at each moment."""
    radius = rolling.radius_mm
    arm = math.sqrt(radius**2 - (rolling.contact_width_mm / 2) ** 2)
    pull = rolling.gravity_mm_s2 * math.sin(math.radians(rolling.slope_deg))
    # Unknown: acceleration, angular acceleration, friction per mass.
    laws = np.array([[1.0, 0.0, 1.0], [0.0, 0.4 * radius**2, -arm], [1.0, -arm, 0.0]])

    def slopes(_, state):
        acceleration = np.linalg.solve(laws, [pull, 0.0, 0.0])[0]
        return [state[1], acceleration]

    def there(_, state):
        return state[0] - distance_mm

    there.terminal = True
    run = solve_ivp(slopes, (0, 60), [0.0, speed_mm_s], events=there, rtol=1e-11, atol=1e-11)
    return run.t_events[0][0]


@pytest.mark.parametrize("contact_width_mm", [0, 12, 22])
@pytest.mark.parametrize("speed_mm_s", [0, 900])
@pytest.mark.parametrize("slope_deg", [0.5, 6.5, 40])
def test_time_agrees_with_an_integrator(contact_width_mm, speed_mm_s, slope_deg):
    """Arrival equals that of scipy's integrator on the laws of motion. Source: scipy."""
    rolling = track(slope_deg, contact_width_mm=contact_width_mm)
    expected = integrated_time_s(rolling, speed_mm_s, 800)
    roll = Roll(track=rolling, entry_speed_mm_s=speed_mm_s)
    assert roll.time_s(800) == pytest.approx(expected, rel=1e-8)


@given(
    slope_deg=st.floats(0, 90),
    width_mm=st.floats(0, 26),
    speed_mm_s=st.floats(1, 5000),
    distance_mm=st.floats(0, 5000),
)
def test_position_undoes_time(slope_deg, width_mm, speed_mm_s, distance_mm):
    """Where a ball is at the time of its arrival is where it arrived."""
    roll = Roll(track=track(slope_deg, contact_width_mm=width_mm), entry_speed_mm_s=speed_mm_s)
    time_s = roll.time_s(distance_mm)
    assert roll.position_mm(time_s) == pytest.approx(distance_mm, rel=1e-9, abs=1e-9)


@given(
    beam_mm=st.floats(0, 500),
    offset_mm=st.floats(-15, 15),
    beam_width_mm=st.floats(0, 10),
    stop_mm=st.floats(0, 500),
    at=st.floats(0, 1),
)
def test_blocked_is_where_ball_and_beam_overlap(beam_mm, offset_mm, beam_width_mm, stop_mm, at):
    """At any time, in the window means that the beam's strip meets the ball's chord."""
    roll = Roll(track=track(), stop_mm=stop_mm)
    spell = roll.blocks(beam_mm=beam_mm, offset_mm=offset_mm, beam_width_mm=beam_width_mm)
    time_s = at * 2
    apart = abs(roll.position_mm(time_s) - beam_mm)
    chord = chord_mm(BALL_MM, offset_mm)

    def within(window):
        return window is not None and window.start_s <= time_s <= window.end_s

    for window, reach in (
        (spell.partly, (chord + beam_width_mm) / 2 if chord else -1),
        (spell.wholly, (chord - beam_width_mm) / 2 if chord else -1),
    ):
        if abs(apart - reach) > 1e-6:
            assert within(window) == (apart < reach)


def test_a_ball_that_stops_in_the_beam_blocks_it_for_good():
    """A window does not end where the ball comes to rest in the beam."""
    roll = Roll(track=track(), stop_mm=100)
    spell = roll.blocks(beam_mm=105, offset_mm=3)
    assert spell.partly is not None
    assert spell.partly.end_s == math.inf
    assert roll.stops_s() == roll.time_s(100) > spell.partly.start_s
    assert roll.blocks(beam_mm=130, offset_mm=3).partly is None


def test_a_ball_that_starts_in_the_beam_blocks_it_at_once():
    """A window starts at 0 where the ball lies in the beam before it rolls."""
    spell = Roll(track=track()).blocks(beam_mm=0, offset_mm=0)
    assert spell.partly is not None
    assert spell.partly.start_s == 0
    assert spell.partly.end_s == pytest.approx(Roll(track=track()).time_s(BALL_MM / 2))


def test_a_beam_over_the_ball_is_never_blocked():
    """A beam that misses the ball stays clear, however wide it is along the track."""
    spell = Roll(track=track()).blocks(beam_mm=100, offset_mm=14, beam_width_mm=8)
    assert spell.partly is None
    assert spell.wholly is None


def test_light_between_balls_that_move_up():
    """Through the middle no light; off it some, and less of a wide beam. Derived (MEC-09)."""
    dark = light_between(track(), offset_mm=0)
    assert (dark.partly, dark.wholly) == (None, None)
    thin = light_between(track(), offset_mm=5)
    assert thin.partly is not None
    assert thin.partly == thin.wholly
    roll = Roll(track=track())
    assert thin.partly.start_s == pytest.approx(roll.time_s((BALL_MM - 1.92109) / 2), abs=1e-6)
    assert thin.partly.end_s == pytest.approx(roll.time_s((BALL_MM + 1.92109) / 2), abs=1e-6)
    assert 0.005 < thin.partly.length_s < 0.015
    wide = light_between(track(), offset_mm=5, beam_width_mm=3)
    assert wide.wholly is None
    assert wide.partly is not None
    assert wide.partly.length_s > thin.partly.length_s


def test_beam_height_counts_from_the_rails():
    """A ball that hangs between rails has its centre lower over them. Derived."""
    assert track().beam_offset_mm(BALL_MM / 2) == 0
    deep = track(contact_width_mm=20)
    assert deep.beam_offset_mm(10) == pytest.approx(10 - math.sqrt(13.49375**2 - 100))


def test_level_and_at_rest_never_arrives():
    """A ball at rest on a level track goes nowhere."""
    roll = Roll(track=track(0))
    assert roll.time_s(1) == math.inf
    assert roll.time_s(0) == 0
    assert roll.stops_s() == math.inf
    assert light_between(track(0), offset_mm=5).partly is None
    with pytest.raises(ValueError, match="does not get there"):
        roll.speed_mm_s(1)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Track(ball_diameter_mm=0, slope_deg=5), "ball_diameter_mm is 0; wanted"),
        (lambda: track(-1), "slope_deg is -1; wanted"),
        (lambda: track(91), "slope_deg is 91; wanted"),
        (lambda: track(math.nan), "slope_deg is nan; wanted"),
        (lambda: track(contact_width_mm=27), "or the ball falls through"),
        (lambda: Roll(track=track(), entry_speed_mm_s=-1), "entry_speed_mm_s is -1"),
        (lambda: Roll(track=track()).time_s(-1), "distance_mm is -1; wanted"),
        (lambda: Roll(track=track()).position_mm(-1), "time_s is -1; wanted"),
        (lambda: Window(start_s=2, end_s=1), "wanted no less than start_s, 2"),
        (lambda: resting_centre_mm(27, 0), "position is 0; wanted"),
        (lambda: contact_width_in_groove_mm(27, 0), "groove_deg is 0; wanted"),
        (
            lambda: contact_width_on_rods_mm(27, gap_between_mm=27, rod_diameter_mm=3),
            "gap_between_mm is 27; wanted a number of 0 or more and below 27",
        ),
        (lambda: rebound_share(1), "restitution is 1; wanted"),
    ],
)
def test_values_that_cannot_be_are_refused(make, message):
    """A value that cannot be is named, with what is wanted."""
    with pytest.raises(ValueError, match=message):
        make()


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: track(gravity_mm_s2=0), "gravity_mm_s2"),
        (lambda: track(contact_width_mm=-1), "contact_width_mm"),
        (lambda: Roll(track=track(), stop_mm=-1), "stop_mm"),
        (lambda: Window(start_s=-1, end_s=1), "start_s"),
        (lambda: Roll(track=track()).blocks(beam_mm=1, offset_mm=0, beam_width_mm=-1), "beam_width_mm"),
        (lambda: light_between(track(), offset_mm=0, beam_width_mm=-1), "beam_width_mm"),
        (lambda: chord_mm(0, 0), "ball_diameter_mm"),
        (lambda: resting_centre_mm(27, 0), "position"),
        (lambda: chord_mm(27, math.nan), "offset_mm"),
        (lambda: resting_centre_mm(0, 1), "ball_diameter_mm"),
        (lambda: contact_width_in_groove_mm(0, 90), "ball_diameter_mm"),
        (lambda: contact_width_in_groove_mm(27, 181), "groove_deg"),
        (lambda: contact_width_on_rods_mm(0, gap_between_mm=0, rod_diameter_mm=1), "ball_diameter_mm"),
        (lambda: contact_width_on_rods_mm(9, gap_between_mm=1, rod_diameter_mm=-1), "rod_diameter_mm"),
        (lambda: contact_width_on_rods_mm(9, gap_between_mm=-1, rod_diameter_mm=1), "gap_between_mm"),
        (lambda: rebound_share(-0.1), "restitution"),
        (lambda: settling_s(speed_mm_s=-1, acceleration_mm_s2=1, restitution=0), "speed_mm_s"),
        (lambda: settling_s(speed_mm_s=1, acceleration_mm_s2=0, restitution=0), "acceleration_mm_s2"),
        (lambda: settling_s(speed_mm_s=1, acceleration_mm_s2=1, restitution=1), "restitution"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named(call, name):
    """The first words say which value."""
    with pytest.raises(ValueError, match=rf"^{name} is "):
        call()


def test_the_last_values_that_can_be():
    """Level and sheer slopes, nothing in the way, a groove that is flat, no rebound at all."""
    assert track(0).acceleration_mm_s2 == 0
    assert track(90).acceleration_mm_s2 == pytest.approx(9806.65 * 5 / 7)
    assert contact_width_in_groove_mm(27, 180) == pytest.approx(0)
    assert contact_width_on_rods_mm(9, gap_between_mm=0, rod_diameter_mm=3) == pytest.approx(2.25)
    assert settling_s(speed_mm_s=9, acceleration_mm_s2=1, restitution=0) == 0
    assert settling_s(speed_mm_s=9, acceleration_mm_s2=2, restitution=0.5) == 9
    assert Window(start_s=0, end_s=0).length_s == 0
    assert (rebound_share(0), rebound_share(0.5)) == (0, 0.25)
    with pytest.raises(ValueError, match="27 mm, or the ball falls through"):
        Track(ball_diameter_mm=27, slope_deg=5, contact_width_mm=27)


def test_a_ball_stops_where_it_is_stopped():
    """It gets as far as what stops it and no further; from there its place does not change."""
    roll = Roll(track=track(30, gravity_mm_s2=9800), stop_mm=7000)
    # 3.5 m/s^2: 7 m take 2 s and give 7 m/s.
    assert roll.time_s(7000) == roll.stops_s() == pytest.approx(2)
    assert roll.speed_mm_s(7000) == pytest.approx(7000)
    assert roll.time_s(7000.1) == math.inf
    assert (roll.position_mm(1), roll.position_mm(9)) == (pytest.approx(1750), 7000)
    assert Roll(track=track(0), entry_speed_mm_s=500).time_s(math.inf) == math.inf
    assert Roll(track=track(0), entry_speed_mm_s=500).time_s(250) == 0.5


def test_beams_at_the_edges():
    """A beam just behind the start, one touched at the very end, one as wide as the chord."""
    level = Roll(track=track(0), entry_speed_mm_s=100, stop_mm=1000)
    half = BALL_MM / 2
    behind = level.blocks(beam_mm=-half, offset_mm=0)
    assert behind.partly == Window(start_s=0, end_s=0)
    assert level.blocks(beam_mm=-half - 0.01, offset_mm=0).partly is None
    touched = level.blocks(beam_mm=1000 + half, offset_mm=0)
    assert touched.partly is not None
    assert (touched.partly.start_s, touched.partly.end_s) == (10, math.inf)
    assert level.blocks(beam_mm=1000 + half + 0.01, offset_mm=0).partly is None
    wide = level.blocks(beam_mm=100, offset_mm=0, beam_width_mm=BALL_MM)
    assert wide.wholly is not None
    assert wide.wholly.length_s == 0
    assert wide.partly is not None
    assert wide.partly.length_s == pytest.approx(2 * BALL_MM / 100)


def test_light_through_a_gap_as_wide_as_the_beam():
    """Beside the balls nothing is between; a beam wider than the ball gets light in part all
    the time that the row moves."""
    beside = light_between(track(), offset_mm=BALL_MM)
    assert beside.partly is not None
    assert beside.partly.start_s == 0
    wide = light_between(track(), offset_mm=5, beam_width_mm=BALL_MM)
    roll = Roll(track=track())
    assert wide.partly == Window(start_s=0, end_s=roll.time_s(BALL_MM))
    assert wide.wholly is None


def test_distances_and_times_behind_the_start_are_named():
    """The first words say which value; a groove may be narrow."""
    with pytest.raises(ValueError, match=r"^distance_mm is -1"):
        Roll(track=track()).time_s(-1)
    with pytest.raises(ValueError, match=r"^time_s is -1"):
        Roll(track=track()).position_mm(-1)
    assert contact_width_in_groove_mm(20, 0.5) == pytest.approx(20, rel=1e-4)
