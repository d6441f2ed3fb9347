"""The series resistor of an emitter: its value, its rating, its colours.

An emitter is fed from a fixed voltage through a resistor of its own, which sets
the current: R = (supply - forward voltage) / current.  What is fitted counts
where the profile states it; otherwise the next higher value of the E24 series
(IEC 60063) keeps the current at or below the wanted one.  The part is rated at
twice what it dissipates, or more.

Values are compared exactly, as the decimal numbers that a person writes: 12 V
less 2.1 V at 20 mA are 495 ohm and not a hair more.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from fractions import Fraction
from typing import Final, Literal

import attrs

from simrig.bounds import NOT_NEGATIVE, POSITIVE, Bounds

E6: Final = (10, 15, 22, 33, 47, 68)
E12: Final = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24: Final = (
    *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
    *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
)
"""Preferred values of one decade, IEC 60063.  They are not all round(10 * 10^(i/24))."""

RATINGS_W: Final = (0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0)
"""Ratings in which resistors are sold.  Common practice, no source."""

DIGITS: Final = (
    "black",
    "brown",
    "red",
    "orange",
    "yellow",
    "green",
    "blue",
    "violet",
    "grey",
    "white",
)
"""Colour bands of the digits 0 to 9, and of the multipliers 1 to 10^9; IEC 60062."""

TOLERANCES: Final = {
    "green": 0.5,
    "blue": 0.25,
    "brown": 1.0,
    "red": 2.0,
    "gold": 5.0,
    "silver": 10.0,
}
"""Colour bands of the tolerance, in per cent, on which the printed tables agree; none is 20."""

_EXPONENTS: Final = {colour: power for power, colour in enumerate(DIGITS)} | {
    "gold": -1,
    "silver": -2,
}


def series_resistor_ohm(*, supply_v: float, forward_v: float, current_ma: float) -> float:
    """Return the exact series resistance, (supply - forward voltage) / current.

    The same sum gives the collector resistor of a receiver, with its saturation
    voltage in place of the forward voltage.  ValueError unless the supply is
    above the forward voltage and the current above 0.
    """
    return float(_series(supply_v, forward_v, current_ma))


def emitter_current_ma(*, supply_v: float, forward_v: float, ohm: float) -> float:
    """Return the current through an emitter (or a saturated receiver) and its resistor."""
    POSITIVE.check("ohm", ohm)
    return float(1000 * _drop(supply_v, forward_v) / _exact(ohm))


def dissipation_w(*, supply_v: float, forward_v: float, ohm: float) -> float:
    """Return the power that the resistor turns into heat, (supply - forward voltage)^2 / R."""
    POSITIVE.check("ohm", ohm)
    return float(_drop(supply_v, forward_v) ** 2 / _exact(ohm))


def next_value_up(ohm: float, series: Sequence[int] = E24) -> float:
    """Return the smallest value of a series that is no less than a resistance."""
    return _neighbours(_wanted(ohm), series)[1]


def neighbours(ohm: float, series: Sequence[int] = E24) -> tuple[float, float]:
    """Return the values of a series next below and above; twice itself if it is one."""
    return _neighbours(_wanted(ohm), series)


def derated_w(
    rated_w: float, *, ambient_c: float, full_to_c: float = 70.0, zero_at_c: float = 155.0
) -> float:
    """Return what a resistor may dissipate in warm surroundings, in watts.

    Its full rating up to ``full_to_c``, then less in a straight line to nothing
    at ``zero_at_c``.  The usual film resistor: 70 and 155 degrees C.
    """
    POSITIVE.check("rated_w", rated_w)
    Bounds(least=-273).check("ambient_c", ambient_c)
    Bounds(below=zero_at_c).check("full_to_c", full_to_c)
    share = (zero_at_c - ambient_c) / (zero_at_c - full_to_c)
    return rated_w * min(1.0, max(0.0, share))


def greatest_voltage_v(ohm: float, allowed_w: float) -> float:
    """Return the voltage at which a resistor dissipates what it may, sqrt(P R)."""
    POSITIVE.check("ohm", ohm)
    NOT_NEGATIVE.check("allowed_w", allowed_w)
    return math.sqrt(allowed_w * ohm)


def rating_w(dissipated_w: float, *, ambient_c: float = 40.0) -> float:
    """Return the smallest rating that carries twice a dissipation in its surroundings.

    ValueError where none of :data:`RATINGS_W` does.
    """
    NOT_NEGATIVE.check("dissipated_w", dissipated_w)
    for rated in RATINGS_W:
        # A hair of slack: twice 0.0625 W computed in floating point is 0.125 W.
        if derated_w(rated, ambient_c=ambient_c) >= 2 * dissipated_w * (1 - 1e-12):
            return rated
    raise ValueError(
        f"twice {dissipated_w:.3g} W at {ambient_c:g} degrees C is more than a resistor of"
        f" {RATINGS_W[-1]:g} W carries; wanted a smaller current or a lower supply"
    )


def colour_bands(ohm: float, tolerance_percent: float = 5.0) -> tuple[str, ...]:
    """Return the bands of a resistor from the end: two digits, multiplier, tolerance.

    Three bands for a tolerance of 20 per cent, which has none of its own.
    ValueError for a value that two digits cannot say, or an unknown tolerance.
    """
    colours = {percent: colour for colour, percent in TOLERANCES.items()}
    if tolerance_percent != 20 and tolerance_percent not in colours:
        known = ", ".join(f"{percent:g}" for percent in (*sorted(colours), 20))
        raise ValueError(f"tolerance_percent is {tolerance_percent:g}; wanted one of {known}")
    POSITIVE.check("ohm", ohm)
    exact = _exact(ohm)
    for multiplier, power in _EXPONENTS.items():
        digits = exact / Fraction(10) ** power
        if digits.denominator == 1 and 10 <= digits < 100:
            tens, ones = divmod(int(digits), 10)
            bands = (DIGITS[tens], DIGITS[ones], multiplier)
            return bands if tolerance_percent == 20 else (*bands, colours[tolerance_percent])
    raise ValueError(f"ohm is {ohm:g}; wanted two digits and zeros, from 0.1 to 99e9 ohm")


def read_colour_bands(bands: Sequence[str]) -> tuple[float, float]:
    """Return resistance in ohm and tolerance in per cent of three or four bands.

    ValueError names the band that is none.
    """
    if len(bands) not in (3, 4):
        raise ValueError(f"found {len(bands)} bands; wanted three or four")
    tables: tuple[Collection[str], ...] = (DIGITS, DIGITS, _EXPONENTS, TOLERANCES)
    for number, (band, table) in enumerate(zip(bands, tables, strict=False), start=1):
        if band not in table:
            raise ValueError(f"band {number} is {band}; wanted one of {', '.join(table)}")
    digits = 10 * DIGITS.index(bands[0]) + DIGITS.index(bands[1])
    ohm = float(digits * Fraction(10) ** _EXPONENTS[bands[2]])
    return ohm, TOLERANCES[bands[3]] if len(bands) == 4 else 20.0


@attrs.frozen(kw_only=True)
class SeriesResistor:
    """The part to order for one emitter.

    ``source`` says whether the profile states the value ("fitted") or it is the
    next E24 value above the calculated one ("calculated").  ``colours`` is empty
    for a fitted value that four bands cannot say.
    """

    ohm: float
    source: Literal["fitted", "calculated"]
    exact_ohm: float | None
    current_ma: float
    dissipation_w: float
    rating_w: float
    colours: tuple[str, ...]

    @property
    def label(self) -> str:
        """The part in words: value, rating, colours."""
        words = f"{shown_ohm(self.ohm)}, {self.rating_w:g} W or more"
        return f"{words}, {' '.join(self.colours)}" if self.colours else words


def resistor_to_order(
    *,
    supply_v: float,
    forward_v: float,
    current_ma: float | None = None,
    fitted_ohm: float | None = None,
    ambient_c: float = 40.0,
) -> SeriesResistor:
    """Return the resistor that an emitter wants.

    The fitted value where it is stated, else the calculated one from the current.
    ValueError if neither is given, or no value or rating serves.
    """
    exact = None if current_ma is None else _series(supply_v, forward_v, current_ma)
    if fitted_ohm is not None:
        ohm = fitted_ohm
    elif exact is not None:
        ohm = _neighbours(exact, E24)[1]
    else:
        raise ValueError("found neither current_ma nor fitted_ohm; wanted one of them")
    heat_w = dissipation_w(supply_v=supply_v, forward_v=forward_v, ohm=ohm)
    try:
        colours = colour_bands(ohm)
    except ValueError:
        colours = ()
    return SeriesResistor(
        ohm=ohm,
        source="calculated" if fitted_ohm is None else "fitted",
        exact_ohm=None if exact is None else float(exact),
        current_ma=emitter_current_ma(supply_v=supply_v, forward_v=forward_v, ohm=ohm),
        dissipation_w=heat_w,
        rating_w=rating_w(heat_w, ambient_c=ambient_c),
        colours=colours,
    )


def shown_ohm(ohm: float) -> str:
    """Return a resistance as people write it: 510 ohm, 4.7 kohm, 1 Mohm."""
    for unit, size in (("Mohm", 1e6), ("kohm", 1e3)):
        if ohm >= size:
            return f"{ohm / size:g} {unit}"
    return f"{ohm:g} ohm"


def _exact(value: float) -> Fraction:
    """The decimal number that a person wrote, not its nearest binary fraction."""
    return Fraction(float.__repr__(value)) if isinstance(value, float) else Fraction(value)


def _drop(supply_v: float, forward_v: float) -> Fraction:
    NOT_NEGATIVE.check("forward_v", forward_v)
    if not Bounds(above=forward_v).holds(supply_v):
        raise ValueError(
            f"supply_v is {supply_v}; wanted more than the forward voltage, {forward_v:g} V"
        )
    return _exact(supply_v) - _exact(forward_v)


def _series(supply_v: float, forward_v: float, current: float) -> Fraction:
    POSITIVE.check("current_ma", current)
    return 1000 * _drop(supply_v, forward_v) / _exact(current)


def _wanted(ohm: float) -> Fraction:
    POSITIVE.check("ohm", ohm)
    return _exact(ohm)


def _neighbours(ohm: Fraction, series: Sequence[int]) -> tuple[float, float]:
    """The values of a series around an exact resistance."""
    decade = Fraction(1)
    while ohm >= 100 * decade:
        decade *= 10
    while ohm < 10 * decade:
        decade /= 10
    mantissa = ohm / decade
    below = max(value for value in series if value <= mantissa)
    above = min((value for value in series if value >= mantissa), default=100)
    return float(below * decade), float(above * decade)
