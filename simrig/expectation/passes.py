"""One move in time: which sensors the ball passes, when, for how long, and whether that is seen.

A pass is a stretch of time in which a sensor is worked (a ball goes by) or is not
(light falls between two balls); it may stay so.  Its beginning is counted from
the beginning of the pass before it on the same ball's way, so that what is seen of
one pass narrows the time of the next.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final, Literal

import attrs

from simrig.expectation.geometry import WHOLE
from simrig.scan.sampling import Sampling
from simrig.world.moves import Move
from simrig.world.spans import Span

Reason = Literal["", "scan", "touching", "unknown", "hand"]

START: Final = -1

UNKNOWN_SCAN: Final = "how the controller scans is not known"


@attrs.frozen(kw_only=True)
class Pass:
    """A stretch of time in which a sensor is worked, or is not.

    ``after`` is the number of the pass from whose beginning ``wait_ms`` is counted
    (START: of the move).  ``length_ms`` is None where it stays.  A pass that is not
    ``certain`` may go unseen, for a ``reason`` that ``why`` puts into words.
    """

    sensor: str
    spot: str
    worked: bool
    after: int
    wait_ms: Span
    length_ms: Span | None
    reason: Reason = ""
    why: str = ""

    @property
    def certain(self) -> bool:
        """Whether it must be seen."""
        return not self.reason


@attrs.frozen(kw_only=True)
class Motion:
    """A move in time.  ``coil`` fires at its start; ``rest`` is the pass with which the ball lies.

    ``source`` and ``target`` are the places that it leaves and reaches, None for the
    hand; ``lasts_ms`` is the time until the last pass has begun, or ended where it
    ends.
    """

    move: Move
    source: str | None
    target: str | None
    passes: tuple[Pass, ...]
    coil: str | None = None
    pulse_ms: float | None = None
    rest: int | None = None

    @cached_property
    def begins(self) -> tuple[Span, ...]:
        """When each pass begins, counted from the start of the move."""
        found: list[Span] = []
        for one in self.passes:
            found.append(one.wait_ms if one.after == START else found[one.after] + one.wait_ms)
        return tuple(found)

    @cached_property
    def at_sensor(self) -> dict[str, tuple[int, ...]]:
        """The numbers of the passes at each sensor."""
        found: dict[str, tuple[int, ...]] = {}
        for number, one in enumerate(self.passes):
            found[one.sensor] = (*found.get(one.sensor, ()), number)
        return found

    @cached_property
    def before(self) -> tuple[tuple[int, ...], ...]:
        """For each pass those that must have come before it, whatever the times."""
        return tuple(self._before(number) for number in range(len(self.passes)))

    def _before(self, number: int) -> tuple[int, ...]:
        found = {
            other
            for other, begins in enumerate(self.begins)
            if other != number and begins.high <= self.begins[number].typical
        }
        above = self.passes[number].after
        while above != START:
            found.add(above)
            above = self.passes[above].after
        return tuple(sorted(found))

    @property
    def lasts_ms(self) -> Span:
        """How long the move goes on."""
        lasts = Span.exactly(0.0)
        for begins, one in zip(self.begins, self.passes, strict=True):
            ends = begins + (one.length_ms or Span.exactly(0.0))
            lasts = Span(
                max(lasts.low, ends.low),
                max(lasts.typical, ends.typical),
                max(lasts.high, ends.high),
            )
        return lasts


def judged(length_ms: Span, sampling: Sampling | None, *, touching: bool) -> tuple[Reason, str]:
    """Return why a pass of some length may be missed; two empty texts where it must be seen."""
    if sampling is None:
        return "unknown", UNKNOWN_SCAN
    if length_ms.low >= sampling.certain_ms:
        return "", ""
    if touching:
        return (
            "touching",
            "the gap between two touching balls may let the beam through or not: "
            + sampling.why(length_ms.low),
        )
    if length_ms.known or length_ms.typical < sampling.certain_ms:
        return "scan", sampling.why(length_ms.typical)
    return (
        "unknown",
        "how fast a ball goes by, or how long it works the sensor, is not known: "
        + sampling.why(length_ms.low),
    )


def can_be_seen(length_ms: Span, sampling: Sampling | None) -> bool:
    """Whether a pass can be seen at all."""
    return length_ms.high > 0 and (sampling is None or length_ms.high >= sampling.possible_ms)


def at_any_time(typical_ms: float) -> Span:
    """A time of which nothing is known."""
    return Span(WHOLE.low, typical_ms, WHOLE.high)
