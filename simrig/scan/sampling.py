"""What a scan can miss: samples at a fixed period, an input filter, a debounce.

A controller looks at a switch every T ms.  Where in its cycle a pulse of w ms
falls is a matter of chance, all moments being alike, so that a short pulse is
seen with a chance only.  A debounce wants n equal samples in a row: it needs n
samples inside the pulse, (n - 1) T and a moment more::

    chance = clamp((w - (n - 1) T) / T, 0, 1)      n = 1: min(1, w / T)

An input filter ahead of the sampling swallows what is shorter than itself and
passes what is longer, late but unshortened.
"""

from __future__ import annotations

from typing import Literal

import attrs

from simrig.bounds import COUNT, NOT_NEGATIVE, POSITIVE

Verdict = Literal["certain", "optional", "never"]


def chance_sampled(pulse_ms: float, period_ms: float, samples: int = 1) -> float:
    """Return the chance that n samples in a row, a period apart, all fall inside a pulse.

    ValueError if the pulse is negative, the period not above 0, or n below 1.
    """
    NOT_NEGATIVE.check("pulse_ms", pulse_ms)
    POSITIVE.check("period_ms", period_ms)
    COUNT.check("samples", samples)
    return min(1.0, max(0.0, (pulse_ms - (samples - 1) * period_ms) / period_ms))


def safe_pulse_ms(*, sensor_ms: float, filter_ms: float, scan_ms: float) -> float:
    """Return the shortest pulse that a controller should be given: sensor + filter + 2 scans.

    A rule of thumb of machine design: a pulse of one scan is sampled once already,
    the second scan is reserve for a cycle that comes late.
    """
    for name, value in (("sensor_ms", sensor_ms), ("filter_ms", filter_ms), ("scan_ms", scan_ms)):
        NOT_NEGATIVE.check(name, value)
    return sensor_ms + filter_ms + 2 * scan_ms


@attrs.frozen(kw_only=True)
class Sampling:
    """How a controller reads one switch.

    ``period_ms`` is the time between two readings, ``equal_readings`` how many
    equal ones in a row it wants, ``filter_ms`` the shortest pulse that the input
    lets through.
    """

    period_ms: float = attrs.field(validator=POSITIVE)
    equal_readings: int = attrs.field(default=1, validator=COUNT)
    filter_ms: float = attrs.field(default=0.0, validator=NOT_NEGATIVE)

    @property
    def certain_ms(self) -> float:
        """The shortest pulse that is always seen."""
        return max(self.filter_ms, self.equal_readings * self.period_ms)

    @property
    def possible_ms(self) -> float:
        """A pulse shorter than this is never seen."""
        return max(self.filter_ms, (self.equal_readings - 1) * self.period_ms)

    @property
    def delay_ms(self) -> tuple[float, float]:
        """Least and greatest time from an edge until the controller takes it for one."""
        return (
            self.filter_ms + (self.equal_readings - 1) * self.period_ms,
            self.filter_ms + self.equal_readings * self.period_ms,
        )

    def passes_filter(self, pulse_ms: float) -> bool:
        """Whether the input lets a pulse through at all."""
        return pulse_ms >= self.filter_ms

    def chance(self, pulse_ms: float) -> float:
        """Return the chance that the controller takes a pulse for one."""
        sampled = chance_sampled(pulse_ms, self.period_ms, self.equal_readings)
        return sampled if self.passes_filter(pulse_ms) else 0.0

    def verdict(self, pulse_ms: float) -> Verdict:
        """Say whether a pulse is seen for certain, perhaps, or never."""
        chance = self.chance(pulse_ms)
        if chance >= 1:
            return "certain"
        return "optional" if chance > 0 else "never"

    def why(self, pulse_ms: float) -> str:
        """Say in words why a pulse is seen, may be missed, or is not seen."""
        verdict = self.verdict(pulse_ms)
        if not self.passes_filter(pulse_ms):
            return f"{pulse_ms:.3g} ms is shorter than the input filter of {self.filter_ms:.3g} ms"
        readings = (
            f"a reading every {self.period_ms:.3g} ms"
            if self.equal_readings == 1
            else f"{self.equal_readings} equal readings {self.period_ms:.3g} ms apart"
        )
        return {
            "certain": f"{pulse_ms:.3g} ms is long enough for {readings}",
            "optional": f"{pulse_ms:.3g} ms may fall between: the controller wants {readings}",
            "never": f"{pulse_ms:.3g} ms is too short for {readings}",
        }[verdict]
