"""Kinematics with values that are known only between bounds.

A span is the least, the typical and the greatest that a value can be.  Least and
greatest are true bounds: what is not known widens them, up to 0 and infinity.  The
typical value serves a drawing or a simulated run and nothing else; where a fact is
unknown it is a stand-in.

A ball moves along its way with a constant acceleration a from a speed v0::

    v = sqrt(v0^2 + 2 a s),   t = 2 s / (v0 + v)

Both grow or fall with each of their arguments alone, so that the bounds of the
result lie at bounds of the arguments.
"""

from __future__ import annotations

import math

import attrs


@attrs.frozen
class Span:
    """A value between ``low`` and ``high``; ``typical`` lies between them.

    ValueError where it does not, or for a value that is no number.
    """

    low: float
    typical: float
    high: float = attrs.field()

    @high.validator
    def _in_order(self, _: object, high: float) -> None:
        if not self.low <= self.typical <= high:
            raise ValueError(
                f"found {self.low:g}, {self.typical:g}, {high:g}; wanted least, typical, greatest"
            )

    @classmethod
    def exactly(cls, value: float) -> Span:
        """A value that is known."""
        return cls(value, value, value)

    @property
    def known(self) -> bool:
        """Whether the bounds meet."""
        return self.low == self.high

    def __add__(self, other: Span) -> Span:
        return Span(self.low + other.low, self.typical + other.typical, self.high + other.high)

    def times(self, factor: float) -> Span:
        """Return the span in another unit; ``factor`` must be above 0."""
        return Span(self.low * factor, self.typical * factor, self.high * factor)

    def less(self, other: Span) -> Span:
        """Return the difference of two lengths, 0 at least."""
        return Span(
            max(0.0, self.low - other.high),
            max(0.0, self.typical - other.typical),
            max(0.0, self.high - other.low),
        )

    def widened(self, earliest: float, latest: float) -> Span:
        """Return the span with its bounds moved out by factors (at most 1, at least 1)."""
        return Span(self.low * earliest, self.typical, self.high * latest)


def speed_after(distance_mm: Span, speed_mm_s: Span, acceleration_mm_s2: Span) -> Span:
    """Return the speed after a distance, in mm/s; 0 where the ball may not get there."""

    def after(distance: float, speed: float, acceleration: float) -> float:
        gained = 2 * acceleration * distance if acceleration else 0.0
        return math.sqrt(max(0.0, speed * speed + gained))

    pushed = acceleration_mm_s2
    return Span(
        after(distance_mm.high if pushed.low < 0 else distance_mm.low, speed_mm_s.low, pushed.low),
        after(distance_mm.typical, speed_mm_s.typical, pushed.typical),
        after(
            distance_mm.high if pushed.high > 0 else distance_mm.low, speed_mm_s.high, pushed.high
        ),
    )


def time_to(distance_mm: Span, speed_mm_s: Span, acceleration_mm_s2: Span) -> Span:
    """Return the time for a distance, in ms; infinite where the ball may never get there."""

    def time_ms(distance: float, speed: float, acceleration: float) -> float:
        if distance == 0 or math.isinf(speed):
            return 0.0
        if math.isinf(distance):
            return math.inf
        squared = speed * speed + 2 * acceleration * distance
        if squared < 0 or speed + math.sqrt(squared) == 0:
            return math.inf
        return 2000 * distance / (speed + math.sqrt(squared))

    low = time_ms(distance_mm.low, speed_mm_s.high, acceleration_mm_s2.high)
    high = time_ms(distance_mm.high, speed_mm_s.low, acceleration_mm_s2.low)
    typical = time_ms(distance_mm.typical, speed_mm_s.typical, acceleration_mm_s2.typical)
    return Span(low, min(max(typical, low), high), high)
