"""Setting an inductive sensor, against the standard's bands and a simulated pot."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.sensing.inductive import (
    PotWindow,
    SimulatedPot,
    bands,
    hysteresis_within_bound,
    pot_window,
    procedure,
    standard_target_mm,
)


def test_bands_of_the_standard():
    """Sr, Su, Sa and surely off as multiples of Sn. Source: IC1 (PRX-01)."""
    of_one = bands(1.0)
    assert of_one.effective_mm == pytest.approx((0.9, 1.1))
    assert of_one.usable_mm == pytest.approx((0.81, 1.21))
    assert of_one.assured_mm == pytest.approx((0, 0.81))
    assert of_one.surely_off_mm == pytest.approx(1.43)


def test_assured_distance_with_another_metal():
    """Sn 8 mm with a factor of 0.4 assures 2.592 mm. Source: MDG (PRX-03)."""
    assert bands(8, material_factor=0.4).assured_mm[1] == pytest.approx(2.592)


def test_hysteresis_bound():
    """At most 0.2 of the effective distance. Source: IC4, IC2 (PRX-04)."""
    assert hysteresis_within_bound(5, 6)
    assert hysteresis_within_bound(5, 5.25)
    assert not hysteresis_within_bound(5, 6.01)


@pytest.mark.parametrize(("face", "rated", "side"), [(18, 5, 18), (18, 8, 24), (8, 1.5, 8)])
def test_standard_target(face, rated, side):
    """A plate with sides of the greater of face and 3 Sn. Source: IC3 (PRX-05)."""
    assert standard_target_mm(face, rated) == side


def test_window_worked_by_hand():
    """3 mm at a factor of 0.8 and 9 mm behind: 4.17 to 6.82 mm. Derived."""
    window = pot_window(ball_gap_mm=3, rest_gap_mm=9, ball_factor=0.8)
    assert window.low_mm == pytest.approx(3 / (0.9 * 0.8))
    assert window.high_mm == pytest.approx(9 / (1.1 * 1.2))
    assert window.best_mm == pytest.approx(5.3300, abs=1e-4)
    assert window.margin(window.best_mm) == pytest.approx(0.2183, abs=1e-4)
    assert window.margin(4) < 0
    assert window.margin(7) < 0
    assert window.estimate is True
    assert "estimate" in window.why()
    assert "4.2 and 6.8 mm" in window.why()


def test_no_setting_serves_where_metal_is_as_near_as_the_ball():
    """Metal at the ball's own distance leaves no window, and the words say what to do."""
    window = pot_window(ball_gap_mm=3, rest_gap_mm=3)
    assert window.empty
    assert "move the sensor nearer" in window.why()
    with pytest.raises(ValueError, match="no setting"):
        _ = window.best_mm


pots = st.builds(
    SimulatedPot,
    ball_gap_mm=st.floats(1, 3),
    ball_factor=st.floats(0.6, 1),
    rest_gap_mm=st.floats(8, 12),
    hysteresis=st.floats(0.01, 0.2),
    lit_when=st.sampled_from(["ball near", "no ball near"]),
)


def set_to(pot, setting_mm):
    """Turn a pot to a setting in mm."""
    turns = (setting_mm - pot.least_mm) / (pot.most_mm - pot.least_mm) * pot.full_turns
    return pot.turned(turns - pot.turns)


@given(
    pot=pots,
    within=st.floats(0.001, 0.999),
    celsius=st.floats(-25, 70),
    supply_share=st.floats(0.85, 1.1),
)
def test_a_setting_in_the_window_serves_in_any_heat_and_supply(pot, within, celsius, supply_share):
    """Within the window every ball is seen and the sensor goes off again after it."""
    window = pot.window()
    setting_mm = window.low_mm + within * (window.high_mm - window.low_mm)
    there = set_to(pot, setting_mm).at(celsius=celsius, supply_share=supply_share)
    assert window.margin(there.setting_mm) > 0
    for _ in range(2):
        seen, there = there.rolled_across()
        assert seen
        assert not there.on


