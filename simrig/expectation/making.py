"""How one move is built: the row that rolls on, the ball that leaves, its way, where it stops."""

from __future__ import annotations

from typing import Final

from simrig.expectation.geometry import HAND_SPEED_MM_S, Geometry
from simrig.expectation.passes import (
    START,
    Motion,
    Pass,
    Reason,
    at_any_time,
    can_be_seen,
    judged,
)
from simrig.expectation.shared_sensors import Passes
from simrig.expectation.transfers import BACK, PICK, PUT, ends, ordered
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.layout import Mechanism, Place, Route
from simrig.scan.sampling import Sampling
from simrig.world.balls import fill
from simrig.world.moves import Move
from simrig.world.spans import Span, speed_after, time_to

KICK_CLEARS_MS: Final = Span(0.0, 15.0, 100.0)
"""How long a kicked ball still stands in the way of those behind (common practice, no source)."""
LEAVES_MS: Final = Span(0.0, 50.0, 500.0)
"""The same for a ball that leaves by itself or by a plunger (common practice, no source)."""

HAND_TAKES_MS: Final = Span(0.0, 100.0, 700.0)
"""How long a hand is about to take a ball out (common practice, no source)."""
COMES_BACK_MS: Final = Span(0.0, 50.0, 2000.0)
"""How long a ball that comes back rolls from one sensor to the next (common practice, no source)."""

BY_HAND: Final = "in which order a hand moves balls, and how fast, is not known"
NO_ORDER: Final = "which end position 1 is at is not known"
COMES_BACK: Final = "how a ball came back is not known"


