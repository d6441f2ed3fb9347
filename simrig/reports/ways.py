"""The words beside a way in a plan: what moves the ball, where to, what it passes."""

from __future__ import annotations

from typing import Final, NamedTuple

from simrig.profile.keys import NONE
from simrig.profile.layout import Route
from simrig.profile.machine import Profile
from simrig.reports import svg
from simrig.reports.marks import READING_WORDS, Marks, sensor_words

SMALL: Final = 12.0
_PLAIN: Final = 13.0
_HOW: Final = {
    "gravity": "rolls by itself",
    "coil": "kicked by a coil",
    "shot": "by a shot",
    "plunger": "by the plunger",
    "hand": "by hand",
}


class Line(NamedTuple):
    """One line of text and its size."""

    words: str
    size: float


def way_words(profile: Profile, route: Route, target: str | None = None) -> str:
    """Say what moves a ball along a way, and where to if that is another place."""
    how = _HOW[route.by]
    coil = profile.row("coil", None if route.coil == NONE else route.coil)
    if coil is not None:
        how = f"kicked by the {coil.title}"
    words = f"{route.title}: {how}"
    for name, state in (route.when or {}).items():
        row = profile.row("mechanism", name)
        words += f", while the {row.name or row.id if row else name} stands {state}"
    return f"{words}, to the {target}" if target else words


def passed(profile: Profile, route: Route, marks: Marks | None) -> list[str]:
    """Return what a ball on the way passes: with its reading, or with its number and address."""
    found = []
    for number in range(1, (route.points or 0) + 1):
        for sensor in profile.covering.get(f"{route.id}.{number}", ()):
            if marks is None:
                words = f"{sensor.title} ({sensor_words(profile, sensor)})"
            else:
                reading = marks.readings.get(sensor.id, "either")
                words = f"{sensor.title} {READING_WORDS[reading].upper()}"
            if words not in found:
                found.append(words)
    return found


def way_lines(
    profile: Profile, route: Route, marks: Marks | None, room: float, target: str | None = None
) -> list[Line]:
    """Return the lines beside a way, in ``room`` units of width."""
    words = way_words(profile, route, target)
    lines = [Line(piece, _PLAIN) for piece in svg.wrapped(words, room, _PLAIN)]
    if past := passed(profile, route, marks):
        said = "past " + "; ".join(past)
        lines += [Line(piece, SMALL) for piece in svg.wrapped(said, room, SMALL)]
    return lines
