"""What in a log does not agree with what the balls must have done."""

from __future__ import annotations

from typing import Final, Literal

import attrs

AnomalyKind = Literal[
    "missed", "flicker", "swapped", "returned", "stuck", "late", "early", "bounce"
]  # fmt: skip
KINDS: Final[tuple[AnomalyKind, ...]] = (
    "missed", "flicker", "swapped", "returned", "stuck", "late", "early", "bounce",
)  # fmt: skip


@attrs.frozen(kw_only=True)
class Anomaly:
    """One thing in a log that cannot be, with the sensor that shows it and why.

    ``time_ms`` is None in a log without times; ``line`` is where in the log it shows, 0
    where it shows by what is not there.  ``others`` names the sensors that it concerns
    besides: the other of two crossed leads.  ``beside`` names the coil within whose pulse
    a flicker falls.
    """

    time_ms: float | None
    sensor: str
    kind: AnomalyKind = attrs.field(validator=attrs.validators.in_(KINDS))
    why: str
    line: int = 0
    others: tuple[str, ...] = ()
    beside: str | None = None