@given(pot=pots, beyond=st.floats(0.001, 0.2), low=st.booleans())
def test_a_setting_outside_the_window_fails_somewhere(pot, beyond, low):
    """Below it the coldest, weakest sensor misses a ball; above, the warmest stays on."""
    window = pot.window()
    if low:
        there = set_to(pot, window.low_mm * (1 - beyond)).at(celsius=-25, supply_share=0.85)
        assert not there.rolled_across()[0]
    else:
        there = set_to(pot, window.high_mm * (1 + beyond)).at(celsius=70)
        assert there.rolled_across()[1].on


@pytest.mark.parametrize("lit_when", ["ball near", "no ball near"])
def test_the_procedure_ends_in_the_window(lit_when):
    """Followed by the indicator alone, the procedure finds a setting that serves."""
    pot = SimulatedPot(turns=15, lit_when=lit_when, celsius=60)
    lit_with_ball = lit_when == "ball near"
    assert pot.indicator_lit == lit_with_ball  # set far too sensitive
    while pot.indicator_lit == lit_with_ball:
        pot = pot.turned(-0.25)
    while pot.indicator_lit != lit_with_ball:
        pot = pot.turned(0.25)
    while pot.indicator_lit == lit_with_ball:
        pot = pot.turned(-0.25)
    pot = pot.turned(-0.25)
    for celsius in (0, 23, 60):
        seen, after = pot.at(celsius=celsius).rolled_across()
        assert seen
        assert after.indicator_lit != lit_with_ball
    assert pot.window().margin(pot.setting_mm) > 0


def test_a_setting_at_the_edge_drifts():
    """Set at the upper edge when cold, the sensor stays on after a ball when warm."""
    pot = SimulatedPot(hysteresis=0.2)
    edge = pot.turned((pot.rest_gap_mm / 1.2 - 0.05 - pot.least_mm) / 11 * 15)
    seen, after = edge.rolled_across()
    assert seen
    assert not after.on
    seen, after = edge.at(celsius=70).rolled_across()
    assert seen
    assert after.on
    assert not after.rolled_across()[0]


def test_hysteresis_remembers():
    """Between its two distances the output stays as it was."""
    pot = SimulatedPot(rest_gap_mm=6, hysteresis=0.2)
    rising = pot.turned((5.5 - 1) / 11 * 15)
    falling = pot.turned((6.5 - 1) / 11 * 15).turned(-(6.5 - 5.5) / 11 * 15)
    assert rising.setting_mm == pytest.approx(falling.setting_mm)
    assert (rising.on, falling.on) == (False, True)


def test_a_distant_ball_does_not_hide_what_is_near():
    """A sensor that is on without a ball stays on with one that passes further away."""
    pot = SimulatedPot(rest_gap_mm=4, ball_gap_mm=9, turns=8)
    assert pot.on
    assert pot.with_ball(True).on
    assert pot.rolled_across()[0] is False


def test_the_pot_stops_at_its_ends():
    """Turning on beyond an end changes nothing."""
    assert SimulatedPot().turned(-3).turns == 0
    assert SimulatedPot().turned(99).turns == 15


