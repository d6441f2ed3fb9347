"""An emitter's series resistor, against published values and the eseries package."""

import itertools

import eseries
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.sensing.resistor import (
    DIGITS,
    E6,
    E12,
    E24,
    colour_bands,
    derated_w,
    dissipation_w,
    emitter_current_ma,
    greatest_voltage_v,
    neighbours,
    next_value_up,
    rating_w,
    read_colour_bands,
    resistor_to_order,
    series_resistor_ohm,
    shown_ohm,
)


def test_preferred_values():
    """E6, E12 and E24 of one decade. Source: E63 (ELE-01), the eseries package."""
    assert E6 == (10, 15, 22, 33, 47, 68)
    assert E12 == (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    for ours, key in ((E6, eseries.E6), (E12, eseries.E12), (E24, eseries.E24)):
        assert list(ours) == [round(value) for value in eseries.series(key)]


def test_values_off_the_formula():
    """Eight E24 values differ from the rounded power. Source: RLB (ELE-02)."""
    by_formula = [round(10 * 10 ** (step / 24)) for step in range(24)]
    off = {ours: theirs for ours, theirs in zip(E24, by_formula, strict=True) if ours != theirs}
    assert off == {27: 26, 30: 29, 33: 32, 36: 35, 39: 38, 43: 42, 47: 46, 82: 83}


def test_resistor_of_one_emitter():
    """5 V, 2.0 V, 20 mA: 150 ohm and 0.06 W. Source: LEDA (ELE-03)."""
    ohm = series_resistor_ohm(supply_v=5, forward_v=2.0, current_ma=20)
    assert ohm == 150
    assert next_value_up(ohm) == 150
    assert dissipation_w(supply_v=5, forward_v=2.0, ohm=ohm) == 0.06


@pytest.mark.parametrize(
    ("forward_v", "exact", "value"),
    [(2.0, 500, 510), (2.1, 495, 510), (3.2, 440, 470), (3.3, 435, 470)],
)
def test_next_value_up_at_twelve_volts(forward_v, exact, value):
    """12 V at 20 mA, rounded up. Source: LEDC, derived (ELE-05)."""
    ohm = series_resistor_ohm(supply_v=12, forward_v=forward_v, current_ma=20)
    assert ohm == exact
    assert next_value_up(ohm) == value


@pytest.mark.parametrize(
    ("bands", "ohm", "tolerance"),
    [
        ("brown black orange gold", 10_000, 5),
        ("blue red red", 6200, 20),
        ("yellow violet brown gold", 470, 5),
    ],
)
def test_colour_code(bands, ohm, tolerance):
    """Colours to values and back. Source: C62 (ELE-06)."""
    assert read_colour_bands(bands.split()) == (ohm, tolerance)
    assert colour_bands(ohm, tolerance) == tuple(bands.split())


def test_collector_resistor_of_a_receiver():
    """12 V, 0.2 V saturated, 5 mA: 2360 ohm, between 2200 and 2400. Source: IMD (ELE-08)."""
    ohm = series_resistor_ohm(supply_v=12, forward_v=0.2, current_ma=5)
    assert ohm == 2360
    assert neighbours(ohm) == (2200, 2400)


def test_current_of_a_saturated_receiver():
    """5 V and 0.3 V over 10 kohm leave 0.47 mA. Derived (ELE-09)."""
    assert emitter_current_ma(supply_v=5, forward_v=0.3, ohm=10_000) == pytest.approx(0.47)


@pytest.mark.parametrize(("celsius", "watts"), [(70, 100), (100, 76.9), (150, 38.5), (200, 0)])
def test_derating_of_a_power_resistor(celsius, watts):
    """100 W up to 70, nothing at 200 degrees C. Source: DER1 (ELE-10)."""
    assert derated_w(100, ambient_c=celsius, zero_at_c=200) == pytest.approx(watts, abs=0.05)


def test_derating_and_the_voltage_limit():
    """1 W, 10 kohm: 100 V at 70, 59.16 V at 125 degrees C. Source: DER2 (ELE-11)."""
    at_125 = derated_w(1, ambient_c=125)
    assert at_125 == pytest.approx(0.353, abs=5e-4)
    assert greatest_voltage_v(10_000, derated_w(1, ambient_c=70)) == pytest.approx(100)
    # The source rounds the factor to 0.35 before it takes the root.
    assert greatest_voltage_v(10_000, round(at_125, 2)) == pytest.approx(59.16, abs=5e-3)


@pytest.mark.parametrize(
    ("celsius", "percent"), [(70, 100), (85, 80), (100, 60), (120, 40), (140, 20), (145, 10)]
)
def test_derating_follows_a_printed_chart(celsius, percent):
    """Within 5 points of the chart's readings. Source: DER3 (ELE-12)."""
    assert 100 * derated_w(1, ambient_c=celsius) == pytest.approx(percent, abs=5)


@given(st.floats(0.2, 9.9e6))
def test_next_value_up_agrees_with_eseries(ohm):
    """The value above is what the eseries package finds. Source: eseries."""
    # The package rounds a value within a billionth of a step down to it.
    assert next_value_up(ohm) == pytest.approx(
        eseries.find_greater_than_or_equal(eseries.E24, ohm), rel=1e-9
    )


@given(
    decade=st.integers(-1, 8),
    value=st.sampled_from(E24),
    tolerance=st.sampled_from([0.25, 0.5, 1, 2, 5, 10, 20]),
)
def test_every_value_has_colours_and_back(decade, value, tolerance):
    """Colours say every E24 value that two digits and a multiplier reach."""
    ohm = float(f"{value}e{decade}")
    assert read_colour_bands(colour_bands(ohm, tolerance)) == (ohm, tolerance)
    assert next_value_up(ohm) == ohm
    assert neighbours(ohm) == (ohm, ohm)


@given(st.floats(3, 24), st.floats(1, 2.5), st.floats(1, 100))
def test_the_part_keeps_the_current_and_its_rating(supply_v, forward_v, current):
    """The current is at most the wanted one and a step of E24 below; the rating twice the heat."""
    part = resistor_to_order(supply_v=supply_v, forward_v=forward_v, current_ma=current)
    widest_step = min(low / high for low, high in itertools.pairwise((*E24, 100)))
    assert part.source == "calculated"
    assert part.current_ma <= current * (1 + 1e-12)
    assert part.current_ma >= current * widest_step * (1 - 1e-12)
    assert part.rating_w >= 2 * part.dissipation_w * (1 - 1e-12)


def test_the_part_in_words():
    """A part is named so that it can be ordered: value, rating, colours."""
    part = resistor_to_order(supply_v=12, forward_v=2.1, current_ma=20)
    assert part.exact_ohm == 495
    assert part.dissipation_w == pytest.approx(9.9**2 / 510)
    assert part.label == "510 ohm, 0.5 W or more, green brown brown gold"


def test_a_fitted_value_counts():
    """What the profile states as fitted is what is ordered, whatever is calculated."""
    part = resistor_to_order(supply_v=5, forward_v=1.2, current_ma=20, fitted_ohm=330)
    assert (part.ohm, part.source, part.exact_ohm) == (330, "fitted", 190)
    assert part.current_ma == pytest.approx(3.8 / 330 * 1000)
    odd = resistor_to_order(supply_v=5, forward_v=1.2, fitted_ohm=499)
    assert odd.colours == ()
    assert odd.label == "499 ohm, 0.125 W or more"


def test_rating_in_warm_surroundings():
    """Twice 0.06 W wants 0.125 W, and the next rating up where it is hot. Derived."""
    assert rating_w(0.06) == 0.125
    assert rating_w(0.0625) == 0.125
    assert rating_w(0.06, ambient_c=85) == 0.25
    with pytest.raises(ValueError, match="more than a resistor of 10 W carries"):
        rating_w(6)


def test_resistance_in_words():
    """Thousands are written with their unit."""
    assert [shown_ohm(ohm) for ohm in (0.47, 510, 4700, 1e6)] == [
        "0.47 ohm",
        "510 ohm",
        "4.7 kohm",
        "1 Mohm",
    ]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: series_resistor_ohm(supply_v=1, forward_v=1.2, current_ma=5), "supply_v is 1"),
        (lambda: series_resistor_ohm(supply_v=5, forward_v=1.2, current_ma=0), "current_ma is 0"),
        (lambda: next_value_up(-3), "ohm is -3"),
        (lambda: colour_bands(499), "wanted two digits and zeros"),
        (lambda: colour_bands(1e12), "wanted two digits and zeros"),
        (lambda: colour_bands(float("nan")), "ohm is nan; wanted a number above 0"),
        (lambda: colour_bands(470, 3), "tolerance_percent is 3; wanted one of"),
        (lambda: read_colour_bands(["red", "gold", "red"]), "band 2 is gold; wanted one of"),
        (lambda: read_colour_bands(["red", "red", "red", "white"]), "band 4 is white"),
        (lambda: read_colour_bands(["red"]), "found 1 bands; wanted three or four"),
        (lambda: derated_w(1, ambient_c=20, full_to_c=155), "full_to_c is 155"),
        (lambda: resistor_to_order(supply_v=5, forward_v=1), "neither current_ma nor fitted_ohm"),
    ],
)
def test_values_that_cannot_be_are_refused(make, message):
    """A value that cannot be is named, with what is wanted."""
    with pytest.raises(ValueError, match=message):
        make()


