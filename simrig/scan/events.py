"""What a recorder, or a controller's scan, delivers in time: one change of one signal."""

from __future__ import annotations

from typing import Any, Final, Literal

import attrs

from simrig.bounds import Bounds

EventReading = Literal["closed", "open", "on", "off"]
EVENT_READINGS: Final = ("closed", "open", "on", "off")

LONGEST_NAME: Final = 200
"""Characters that the name of a signal may have."""

_MOMENT: Final = Bounds(least=-1e15, most=1e15)


def _a_moment(_: object, attribute: attrs.Attribute[Any], value: Any) -> None:
    if value is not None:
        _MOMENT.check(attribute.name, value)


def _a_name(_: object, attribute: attrs.Attribute[Any], value: Any) -> None:
    if not isinstance(value, str) or not value or value != value.strip():
        raise ValueError(f"found {value!r}; wanted a name without blanks around it")
    if len(value) > LONGEST_NAME:
        raise ValueError(f"found a name of {len(value)} characters; wanted {LONGEST_NAME} at most")
    if not value.isprintable():
        raise ValueError(f"found {value!r}; wanted a name that can be printed")


@attrs.frozen(kw_only=True)
class Event:
    """A signal that changed, or is said again to be as it was.

    ``time_ms`` is None where only the order is known.  A sensor reads closed or
    open, a coil is on or off.  ``line`` is where it stands in its file, 0 where it
    comes from none; it does not count when events are compared.  ValueError for
    a time, name or reading that cannot be.
    """

    time_ms: float | None = attrs.field(default=None, validator=_a_moment)
    signal: str = attrs.field(validator=_a_name)
    reading: EventReading = attrs.field(validator=attrs.validators.in_(EVENT_READINGS))
    line: int = attrs.field(default=0, eq=False)