class Maker:
    """Builds the passes of one move."""

    def __init__(self, geometry: Geometry, sampling: Sampling | None, move: Move) -> None:
        self.profile = geometry.profile
        self.geometry = geometry
        self.allowance = geometry.allowance
        self.sampling = sampling
        self.move = move
        self.passes: list[Pass] = []
        self.rest: int | None = None

    def make(self, leaving: int, arriving: int, state: frozenset[str] | None) -> Motion:
        """Return the move, by the balls at both ends and the state of a mechanism."""
        profile, move = self.profile, self.move
        source, target = ends(profile, move)
        coil = None
        if move.verb == "set":
            coil = self._mechanism(state)
        elif move.verb == "take":
            route = profile.row("route", move.subject)
            coil = route.coil
            path = self._leave(profile.row("place", source), leaving, route)
            self._travel(path, route, profile.row("place", target), arriving)
        elif move.verb == "feed":
            place = profile.row("place", target)
            path = _Path(speed=HAND_SPEED_MM_S)
            self._arrive(path, place, arriving, Span.exactly(0.0))
        elif move.verb == "remove":
            self._taken(profile.row("place", source), leaving)
        elif move.verb == BACK:
            self._back(profile.row("place", source), leaving)
        else:
            for sensor in self._sensors(move.subject):
                self._add(
                    sensor, move.subject, worked=move.verb == PUT, wait=at_any_time(100.0),
                    length=None,
                )  # fmt: skip
        passes = Passes(profile, self.sampling, self.passes, self.rest)
        passes.merge()
        if move.verb not in (PUT, PICK):
            passes.share(source, leaving, target, arriving)
            passes.clear_between()
        row = profile.row("coil", None if coil == NONE else coil)
        return Motion(
            move=move,
            source=source,
            target=target,
            passes=tuple(passes.passes),
            coil=row.id if row else None,
            pulse_ms=row.pulse_ms if row else None,
            rest=passes.rest,
        )

    def _add(
        self,
        sensor: Sensor,
        spot: str,
        *,
        worked: bool,
        wait: Span,
        length: Span | None,
        after: int = START,
        touching: bool = False,
        doubt: tuple[Reason, str] = ("", ""),
    ) -> int:
        earliest, latest = self.allowance.earliest, self.allowance.latest
        reason, why = doubt
        if length is not None:
            length = length.widened(earliest, latest)
            if not reason:
                reason, why = judged(length, self.sampling, touching=touching)
        self.passes.append(
            Pass(
                sensor=sensor.id,
                spot=spot,
                worked=worked,
                after=after,
                wait_ms=wait.widened(earliest, latest),
                length_ms=length,
                reason=reason,
                why=why,
            )
        )
        return len(self.passes) - 1

    def _sensors(self, spot: str) -> tuple[Sensor, ...]:
        return self.profile.covering.get(spot, ())

    def _unordered(self, place: Place, worked: bool) -> None:
        """A ball comes to, or leaves, a place of which the order of positions is not known."""
        if place.open_area:
            return
        spots = [f"{place.id}.{number}" for number in range(1, place.capacity + 1)]
        for spot in spots:
            for sensor in self._sensors(spot):
                self._add(
                    sensor, spot, worked=worked, wait=at_any_time(200.0), length=None,
                    doubt=("unknown", NO_ORDER),
                )  # fmt: skip

    def _leave(self, place: Place, balls: int, route: Route) -> _Path:
        """The ball at the exit goes, and is returned; the row behind it rolls on by one position."""
        path = _Path(speed=self.geometry.route_speed(route))
        if not ordered(place):
            self._unordered(place, worked=False)
            return path
        clears = KICK_CLEARS_MS if route.by == "coil" else LEAVES_MS
        spots = fill(place, balls)
        for sensor in self._sensors(f"{place.id}.jam"):
            self._add(
                sensor, f"{place.id}.jam", worked=True, wait=at_any_time(20.0),
                length=at_any_time(20.0),
                doubt=("unknown", "the ball that is kicked may cross it or not"),
            )  # fmt: skip
        first = len(self.passes)
        self._row(place, spots, clears)
        if self._sensors(spots[0]):
            # It has gone some way already when its sensor sees it leave.
            path.after = first
            path.wait = Span(-clears.high, -clears.typical, -clears.low)
        return path

    def _row(self, place: Place, spots: tuple[str, ...], clears: Span) -> None:
        pitch = self.geometry.pitch_mm(place)
        pushed = self.geometry.place_acceleration(place)
        still = Span.exactly(0.0)

        def rolled(distance: Span) -> Span:
            return time_to(distance, still, pushed)

        for number, spot in enumerate(spots, start=1):
            last = number == len(spots)
            for sensor in self._sensors(spot):
                extent = self.geometry.extent_mm(sensor, place)
                half = extent.times(0.5)
                enters = rolled(pitch.less(half))
                if number == 1:
                    # The ball behind it comes after it has rolled up to this sensor.
                    length = None if last else (enters + clears).less(clears)
                    self._add(sensor, spot, worked=False, wait=clears, length=length)
                elif last:
                    self._add(sensor, spot, worked=False, wait=rolled(half) + clears, length=None)
                else:
                    gap = pitch.less(extent)
                    leaves = rolled(half)
                    length = Span(
                        0.0 if not gap.low else max(0.0, enters.low - leaves.high),
                        enters.typical - leaves.typical if gap.typical else 0.0,
                        max(0.0, enters.high - leaves.low),
                    )
                    if can_be_seen(length, self.sampling):
                        self._add(
                            sensor, spot, worked=False, wait=leaves + clears, length=length,
                            touching=True,
                        )  # fmt: skip

    def _travel(self, path: _Path, route: Route, target: Place, balls: int) -> None:
        pushed = self.geometry.route_acceleration(route)
        gone = Span.exactly(0.0)
        for number, distance in enumerate(self.geometry.point_distances(route), start=1):
            spot = f"{route.id}.{number}"
            gone = gone + distance
            self._meet(path, spot, None, distance, pushed, stays=False)
        left = self.geometry.route_length(route).less(gone)
        seats = target.capacity if not target.open_area else 1
        within = self.geometry.pitch_mm(target).times(float(seats))
        # Whether the way is measured to the place or to the last position is not stated.
        left = Span(max(0.0, left.low - within.high), left.typical, left.high)
        path.roll(left + path.behind, pushed)
        path.behind = Span.exactly(0.0)
        self._arrive(path, target, balls, left)

    def _arrive(self, path: _Path, place: Place, balls: int, left: Span) -> None:
        """The ball rolls past every empty position and stops behind those that lie there."""
        if place.open_area:
            return
        if not ordered(place):
            self._unordered(place, worked=True)
            return
        pushed = self.geometry.place_acceleration(place)
        pitch = self.geometry.pitch_mm(place)
        distance = Span(0.0, pitch.typical / 2, pitch.high)
        for spot in reversed(fill(place, place.capacity)[balls:]):
            stays = spot == fill(place, balls + 1)[-1]
            self._meet(path, spot, place, distance, pushed, stays=stays)
            distance = pitch
        self.rest = len(self.passes) - 1 if self.passes and not self.passes[-1].length_ms else None

    def _meet(
        self,
        path: _Path,
        spot: str,
        place: Place | None,
        distance: Span,
        pushed: Span,
        *,
        stays: bool,
    ) -> None:
        sensors = self._sensors(spot)
        if not sensors:
            path.roll(distance + path.behind, pushed)
            path.behind = Span.exactly(0.0)
            return
        way = distance + path.behind
        follows = path.copy()
        for number, sensor in enumerate(sensors):
            extent = self.geometry.extent_mm(sensor, place)
            half = extent.times(0.5)
            here = path.copy()
            here.roll(way.less(half), pushed)
            length = None if stays else time_to(extent, here.speed, pushed)
            index = self._add(
                sensor,
                spot,
                worked=True,
                wait=here.wait.less(Span.exactly(0.0)),
                length=length,
                after=path.after,
            )
            if number == 0:
                follows = _Path(speed=here.speed, after=index, behind=half)
        path.take(follows)

    def _taken(self, place: Place, balls: int) -> None:
        """A hand takes a ball; those behind move up somehow."""
        if not ordered(place):
            self._unordered(place, worked=False)
            return
        spots = fill(place, balls)
        for spot in spots:
            last = spot == spots[-1]
            for sensor in self._sensors(spot):
                self._add(
                    sensor, spot, worked=False, wait=HAND_TAKES_MS,
                    length=None if last else HAND_TAKES_MS,
                    doubt=("", "") if last else ("hand", BY_HAND),
                )  # fmt: skip

    def _back(self, place: Place, balls: int) -> None:
        """A ball comes out of a place where it went in, past the empty positions."""
        if not ordered(place):
            return
        after = START
        for spot in fill(place, place.capacity)[balls - 1 :]:
            first = after == START and not self.passes
            for sensor in self._sensors(spot):
                after = self._add(
                    sensor, spot, worked=not first, wait=COMES_BACK_MS,
                    length=None if first else COMES_BACK_MS, after=after,
                    doubt=("", "") if first else ("unknown", COMES_BACK),
                )  # fmt: skip
        route = next(
            (one for one in self.profile.route
             if place.id in one.to and one.from_ == self.move.target and one.points), None
        )  # fmt: skip
        for number in range(route.points or 0, 0, -1) if route else ():
            for sensor in self._sensors(f"{route.id}.{number}" if route else ""):
                after = self._add(
                    sensor, f"{route.id}.{number}" if route else "", worked=True,
                    wait=at_any_time(100.0), length=at_any_time(50.0), after=after,
                    doubt=("unknown", COMES_BACK),
                )  # fmt: skip

    def _mechanism(self, state: frozenset[str] | None) -> str | None:
        mechanism: Mechanism = self.profile.row("mechanism", self.move.subject)
        for sensor in self.profile.sensor:
            worked_in = (sensor.follows or {}).get(mechanism.id)
            if worked_in is None:
                continue
            worked = worked_in == self.move.target
            known = state is not None and len(state) == 1
            if known and (worked_in in (state or ())) == worked:
                continue
            self._add(
                sensor, "", worked=worked, wait=at_any_time(30.0), length=None,
                doubt=("", "") if known else ("unknown", "how it stood before is not known"),
            )  # fmt: skip
        if self.move.target == mechanism.rest:
            return mechanism.reset_coil
        return mechanism.coil


class _Path:
    """A ball on its way: its speed now, and the time since the pass that it is counted from."""

    def __init__(
        self,
        *,
        speed: Span,
        after: int = START,
        behind: Span | None = None,
        wait: Span | None = None,
    ) -> None:
        self.speed = speed
        self.after = after
        self.behind = behind or Span.exactly(0.0)
        self.wait = wait or Span.exactly(0.0)

    def copy(self) -> _Path:
        return _Path(speed=self.speed, after=self.after, behind=self.behind, wait=self.wait)

    def take(self, other: _Path) -> None:
        self.speed, self.after = other.speed, other.after
        self.behind, self.wait = other.behind, other.wait

    def roll(self, distance: Span, pushed: Span) -> None:
        self.wait = self.wait + time_to(distance, self.speed, pushed)
        self.speed = speed_after(distance, self.speed, pushed)
