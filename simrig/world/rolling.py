"""How a ball rolls: when it arrives, when it breaks a beam, where it stops.

A solid sphere that rolls without slipping turns as it goes, so part of the drop
in height becomes spin and it gains speed more slowly than a sliding block.  On
two rails or in a groove it touches at two points, turns about a shorter radius,
hence faster for the same way, and gains speed more slowly still::

    a = g sin(slope) / (1 + 2/5 R^2 / r^2),   r = sqrt(R^2 - (w/2)^2)

``R`` is the radius of the ball, ``w`` the distance between its two points of
contact and ``r`` the height of its centre above them; on a plane w = 0 and the
factor is 5/7.  From Newton's law along the slope, Euler's law about the centre,
a moment of inertia of 2/5 m R^2, and no slip (the correction for a groove:
Niculescu, The Physics Teacher 44, 2006).  Distances along the slope are those
of the ball's centre from where it starts.

Left out: slip (a plane needs a coefficient of friction of at least 2/7 of the
tangent of the slope), rolling resistance, and the bends of a real lane.  Times
are therefore the earliest that a clean track allows.
"""

from __future__ import annotations

import math
from typing import Final

import attrs

from simrig.bounds import COUNT, NOT_NEGATIVE, POSITIVE, SHARE, Bounds

STANDARD_GRAVITY_MM_S2: Final = 9806.65
"""Standard acceleration of free fall (3rd CGPM, 1901)."""


@attrs.frozen(kw_only=True)
class Track:
    """A straight slope and the ball on it.

    ``contact_width_mm`` is the distance between the two lines on which the ball
    rolls (not the gap between round rails: see :func:`contact_width_on_rods_mm`),
    0 on a plane.  ValueError if a value cannot be.
    """

    ball_diameter_mm: float = attrs.field(validator=POSITIVE)
    slope_deg: float = attrs.field(validator=Bounds(least=0, most=90))
    contact_width_mm: float = attrs.field(default=0.0, validator=NOT_NEGATIVE)
    gravity_mm_s2: float = attrs.field(default=STANDARD_GRAVITY_MM_S2, validator=POSITIVE)

    @contact_width_mm.validator
    def _ball_does_not_fall_through(self, _: object, width: float) -> None:
        if width >= self.ball_diameter_mm:
            raise ValueError(
                f"contact_width_mm is {width:g}; wanted less than the ball's diameter,"
                f" {self.ball_diameter_mm:g} mm, or the ball falls through"
            )

    @property
    def radius_mm(self) -> float:
        """Radius of the ball."""
        return self.ball_diameter_mm / 2

    @property
    def rolling_radius_mm(self) -> float:
        """Height of the ball's centre above the lines on which it rolls."""
        return math.sqrt(self.radius_mm**2 - (self.contact_width_mm / 2) ** 2)

    @property
    def factor(self) -> float:
        """Acceleration as a share of that of a block which slides without friction."""
        return 1 / (1 + 0.4 * (self.radius_mm / self.rolling_radius_mm) ** 2)

    @property
    def acceleration_mm_s2(self) -> float:
        """Acceleration of the ball's centre along the slope."""
        return self.factor * self.gravity_mm_s2 * math.sin(math.radians(self.slope_deg))

    def beam_offset_mm(self, beam_height_mm: float) -> float:
        """Return how far a beam passes above (or, negative, below) the ball's centre.

        The beam's height is measured from the lines on which the ball rolls.
        """
        return beam_height_mm - self.rolling_radius_mm


@attrs.frozen(kw_only=True)
class Window:
    """A stretch of time in seconds; ``end_s`` is infinite where it does not end."""

    start_s: float = attrs.field(validator=NOT_NEGATIVE)
    end_s: float = attrs.field(validator=Bounds(least=0, infinite=True))

    @end_s.validator
    def _ends_after_its_start(self, _: object, end_s: float) -> None:
        if end_s < self.start_s:
            raise ValueError(f"end_s is {end_s:g}; wanted no less than start_s, {self.start_s:g}")

    @property
    def length_s(self) -> float:
        """How long it lasts."""
        return self.end_s - self.start_s