def test_digit_colours_are_ten():
    """The colours of the digits run from black, 0, to white, 9. Source: C62 (ELE-06)."""
    assert (DIGITS[0], DIGITS[9], len(set(DIGITS))) == ("black", "white", 10)


def test_the_colours_of_the_code():
    """Digits, multipliers and tolerances in their order. Source: C62 (ELE-06)."""
    assert DIGITS == (
        "black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white"
    )  # fmt: skip
    tolerances = {"brown": 1, "red": 2, "green": 0.5, "blue": 0.25, "gold": 5, "silver": 10}
    for colour, percent in tolerances.items():
        assert read_colour_bands(["brown", "black", "black", colour]) == (10, percent)
    powers = ["silver", "gold", *DIGITS]
    for power, colour in enumerate(powers, start=-2):
        assert read_colour_bands(["brown", "red", colour]) == (float(f"12e{power}"), 20)
        assert colour_bands(float(f"12e{power}"), 20) == ("brown", "red", colour)


@pytest.mark.parametrize(
    ("heat_w", "rating"),
    [
        (0, 0.125),
        (0.07, 0.25),
        (0.13, 0.5),
        (0.3, 1),
        (0.6, 2),
        (1.1, 3),
        (1.6, 5),
        (3, 10),
        (5, 10),
    ],
)
def test_the_next_rating_that_is_sold(heat_w, rating):
    """Twice the heat, on the next rating up. Common practice, no source."""
    assert rating_w(heat_w) == rating


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: emitter_current_ma(supply_v=5, forward_v=1, ohm=0), "ohm"),
        (lambda: dissipation_w(supply_v=5, forward_v=1, ohm=0), "ohm"),
        (lambda: dissipation_w(supply_v=5, forward_v=-1, ohm=5), "forward_v"),
        (lambda: series_resistor_ohm(supply_v=5, forward_v=5, current_ma=5), "supply_v"),
        (lambda: derated_w(0, ambient_c=20), "rated_w"),
        (lambda: derated_w(1, ambient_c=-274), "ambient_c"),
        (lambda: greatest_voltage_v(0, 1), "ohm"),
        (lambda: greatest_voltage_v(1, -1), "allowed_w"),
        (lambda: rating_w(-1), "dissipated_w"),
        (lambda: colour_bands(0), "ohm"),
        (lambda: neighbours(0), "ohm"),
        (lambda: series_resistor_ohm(supply_v=5, forward_v=1, current_ma=0), "current_ma"),
        (lambda: derated_w(1, ambient_c=20, full_to_c=155), "full_to_c"),
    ],
)
def test_what_cannot_be_is_named(call, name):
    """The first words say which value."""
    with pytest.raises(ValueError, match=rf"^{name} is "):
        call()


