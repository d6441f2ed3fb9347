"""The switch table as a drawing: every switch under the place it belongs to, not under its number."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.reports import svg
from simrig.reports.marks import READING_WORDS, Marks
from simrig.scan.controller import ball_reading

_EDGE = 12.0
_ROW = 18.0
_HEADINGS = ("switch", "no.", "address", "wire", "with a ball")
_SHARES = (0.36, 0.07, 0.21, 0.20, 0.16)


class Group(NamedTuple):
    """The switches of one place, way or mechanism, or those that no ball works."""

    title: str
    sensors: tuple[Sensor, ...]


def by_place(profile: Profile) -> Iterator[Group]:
    """Yield every sensor once: by place, then those passed on the way, then all others."""
    left = {sensor.id: sensor for sensor in profile.sensor}

    def take(title: str, place: str | None) -> Iterator[Group]:
        found = tuple(
            sensor
            for sensor in left.values()
            if sensor.spots and profile.spots[sensor.spots[0]].place == place
        )
        for sensor in found:
            del left[sensor.id]
        if found:
            yield Group(title, found)

    for place in profile.place:
        yield from take(place.title, place.id)
    yield from take("passed on the way", None)
    moved = tuple(sensor for sensor in left.values() if sensor.follows)
    if moved:
        yield Group("worked by a mechanism", moved)
    others = tuple(sensor for sensor in left.values() if not sensor.follows)
    if others:
        yield Group("other switches: no ball at rest, or not known yet", others)


def with_a_ball(profile: Profile, sensor: Sensor) -> str:
    """Return the reading that means a ball at a sensor, in words; empty where no ball works it."""
    if not sensor.spots:
        return ""
    reading = ball_reading(profile, sensor.id)
    return "not known" if reading == "unknown" else reading


def switch_table(profile: Profile, marks: Marks | None = None, *, width: float = 720) -> str:
    """Return the table as an SVG document; with ``marks`` its last column is the reading now."""
    inner = width - 2 * _EDGE
    starts = [_EDGE + inner * sum(_SHARES[:i]) for i in range(len(_SHARES))]
    rooms = [inner * share - 8 for share in _SHARES]
    parts = [svg.text(_EDGE, 28, f"{profile.name}: switches by place", size=18, bold=True)]
    last = "reading" if marks else _HEADINGS[-1]
    y = 52.0
    for x, heading in zip(starts, (*_HEADINGS[:-1], last), strict=True):
        parts.append(svg.text(x, y, heading, size=12, fill=svg.SOFT))
    y += 8
    for title, sensors in by_place(profile):
        parts.append(svg.line(_EDGE, y, width - _EDGE, y))
        parts.append(svg.text(_EDGE, y + 18, title, size=14, bold=True))
        y += 24
        for sensor in sensors:
            cells = (
                [sensor.title],
                [] if sensor.number is None else [str(sensor.number)],
                svg.wrapped(str(profile.address_of.get(sensor.id, "not known")), rooms[2], 13),
                svg.wrapped(sensor.wire or "not known", rooms[3], 13),
                [_last(profile, sensor, marks)],
            )
            named = svg.wrapped(cells[0][0], rooms[0], 13)
            high = max(len(named), len(cells[2]), len(cells[3]), 1)
            for x, lines in zip(starts, (named, *cells[1:]), strict=True):
                for index, words in enumerate(lines):
                    parts.append(svg.text(x, y + 12 + 15 * index, words, size=13))
            y += _ROW + 15 * (high - 1)
        y += 6
    title = f"{profile.name}: switches by place"
    return svg.document(width, y + 8, title, parts)


def _last(profile: Profile, sensor: Sensor, marks: Marks | None) -> str:
    if marks is None:
        return with_a_ball(profile, sensor)
    return READING_WORDS.get(marks.readings.get(sensor.id, ""), "")
