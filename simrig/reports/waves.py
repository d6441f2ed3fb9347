"""Changes in time as wave forms: what was expected above what was recorded, sensor by sensor."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

import attrs

from simrig.reports import svg
from simrig.signals import CLOSED

_EDGE = 12.0
_HIGH = 16.0
_PAIR = 58.0
_BOTTOM = 34.0
_NARROW = 520.0


@attrs.frozen(kw_only=True)
class Change:
    """One change of one sensor: when, in milliseconds, and what it reads from then on."""

    time: float
    sensor: str
    reading: str


@attrs.frozen(kw_only=True)
class Anomaly:
    """Something in the record that does not belong there, and why."""

    time: float
    sensor: str
    why: str


def waves(
    expected: Iterable[Change],
    recorded: Iterable[Change],
    anomalies: Iterable[Anomaly] = (),
    *,
    first: Mapping[str, str] | None = None,
    names: Mapping[str, str] | None = None,
    title: str = "Changes: expected above, recorded below",
    width: float = 900,
    unit: str = "ms",
) -> str:
    """Return an SVG document of two wave forms for each sensor that changes, up meaning closed.

    ``first`` is the reading of a sensor before its first change (open where it
    is not named), ``names`` what people call it.  Anomalies are numbered on the
    wave form and explained below it.  Without a ``unit`` times are places in a row.
    """
    above = sorted(expected, key=lambda one: one.time)
    below = sorted(recorded, key=lambda one: one.time)
    marks = sorted(anomalies, key=lambda one: (one.time, one.sensor))
    when: list[Change | Anomaly] = [*above, *below, *marks]
    sensors = list(dict.fromkeys(one.sensor for one in when))
    times = [one.time for one in when]
    begin, end = (min(times), max(times)) if times else (0.0, 1.0)
    span = max(end - begin, 1.0)
    begin, span = begin - span * 0.04, span * 1.08
    narrow = width < _NARROW
    left = 78.0 if narrow else min(width * 0.34, 200.0)
    inner = width - left - _EDGE

    def across(time: float) -> float:
        return left + inner * (time - begin) / span

    parts = []
    y = 8.0
    for piece in svg.wrapped(title, width - 2 * _EDGE, 16):
        parts.append(svg.text(_EDGE, y + 18, piece, size=16, bold=True))
        y += 20
    y += 10
    for sensor in sensors:
        start = (first or {}).get(sensor, "open")
        words = (names or {}).get(sensor, sensor)
        room = width - 2 * _EDGE if narrow else left - 84
        for index, piece in enumerate(svg.wrapped(words, room, 13)[: 1 if narrow else 3]):
            parts.append(svg.text(_EDGE, y + 16 + 15 * index, piece, size=13, bold=True))
        y += 20 if narrow else 0
        for row, (label, changes) in enumerate((("expected", above), ("recorded", below))):
            base = y + 20 + row * 24
            parts.append(svg.text(left - 8, base - 3, label, size=12, anchor="end"))
            own = [one for one in changes if one.sensor == sensor]
            parts.append(_form(own, start, base, left, width - _EDGE, across, 1.5 + row))
        for number, one in enumerate(marks, 1):
            if one.sensor == sensor:
                x = across(one.time)
                parts.append(svg.line(x, y + 2, x, y + 50, stroke=svg.MARK, dashed=True))
                parts.append(svg.circle(x, y + 46, 9))
                parts.append(svg.text(x, y + 50, str(number), size=12, anchor="middle", bold=True))
        y += _PAIR
        parts.append(svg.line(_EDGE, y - 1, width - _EDGE, y - 1, wide=0.5, stroke=svg.SOFT))
    if not sensors:
        parts.append(svg.text(_EDGE, y + 16, "No sensor changed."))
        y += 24
    if unit:
        parts += _axis(begin, span, across, y, max(2, int(inner // 62)))
    y += _BOTTOM if unit else 6
    for number, one in enumerate(marks, 1):
        named = (names or {}).get(one.sensor, one.sensor)
        for piece in svg.wrapped(f"{number}. {named}: {one.why}", width - 2 * _EDGE, 14):
            parts.append(svg.text(_EDGE, y + 12, piece))
            y += 18
    return svg.document(width, y + 12, title, parts)


def _form(
    changes: Sequence[Change],
    start: str,
    base: float,
    left: float,
    right: float,
    across: Callable[[float], float],
    wide: float,
) -> str:
    def level(reading: str) -> float:
        return base - (_HIGH if reading == CLOSED else 0)

    points = [(left, level(start))]
    for one in changes:
        x = across(one.time)
        points += [(x, points[-1][1]), (x, level(one.reading))]
    return svg.path([*points, (right, points[-1][1])], wide=wide)


def _axis(
    begin: float, span: float, across: Callable[[float], float], y: float, most: int
) -> list[str]:
    """Draw a scale of at most so many steps of 1, 2 or 5 times a power of ten."""
    power = 10.0 ** max(0, len(str(int(span / most))) - 1)
    step = next(power * much for much in (1, 2, 5, 10, 20) if span / (power * much) <= most)
    parts = []
    time = step * (int(begin / step) + (begin > 0))
    while time <= begin + span:
        x = across(time)
        parts.append(svg.line(x, y, x, y + 5))
        words = f"{time / 1000:g} s" if time >= 1000 and step >= 100 else f"{time:g} ms"
        parts.append(svg.text(x, y + 19, words, size=12, anchor="middle"))
        time += step
    return parts