def test_the_last_values_that_can_be():
    """Absolute zero is a temperature; no heat and no watt allowed are amounts; no drop is none."""
    assert derated_w(1, ambient_c=-273) == 1
    assert (rating_w(0), greatest_voltage_v(5, 0)) == (0.125, 0)
    assert series_resistor_ohm(supply_v=5, forward_v=0, current_ma=5) == 1000


def test_tolerances_known_are_listed_in_order():
    """A tolerance that has no colour is refused with those that have one."""
    with pytest.raises(ValueError, match=r"wanted one of 0\.25, 0\.5, 1, 2, 5, 10, 20"):
        colour_bands(470, 3)


def test_warm_surroundings_of_the_part():
    """At 40 degrees where nothing is said: full rating; at 100 a half and more is lost."""
    assert resistor_to_order(supply_v=12, forward_v=2.1, current_ma=20).rating_w == 0.5
    warm = resistor_to_order(supply_v=12, forward_v=2.1, current_ma=20, ambient_c=100)
    assert warm.rating_w == 1.0
    assert rating_w(0.0625, ambient_c=70) == 0.125
    assert rating_w(0.0625, ambient_c=71) == 0.25
    assert derated_w(2, ambient_c=112.5) == 1
    assert derated_w(2, ambient_c=155) == derated_w(2, ambient_c=200) == 0


def test_neighbours_of_other_series():
    """By hand: 1.2 kohm lies between 1 and 1.5 in E6, is itself in E12; 9.5 ohm below 10."""
    assert neighbours(1200, E6) == (1000, 1500)
    assert neighbours(1200, E12) == (1200, 1200)
    assert neighbours(9.5) == (9.1, 10)
    assert neighbours(1000) == (1000, 1000)
    assert next_value_up(920) == 1000
    assert next_value_up(0.099) == pytest.approx(0.1)


def test_colours_and_neighbours_at_the_ends_of_a_decade():
    """By hand: 9 ohm is 90 tenths, 99 ohm has two digits; 99.5 ohm lies between 91 and 100."""
    assert colour_bands(9) == ("white", "black", "gold", "gold")
    assert colour_bands(99) == ("white", "white", "black", "gold")
    assert neighbours(99.5) == (91, 100)