def test_procedure_in_words_follows_the_indicator():
    """A sensor whose indicator is lit with no ball near has the words the other way round."""
    plain = procedure()
    other = procedure(lit_when="no ball near", rest_reads="closed", worked_reads="open")
    assert plain[0].startswith("Caution: the power is on")
    assert plain[2] == "Turn the pot back until the indicator goes out."
    assert other[2] == "Turn the pot back until the indicator comes on."
    assert plain[-1] == "Check the switch: open at rest, closed over the sensor."
    assert other[-1] == "Check the switch: closed at rest, open over the sensor."
    with pytest.raises(ValueError, match="lit_when is 'never'"):
        procedure(lit_when="never")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: bands(0), "rated_mm is 0"),
        (lambda: bands(5, material_factor=1.2), "material_factor is 1.2"),
        (lambda: standard_target_mm(18, -1), "rated_mm is -1"),
        (lambda: hysteresis_within_bound(5, 4), "off_mm is 4"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9, drift=1), "drift is 1"),
        (lambda: SimulatedPot(turns=16), "turns is 16; wanted at most full_turns, 15"),
        (lambda: SimulatedPot(least_mm=12), "most_mm is 12; wanted above least_mm, 12"),
        (lambda: SimulatedPot().at(celsius=90), "celsius is 90"),
        (lambda: SimulatedPot().at(supply_share=0.5), "supply_share is 0.5"),
    ],
)
def test_values_that_cannot_be_are_refused(make, message):
    """A value that cannot be is named."""
    with pytest.raises(ValueError, match=message):
        make()


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: hysteresis_within_bound(0, 1), "on_mm"),
        (lambda: hysteresis_within_bound(5, 4), "off_mm"),
        (lambda: bands(0), "rated_mm"),
        (lambda: bands(1, material_factor=0), "material_factor"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9, drift=1), "drift"),
        (lambda: standard_target_mm(0, 1), "face_diameter_mm"),
        (lambda: standard_target_mm(1, 0), "rated_mm"),
        (lambda: pot_window(ball_gap_mm=0, rest_gap_mm=9), "ball_gap_mm"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=0), "rest_gap_mm"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9, ball_factor=0), "ball_factor"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9, rest_factor=1.1), "rest_factor"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9, hysteresis=-0.1), "hysteresis"),
        (lambda: pot_window(ball_gap_mm=3, rest_gap_mm=9).margin(0), "setting_mm"),
        (lambda: SimulatedPot(turns=-1), "turns"),
        (lambda: SimulatedPot(celsius=-26), "celsius"),
        (lambda: SimulatedPot(supply_share=1.11), "supply_share"),
    ],
)
def test_what_cannot_be_is_named(call, name):
    """The first words say which value."""
    with pytest.raises(ValueError, match=rf"^{name} is "):
        call()
    with pytest.raises(ValueError, match="lit_when"):
        SimulatedPot(lit_when="never")


def test_the_last_values_that_can_be():
    """The ends of heat, supply and travel; a hysteresis of exactly a fifth; one of none."""
    for celsius, supply_share in ((-25, 0.85), (70, 1.1)):
        SimulatedPot(celsius=celsius, supply_share=supply_share, turns=15)
    assert hysteresis_within_bound(5, 5)
    assert bands(8).effective_mm == pytest.approx((7.2, 8.8))


def test_bounds_of_the_window():
    """A window of a single setting serves; the margin at its edges is none."""
    # 2.7 mm at 0.9 s, 3.96 mm at 1.32 s: both 3 mm.
    window = pot_window(ball_gap_mm=2.7, rest_gap_mm=3.96)
    assert (window.low_mm, window.high_mm) == pytest.approx((3, 3))
    wide = pot_window(ball_gap_mm=2.7, rest_gap_mm=7.92, rest_factor=0.5, drift=0.1)
    assert (wide.low_mm, wide.high_mm) == pytest.approx((3, 12))
    assert wide.best_mm == pytest.approx(6)
    assert wide.margin(6) == pytest.approx(0.5)
    assert wide.margin(3) == pytest.approx(0)
    assert wide.margin(12) == pytest.approx(0)
    assert not wide.empty
    assert PotWindow(low_mm=3, high_mm=3).empty is False
    assert PotWindow(low_mm=3, high_mm=3).best_mm == 3
    assert pot_window(ball_gap_mm=1, rest_gap_mm=1).why().startswith("no setting serves")


