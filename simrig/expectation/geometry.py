"""Lengths, slopes and speeds of a machine, as spans: what a profile leaves out is wide open."""

from __future__ import annotations

import math
from typing import Final

import attrs

from simrig.bounds import NOT_NEGATIVE, Bounds
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.world.rolling import STANDARD_GRAVITY_MM_S2, Track, chord_mm
from simrig.world.spans import Span

WHOLE: Final = Span(0.0, 0.0, math.inf)
_UNKNOWN_SPEED: Final = Span(0.0, 600.0, math.inf)
_UNKNOWN_LENGTH: Final = Span(0.0, 300.0, math.inf)
_DIAMETERS_MM: Final = Span(5.0, 27.0, 100.0)
_GREATEST_PITCH_MM: Final = 200.0
_ROLLING_SHARE: Final = 5 / 7

HAND_SPEED_MM_S: Final = Span(0.0, 250.0, 1000.0)
"""Speed of a ball that a hand lets go into a place (common practice, no source)."""


@attrs.frozen(kw_only=True)
class Allowance:
    """How far a real ball may differ from a clean one on the stated way.

    Times may be ``earliest`` (a factor of at most 1: the profile's lengths and slopes
    are measured by hand) to ``latest`` (of at least 1: dirt, felt and bends slow a
    ball) times the calculated ones.  ``beam_mm`` is the greatest width of a beam:
    what a receiver makes of a beam that is covered in part is not known (5 mm lenses
    and a little over: common practice, no source).
    """

    earliest: float = attrs.field(default=0.8, validator=Bounds(above=0, most=1))
    latest: float = attrs.field(default=2.0, validator=Bounds(least=1))
    beam_mm: float = attrs.field(default=6.0, validator=NOT_NEGATIVE)


EXACT: Final = Allowance(earliest=1.0, latest=1.0, beam_mm=0.0)
"""A clean ball and thin beams: windows are as narrow as the profile's facts."""


@attrs.frozen(kw_only=True)
class Geometry:
    """The spans of one machine."""

    profile: Profile
    allowance: Allowance = attrs.field(factory=Allowance)

    @property
    def diameter_mm(self) -> Span:
        """Diameter of a ball."""
        stated = self.profile.balls.diameter_mm
        return _DIAMETERS_MM if stated is None else Span.exactly(stated)

    def pitch_mm(self, place: Place) -> Span:
        """Distance between neighbouring positions; touching balls have the least."""
        if place.pitch_mm is not None:
            return Span.exactly(place.pitch_mm)
        ball = self.diameter_mm
        return Span(ball.low, ball.typical, _GREATEST_PITCH_MM)

    def place_acceleration(self, place: Place) -> Span:
        """Acceleration in a place, mm/s^2: it slopes down to its exit, if not known how much."""
        if place.slope_deg is None:
            steepest = STANDARD_GRAVITY_MM_S2 * _ROLLING_SHARE
            return Span(0.0, steepest * math.sin(math.radians(6.5)), steepest)
        width = 0.0 if place.contact_width_mm == NONE else place.contact_width_mm
        flat = self._acceleration(place.slope_deg, 0.0)
        if width is None:
            return Span(0.0, flat, flat)
        if not isinstance(width, float | int) or self.profile.balls.diameter_mm is None:
            return Span(0.0, flat, flat)
        if width >= self.profile.balls.diameter_mm:
            return Span(0.0, flat, flat)
        return Span.exactly(self._acceleration(place.slope_deg, width))

    def route_acceleration(self, route: Route) -> Span:
        """Acceleration on a way; what the ball rolls on there is not stated.

        A way without a stated slope may lead up or down.
        """
        if route.slope_deg is None:
            return Span(-STANDARD_GRAVITY_MM_S2, 0.0, STANDARD_GRAVITY_MM_S2)
        flat = self._acceleration(route.slope_deg, 0.0)
        return Span(0.0, flat, flat)

    def route_speed(self, route: Route) -> Span:
        """Speed at the start of a way."""
        stated = route.entry_speed_mm_s
        return _UNKNOWN_SPEED if stated is None else Span.exactly(stated)

    def route_length(self, route: Route) -> Span:
        """Length of a way."""
        return _UNKNOWN_LENGTH if route.length_mm is None else Span.exactly(route.length_mm)

    def point_distances(self, route: Route) -> list[Span]:
        """How far each point is from the one before it, the first from the start.

        The first may be anywhere, as long as the others find room behind it.
        """
        points = route.points or 0
        length = self.route_length(route)
        if not points:
            return []
        if route.spacing_mm is None:
            share = length.typical / (points + 1)
            return [Span(0.0, share, length.high)] * points
        room = max(0.0, length.high - (points - 1) * route.spacing_mm)
        typical = min(room, max(0.0, length.typical - (points - 1) * route.spacing_mm) / 2)
        first = Span(0.0, typical, room)
        return [first, *[Span.exactly(route.spacing_mm)] * (points - 1)]

    def extent_mm(self, sensor: Sensor, place: Place | None) -> Span:
        """How far a ball goes while it works a sensor that it passes.

        The chord at a beam's height, more or less the beam's width.  How far a lever, a
        blade or an inductive head reaches is not stated anywhere: up to two balls.
        """
        ball = self.diameter_mm
        if self.profile.technology(sensor) != "light":
            return Span(0.0, ball.typical, 2 * ball.high)
        beam = self.allowance.beam_mm
        if sensor.beam_height_mm is None or not ball.known:
            return Span(0.0, ball.typical, ball.high + beam)
        offsets = self._offsets(sensor.beam_height_mm, place)
        chords = [chord_mm(ball.typical, offset) for offset in offsets]
        if not max(chords):
            return Span(0.0, ball.typical, ball.high + beam)
        greatest = ball.high if offsets[0] * offsets[-1] < 0 else max(chords)
        # The ends bound the offset; the chord is widest where the beam meets the centre.
        typical = chord_mm(ball.typical, offsets[0])
        return Span(max(0.0, min(chords) - beam), typical, greatest + beam)

    def _offsets(self, height_mm: float, place: Place | None) -> tuple[float, float]:
        """Bounds of a beam's distance from the centre; first for a ball on a plane."""
        diameter = self.diameter_mm.typical
        width = None if place is None else place.contact_width_mm
        if width == NONE:
            width = 0.0
        if isinstance(width, float | int) and width < diameter and place is not None:
            track = Track(ball_diameter_mm=diameter, slope_deg=0, contact_width_mm=width)
            offset = track.beam_offset_mm(height_mm)
            return offset, offset
        return height_mm - diameter / 2, height_mm

    def _acceleration(self, slope_deg: float, width_mm: float) -> float:
        track = Track(
            ball_diameter_mm=self.diameter_mm.typical,
            slope_deg=slope_deg,
            contact_width_mm=width_mm,
        )
        return track.acceleration_mm_s2
