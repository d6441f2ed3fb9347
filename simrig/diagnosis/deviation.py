"""One way in which one part can differ from healthy."""

from __future__ import annotations

import math
from collections.abc import Hashable

import attrs


def _above_zero(instance: Deviation, attribute: attrs.Attribute[float], value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(
            f"{attribute.name} of {instance.part} {instance.mode}: {value!r} found, "
            "a finite number above 0 wanted"
        )


@attrs.frozen(kw_only=True)
class Deviation:
    """One way in which one part can differ from healthy.

    ``prior`` is the odds that the part is in this mode, relative to healthy.
    Deviations of one ``part`` exclude each other.  Raises ValueError for a prior
    that is not a finite number above 0.
    """

    part: Hashable
    mode: str
    prior: float = attrs.field(validator=_above_zero)