def test_a_pot_as_it_comes():
    """Halfway a pot of 1 to 12 mm over 15 turns is set to 6.5 mm, and at 23 degrees on the
    rated supply it switches there: at turns that reach metal at 9 mm, or a ball at 3 mm
    seen as far as 0.8 of that, it goes on."""
    pot = SimulatedPot(turns=7.5)
    assert pot.setting_mm == pot.switching_mm == 6.5
    assert (pot.on, pot.indicator_lit, pot.ball_near) == (False, False, False)
    assert pot.with_ball(True).on
    least = (3 / 0.8 - 1) / 11 * 15
    assert SimulatedPot(turns=least + 1e-9).with_ball(True).on
    assert not SimulatedPot(turns=least - 1e-6).with_ball(True).on
    most = (9 - 1) / 11 * 15
    assert SimulatedPot(turns=most + 1e-9).on
    assert not SimulatedPot(turns=most - 1e-6).on
    assert SimulatedPot(turns=most + 0.1).turned(-0.2).on
    # A tenth of hysteresis: it lets go below 9 / 1.1 mm.
    assert SimulatedPot(turns=most).turned((9 / 1.1 + 0.01 - 9) / 11 * 15).on
    assert not SimulatedPot(turns=most).turned((9 / 1.1 - 0.01 - 9) / 11 * 15).on


def test_heat_and_supply_move_the_distance():
    """By hand, set to 6.5 mm: a tenth more at 70 degrees, less at 85 per cent of the supply;
    half of that at 46.5 degrees; the two cancel; never more than a tenth in all."""
    pot = SimulatedPot(turns=7.5)
    assert pot.at(celsius=70).switching_mm == pytest.approx(7.15)
    assert pot.at(celsius=46.5).switching_mm == pytest.approx(6.825)
    assert pot.at(supply_share=0.85).switching_mm == pytest.approx(5.85)
    assert pot.at(supply_share=0.925).switching_mm == pytest.approx(6.175)
    assert pot.at(celsius=70, supply_share=0.85).switching_mm == pytest.approx(6.5)
    assert pot.at(celsius=-25, supply_share=0.85).switching_mm == pytest.approx(5.85)
    assert pot.at(celsius=70, supply_share=1.1).switching_mm == pytest.approx(7.15)
    assert pot.at(celsius=70).at(supply_share=0.85).switching_mm == pytest.approx(6.5)


def test_a_factor_of_the_metal_near_at_rest():
    """Metal that shortens the distance to half is seen at half."""
    pot = SimulatedPot(rest_gap_mm=4, rest_factor=0.5, turns=7.5)
    assert not pot.on
    assert pot.turned(1.5 / 11 * 15).on


@pytest.mark.parametrize(
    ("lit_when", "off", "on"),
    [("ball near", "goes out", "comes on"), ("no ball near", "comes on", "goes out")],
)
def test_the_procedure_follows_the_indicator_in_every_step(lit_when, off, on):
    """Back, forward, back, roll, and what to do where it fails, each by what the lamp does."""
    steps = procedure(lit_when=lit_when)
    assert steps[2:5] == (
        f"Turn the pot back until the indicator {off}.",
        f"Turn it forward until the indicator {on}.",
        f"Turn it back until the indicator {off}, and a little further.",
    )
    assert f"{on} for each ball and {off} after it" in steps[5]
    assert f"where it no longer {off}, turn back" in steps[6]
    assert steps[7] == "Check the switch: open at rest, closed over the sensor."


def test_bands_grow_with_the_rated_distance():
    """By hand, Sn 8 mm: 0.81 to 1.21 and 1.43 of it. Source: IC1 (PRX-01)."""
    of_eight = bands(8)
    assert of_eight.usable_mm == pytest.approx((6.48, 9.68))
    assert of_eight.assured_mm == pytest.approx((0, 6.48))
    assert of_eight.surely_off_mm == pytest.approx(11.44)


def test_a_ball_just_within_reach_is_seen():
    """At exactly its distance a ball is near, and so is metal."""
    reaching = {"least_mm": 1.0, "ball_factor": 1.0, "rest_factor": 1.0, "turns": 0.0}
    assert SimulatedPot(**reaching, ball_gap_mm=1.0, rest_gap_mm=2.0, ball_near=True).on
    assert SimulatedPot(**reaching, ball_gap_mm=2.0, rest_gap_mm=1.0).on


def test_the_heat_of_the_range_ends_at_70_degrees():
    """Half a degree more is refused, and the procedure begins with the machine as in play."""
    with pytest.raises(ValueError, match=r"^celsius is 70\.5"):
        SimulatedPot(celsius=70.5)
    assert procedure()[1].startswith("Playfield down as in play")