@attrs.frozen(kw_only=True)
class Spell:
    """When a beam of some width is affected: in part, and as a whole.

    ``wholly`` lies within ``partly``.  What the receiver makes of a beam that is
    affected in part is not known: there its reading may be either.  None: never.
    """

    partly: Window | None
    wholly: Window | None


@attrs.frozen(kw_only=True)
class Roll:
    """A ball that rolls down a track from where it lies, or enters with a speed.

    ``stop_mm`` is how far its centre can go: to the wall less a radius, or to the
    centre of the next ball less a diameter.  Infinite: nothing stops it.
    """

    track: Track
    entry_speed_mm_s: float = attrs.field(default=0.0, validator=NOT_NEGATIVE)
    stop_mm: float = attrs.field(default=math.inf, validator=Bounds(least=0, infinite=True))

    def time_s(self, distance_mm: float) -> float:
        """Return when the centre has gone a distance; infinite where it never does.

        Root of v t + a t^2 / 2 = s, in the form that stays exact for small a.
        ValueError for a distance behind the start.
        """
        Bounds(least=0, infinite=True).check("distance_mm", distance_mm)
        if distance_mm > self.stop_mm or math.isinf(distance_mm):
            return math.inf
        if distance_mm == 0:
            return 0.0
        fastest = self.entry_speed_mm_s + self._speed(distance_mm)
        return 2 * distance_mm / fastest if fastest else math.inf

    def speed_mm_s(self, distance_mm: float) -> float:
        """Return the speed of the centre there: v^2 = v0^2 + 2 a s.

        ValueError for a distance that it does not reach.
        """
        if math.isinf(self.time_s(distance_mm)):
            raise ValueError(f"distance_mm is {distance_mm:g}; the ball does not get there")
        return self._speed(distance_mm)

    def _speed(self, distance_mm: float) -> float:
        return math.sqrt(self.entry_speed_mm_s**2 + 2 * self.track.acceleration_mm_s2 * distance_mm)

    def position_mm(self, time_s: float) -> float:
        """Return how far the centre has gone; it stays where it stops."""
        NOT_NEGATIVE.check("time_s", time_s)
        gone = self.entry_speed_mm_s * time_s + self.track.acceleration_mm_s2 * time_s**2 / 2
        return min(gone, self.stop_mm)

    def stops_s(self) -> float:
        """Return when it first touches what stops it; infinite where nothing does."""
        return self.time_s(self.stop_mm)

    def blocks(self, *, beam_mm: float, offset_mm: float, beam_width_mm: float = 0.0) -> Spell:
        """Return when the ball blocks a beam across the track.

        ``beam_mm`` is how far down the track the beam is, ``offset_mm`` how far
        it passes above or below the centre, ``beam_width_mm`` its width along the
        track.  A ball that stops in the beam blocks it for good.
        """
        NOT_NEGATIVE.check("beam_width_mm", beam_width_mm)
        chord = chord_mm(self.track.ball_diameter_mm, offset_mm)
        if chord == 0:
            return Spell(partly=None, wholly=None)
        return Spell(
            partly=self._between(beam_mm, chord + beam_width_mm),
            wholly=self._between(beam_mm, chord - beam_width_mm),
        )

    def _between(self, middle_mm: float, width_mm: float) -> Window | None:
        """When the centre is within half a width of a point; None if at no time."""
        first, last = middle_mm - width_mm / 2, middle_mm + width_mm / 2
        if last < first or last < 0:
            return None
        start_s = self.time_s(max(first, 0.0))
        if math.isinf(start_s):
            return None
        return Window(start_s=start_s, end_s=self.time_s(last))


