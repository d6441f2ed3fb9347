"""A machine drawn as a plan: the open playfield as a band, each place beside it, the ways between.

The layout follows from the profile alone.  Places stand one below the other, so
that every way from or to the playfield is a level arrow that crosses nothing;
ways from place to place run in lanes of their own at the right.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import attrs

from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.reports import svg
from simrig.reports.marks import (
    BALL_WORDS,
    READING_WORDS,
    Marks,
    end_words,
    numbers_in_order,
    sensor_words,
)
from simrig.reports.ways import SMALL, Line, way_lines

_EDGE = 12.0
_BAND = 36.0
_STUB = 34.0
_CELL = (66.0, 84.0)
_RADIUS = 15.0
_LANE = 14.0
_LEADING = 15.0


def plan(profile: Profile, marks: Marks | None = None, *, width: float = 720) -> str:
    """Return the plan as an SVG document, ``width`` units wide and as high as need be.

    With ``marks`` it shows where the balls are and what each sensor reads,
    without them how each sensor is named and addressed.
    """
    return _Plan(profile, marks, max(320.0, width)).draw()


def strips(profile: Profile, marks: Marks | None = None, *, width: float = 340) -> list[str]:
    """Return the plan cut between its places, for paper: one SVG document for each piece.

    One below the other they show the same as the plan; ways from place to place
    end in words, not in lanes.
    """
    return _Plan(profile, marks, max(320.0, width)).cut()


@attrs.frozen(kw_only=True)
class _Lane:
    """A way from place to place that still has to be drawn: from where, and to which place."""

    start: tuple[float, float]
    to: str


class _Plan:
    def __init__(self, profile: Profile, marks: Marks | None, width: float) -> None:
        self.profile = profile
        self.marks = marks
        self.width = width
        self.field = next((place for place in profile.place if place.open_area), None)
        self.others = [place for place in profile.place if place is not self.field]
        field = self.field.id if self.field else None
        self.loops = [r for r in profile.route if r.from_ == field and set(r.to) == {field}]
        crossing = sum(
            len([end for end in route.to if end != field])
            for route in profile.route
            if route.from_ != field
        )
        self.left = _EDGE + (_BAND + _STUB if self.field else 0)
        self.right = width - _EDGE - (_LANE * min(crossing, 6) + 6 if crossing else 0)
        self.y = 0.0
        self.parts: list[str] = []
        self.lanes: list[_Lane] = []
        self.entries: dict[str, tuple[float, float]] = {}

    def draw(self) -> str:
        """Return the document."""
        self._head()
        top = self.y
        for place in self.others:
            self._group(place)
        self._all_loops()
        self._draw_lanes()
        if self.field is not None:
            self._band(self.field, top, self.y)
        self.y += 10
        self._legend()
        title = f"{self.profile.name}: places, ways and sensors"
        if self.marks and self.marks.title:
            title = f"{self.profile.name}: {self.marks.title}"
        return svg.document(self.width, self.y + 6, title, self.parts)

    def cut(self) -> list[str]:
        """Return a document for each place, one for the loops, and the legend."""
        self.right = self.width - _EDGE
        found = []
        pieces: list[tuple[str, Callable[[], None]]] = [
            (place.title, partial(self._group, place)) for place in self.others
        ]
        if self.loops:
            pieces.append(("ways from the playfield back to it", self._all_loops))
        for title, piece in pieces:
            self.parts, self.y = [], 0
            piece()
            if self.field is not None:
                self._band(self.field, -8, self.y + 8, cut=True)
            found.append(
                svg.document(self.width, self.y, f"{self.profile.name}: {title}", self.parts)
            )
        self.parts, self.y = [], 0
        self._legend()
        found.append(svg.document(self.width, self.y, "the signs", self.parts))
        return found

    def _all_loops(self) -> None:
        if not self.loops:
            return
        self._say("Ways from the playfield back to it", bold=True, gap=8)
        for route in self.loops:
            self._loop(route)
        self.y += 8

    def _head(self) -> None:
        self.y = 30
        words = svg.wrapped(self.profile.name, self.width - 2 * _EDGE, 20)
        for piece in words:
            self.parts.append(svg.text(_EDGE, self.y, piece, size=20, bold=True))
            self.y += 24
        if self.marks and self.marks.title:
            for piece in svg.wrapped(self.marks.title, self.width - 2 * _EDGE, 14):
                self.parts.append(svg.text(_EDGE, self.y - 3, piece))
                self.y += 18
        self.y += 2

    def _band(self, field: Place, top: float, bottom: float, *, cut: bool = False) -> None:
        high = bottom - top if cut else max(bottom - top, 90)
        self.y = self.y if cut else top + high
        middle = _EDGE + _BAND / 2 + 5
        title = field.title
        if self.marks:
            spots = tuple(f"{field.id}.{n}" for n in range(1, field.capacity + 1))
            count = self.marks.count(spots)
            title += f": {count} ball{'' if count == '1' else 's'}"
        turned = svg.text(
            0, 0, svg.shortened(title, high - 16, 15), size=15, anchor="middle", bold=True
        )
        self.parts.insert(0, svg.box(_EDGE, top, _BAND, high, fill=svg.WOOD))
        self.parts.append(
            f'<g transform="translate({svg.number(middle)} {svg.number(top + high / 2)}) '
            f'rotate(-90)">{turned}</g>'
        )

    def _group(self, place: Place) -> None:
        self.y += 10
        for piece in svg.wrapped(self._place_title(place), self.right - self.left, 15):
            self.parts.append(svg.text(self.left, self.y + 12, piece, size=15, bold=True))
            self.y += 18
        self.y += 4
        field = self.field.id if self.field else None
        coming = [r for r in self.profile.route if r.from_ == field and place.id in r.to]
        for route in coming:
            self._from_field(route, place)
        if coming:
            tip = self.left + 6
            self.parts.append(svg.arrow([(tip, self.y - 4), (tip, self.y + 8)]))
            self.y += 8
        self._seats(place)
        for route in self.profile.route:
            if route.from_ == place.id:
                self._going(route)
        self.y += 6

    def _place_title(self, place: Place) -> str:
        title = place.title
        if self.marks and not place.open_area:
            spots = tuple(f"{place.id}.{n}" for n in range(1, place.capacity + 1))
            title += f": {self.marks.count(spots)} of {place.capacity}"
        if place.captive:
            title += f" ({place.captive} captive, not counted)"
        return title

    def _seats(self, place: Place) -> None:
        if place.open_area:
            self.parts.append(svg.box(self.left, self.y, self.right - self.left, 26, fill=svg.WOOD))
            self.parts.append(
                svg.text(self.left + 10, self.y + 18, "open: any number of balls, in no order")
            )
            self.entries[place.id] = (self.right, self.y + 13)
            self.y += 34
            return
        spots = [
            (str(number), f"{place.id}.{number}")
            for number in numbers_in_order(place.capacity, place.position_1)
        ]
        if place.jam:
            spots.insert(0, ("top", f"{place.id}.jam"))
        room = self.right - self.left - 12
        cell = min(_CELL[1], max(_CELL[0], room / len(spots)))
        fits = max(1, int(room // cell))
        rows = [spots[i : i + fits] for i in range(0, len(spots), fits)]
        near, far = end_words(place.capacity, place.position_1)
        across = 12 + cell * min(fits, len(spots))
        if near:
            longest = max(svg.width_of(near, 12) + svg.width_of(far, 12) + 60, across)
            across = min(longest, self.right - self.left)
        cells = [
            [(label, spot, self._cell_words(spot, cell)) for label, spot in row] for row in rows
        ]
        if near and len(rows) > 1:
            # The row goes on below: the far end is at the last of its positions.
            far = f"{far}, after position {rows[-1][-1][0]}"
        heights = [48 + _LEADING * max(len(words) for _, _, words in row) for row in cells]
        ends = 20 if near else 4
        self.parts.append(
            svg.box(
                self.left,
                self.y,
                across,
                ends + sum(heights) + 4 + (16 if near and len(rows) > 1 else 0),
                fill=svg.WOOD,
            )
        )
        self.entries[place.id] = (self.left + across, self.y + ends + 22)
        if near:
            self._ends(near, far, across, rows=len(rows))
        y = self.y + ends
        for row, high in zip(cells, heights, strict=True):
            for index, (label, spot, words) in enumerate(row):
                x = self.left + 6 + cell * (index + 0.5)
                self._seat(x, y + 20, label, spot, words)
            y += high
        if near and len(rows) > 1:
            y += 16
            self.parts.append(svg.text(self.left + across - 8, y - 4, far, size=12, anchor="end"))
        self.y = y + 10

    def _ends(self, near: str, far: str, across: float, *, rows: int) -> None:
        base = self.y + 15
        known = near == "exit end"
        words = f"← {near}" if known else near
        self.parts.append(svg.text(self.left + 8, base, words, size=12, bold=known))
        if rows > 1:
            return
        room = across - svg.width_of(words, 12) - 30
        self.parts.append(
            svg.text(
                self.left + across - 8, base, svg.shortened(far, room, 12), size=12, anchor="end"
            )
        )

    def _cell_words(self, spot: str, cell: float) -> list[str]:
        """The lines below a seat: what its sensors read and whether a ball is there."""
        lines: list[str] = []
        sensors = self.profile.covering.get(spot, ())
        for sensor in sensors:
            if self.marks is None:
                pieces = sensor_words(self.profile, sensor).replace(" row ", ", row ").split(", ")
            else:
                pieces = [READING_WORDS[self.marks.readings.get(sensor.id, "either")].upper()]
            for words in pieces:
                lines += svg.wrapped(words, cell - 4, SMALL)
        if not sensors:
            lines.append("no sensor")
        if self.marks is not None:
            lines.append(BALL_WORDS[self.marks.balls.get(spot, False)])
        return lines

    def _seat(self, x: float, y: float, label: str, spot: str, words: list[str]) -> None:
        ball = self.marks.balls.get(spot, False) if self.marks else False
        fill = svg.STEEL if ball else svg.PAPER
        for sensor in self.profile.covering.get(spot, ()):
            self._sensor_sign(self.profile.technology(sensor), x, y)
        self.parts.append(
            svg.circle(x, y, _RADIUS, fill=fill, wide=3 if ball else 1.5, dashed=ball is not True)
        )
        self.parts.append(svg.text(x, y + 5, label, anchor="middle", bold=True))
        for index, piece in enumerate(words):
            strong = piece.isupper()
            self.parts.append(
                svg.text(
                    x, y + 33 + _LEADING * index, piece, size=SMALL, anchor="middle", bold=strong
                )
            )

    def _sensor_sign(self, technology: str | None, x: float, y: float) -> None:
        if technology == "light":
            self.parts.append(svg.line(x, y - 20, x, y + 20, wide=2.5, stroke=svg.MARK))
        elif technology == "proximity":
            self.parts.append(svg.box(x - 9, y + 12, 18, 8, round_=2, stroke=svg.MARK))
        else:
            self.parts.append(svg.line(x - 13, y + 18, x + 13, y + 18, wide=3, stroke=svg.MARK))

    def _from_field(self, route: Route, place: Place) -> None:
        start = _EDGE + _BAND
        self.parts.append(svg.arrow([(start, self.y + 6), (self.left - 4, self.y + 6)]))
        self._write(
            way_lines(self.profile, route, self.marks, self.right - self.left - 4), self.left
        )

    def _loop(self, route: Route) -> None:
        start = _EDGE + _BAND
        lines = way_lines(self.profile, route, self.marks, self.right - self.left - 4)
        turn = self.left - 8
        back = self.y + 6 + max(10, _LEADING * (len(lines) - 1))
        self.parts.append(
            svg.arrow([(start, self.y + 6), (turn, self.y + 6), (turn, back), (start, back)])
        )
        self._write(lines, self.left)
        self.y = max(self.y, back + 8)

    def _going(self, route: Route) -> None:
        """The ways out of a place: to the playfield at the left, to other places by a lane."""
        field = self.field.id if self.field else None
        for target in route.to:
            if target == field:
                lines = way_lines(self.profile, route, self.marks, self.right - self.left - 4)
                self.parts.append(
                    svg.arrow([(self.left - 4, self.y + 6), (_EDGE + _BAND, self.y + 6)])
                )
                self._write(lines, self.left)
                continue
            row = self.profile.row("place", target)
            room = self.right - self.left - 24
            lines = way_lines(self.profile, route, self.marks, room, row.title)
            end = self.left + svg.width_of(lines[0].words, 13) + 4
            self.lanes.append(_Lane(start=(min(end, self.right - 4), self.y + 6), to=target))
            self._write(lines, self.left)

    def _write(self, lines: list[Line], x: float) -> None:
        for piece in lines:
            fill = svg.SOFT if piece.size == SMALL else svg.INK
            self.parts.append(svg.text(x, self.y + 10, piece.words, size=piece.size, fill=fill))
            self.y += _LEADING
        self.y += 4

    def _draw_lanes(self) -> None:
        for index, lane in enumerate(self.lanes):
            x = self.right + 8 + _LANE * (index % 6)
            end = self.entries.get(lane.to)
            if end is None:
                continue
            x1, y1 = lane.start
            self.parts.append(svg.arrow([(x1, y1), (x, y1), (x, end[1]), (end[0] + 1, end[1])]))

    def _say(self, words: str, *, bold: bool = False, gap: float = 0) -> None:
        self.y += gap
        self.parts.append(svg.text(self.left, self.y + 12, words, size=15, bold=bold))
        self.y += 24

    def _legend(self) -> None:
        technologies = {
            self.profile.technology(sensor) for sensor in self.profile.sensor if sensor.spots
        }
        x, y = _EDGE + 12, self.y + 22
        signs = (
            ("light", "a beam"),
            ("contact", "a contact"),
            ("proximity", "an inductive sensor"),
        )
        for technology, words in signs:
            if technology not in technologies:
                continue
            self._sensor_sign(technology, x, y - 2)
            self.parts.append(svg.circle(x, y, 10))
            self.parts.append(svg.text(x + 20, y + 5, words, size=SMALL))
            x += 44 + svg.width_of(words, SMALL)
        self.y = y + 26
        if self.marks:
            self.parts.append(
                svg.text(
                    _EDGE,
                    self.y + 10,
                    "Thick grey: a ball. Broken outline: none, or not sure.",
                    size=SMALL,
                )
            )
            self.y += 16