def light_between(track: Track, *, offset_mm: float, beam_width_mm: float = 0.0) -> Spell:
    """Return when a beam at a position gets light while a row moves up one position.

    The row of touching balls starts from rest, as after a kick, and stops when
    each has rolled one diameter: the ball in the beam leaves it, the next enters.
    Where the gap is narrower than the beam, light gets through in part at most.
    """
    NOT_NEGATIVE.check("beam_width_mm", beam_width_mm)
    diameter = track.ball_diameter_mm
    roll = Roll(track=track, stop_mm=diameter)
    gap = gap_mm(diameter, offset_mm)
    if gap == 0 or track.acceleration_mm_s2 == 0:
        return Spell(partly=None, wholly=None)
    # The middle of the gap passes when the row is half a diameter on.
    partly = min(gap + beam_width_mm, diameter)
    return Spell(
        partly=roll._between(diameter / 2, partly),
        wholly=roll._between(diameter / 2, gap - beam_width_mm),
    )


def chord_mm(ball_diameter_mm: float, offset_mm: float) -> float:
    """Return how much of a ball a thin beam meets, 2 sqrt(R^2 - h^2).

    ``offset_mm`` is the beam's distance above or below the centre; 0 is returned
    where it misses the ball.
    """
    POSITIVE.check("ball_diameter_mm", ball_diameter_mm)
    Bounds().check("offset_mm", offset_mm)
    radius = ball_diameter_mm / 2
    return 2 * math.sqrt(max(0.0, radius**2 - offset_mm**2))


def gap_mm(ball_diameter_mm: float, offset_mm: float) -> float:
    """Return the gap between two touching balls as a thin beam sees it."""
    return ball_diameter_mm - chord_mm(ball_diameter_mm, offset_mm)


def resting_centre_mm(ball_diameter_mm: float, position: int) -> float:
    """Return how far from the wall at the exit the centre of the n-th touching ball rests."""
    POSITIVE.check("ball_diameter_mm", ball_diameter_mm)
    COUNT.check("position", position)
    return ball_diameter_mm * (position - 0.5)


def contact_width_in_groove_mm(ball_diameter_mm: float, groove_deg: float) -> float:
    """Return the distance between the contacts in a V-groove of an opening angle.

    The walls touch the ball where their normals meet its centre: 2 R cos(angle/2).
    """
    POSITIVE.check("ball_diameter_mm", ball_diameter_mm)
    Bounds(above=0, most=180).check("groove_deg", groove_deg)
    return ball_diameter_mm * math.cos(math.radians(groove_deg) / 2)


def contact_width_on_rods_mm(
    ball_diameter_mm: float, *, gap_between_mm: float, rod_diameter_mm: float
) -> float:
    """Return the distance between the contacts on two round rods.

    A contact lies on the line from the ball's centre to a rod's, R from the
    former: w = 2 R (s/2 + q) / (R + q) with the gap s and the rods' radius q.
    ValueError if the ball falls through.
    """
    POSITIVE.check("ball_diameter_mm", ball_diameter_mm)
    NOT_NEGATIVE.check("rod_diameter_mm", rod_diameter_mm)
    Bounds(least=0, below=ball_diameter_mm).check("gap_between_mm", gap_between_mm)
    radius, rod = ball_diameter_mm / 2, rod_diameter_mm / 2
    return 2 * radius * (gap_between_mm / 2 + rod) / (radius + rod)


def rebound_share(restitution: float) -> float:
    """Return the share of its way back that a ball regains in each rebound: e^2.

    ``restitution`` e is speed after over speed before; it belongs to the pair of
    bodies and must be measured: no value for steel on steel is assumed here.
    """
    SHARE.check("restitution", restitution)
    return restitution**2


def settling_s(*, speed_mm_s: float, acceleration_mm_s2: float, restitution: float) -> float:
    """Return how long a ball goes on rebounding after it first arrives.

    Each rebound lasts 2 v / a and starts e times slower than the last; their sum
    is 2 e v / (a (1 - e)).  Exact for a ball that drops; on a slope an estimate
    from above, because the spin that the ball keeps carries it back sooner.
    """
    NOT_NEGATIVE.check("speed_mm_s", speed_mm_s)
    POSITIVE.check("acceleration_mm_s2", acceleration_mm_s2)
    SHARE.check("restitution", restitution)
    return 2 * restitution * speed_mm_s / (acceleration_mm_s2 * (1 - restitution))
