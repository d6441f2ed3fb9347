"""A run as a recorder would write it: one drawing from the windows of the flow, then the scan.

Without a seed everything happens at its typical time; with one each time, speed and
rebound is drawn within its window, and the scan starts anywhere in its cycle.  The
same seed gives the same log.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Iterator
from typing import Final

import attrs

from simrig.expectation.flow import coil_events, moved
from simrig.expectation.motions import Motions
from simrig.expectation.passes import START, Motion
from simrig.expectation.prediction import watched
from simrig.expectation.timeline import changes, worked_at_rest
from simrig.profile.machine import Profile
from simrig.scan.events import Event
from simrig.scan.sampling import Sampling
from simrig.scan.scanner import Links
from simrig.signals import EITHER
from simrig.world.balls import Placement
from simrig.world.moves import Move
from simrig.world.spans import Span

LONGEST_MS: Final = 5000.0
PAUSE_MS: Final = 2500.0
REBOUND_MS: Final = (30.0, 200.0)


Segments = dict[str, list[tuple[float, str]]]
"""For each sensor when its reading changes, in order, and to what."""


@attrs.frozen
class _Edge:
    """A sensor that begins, or ceases, to be worked."""

    time_ms: float
    sensor: str
    worked: bool


class Recorder:
    """Draws runs of one machine; ``seed`` None: typical times.

    ``shaken`` is the table of links as it is at times, where a fault comes and goes:
    for moments after each move has started, as a kick's shocks would have it.
    """

    def __init__(
        self,
        motions: Motions,
        table: Links,
        *,
        seed: int | None = None,
        shaken: Links | None = None,
    ) -> None:
        self.motions = motions
        self.table = table
        self.shaken = shaken
        self._seed = seed
        self.starts: tuple[float, ...] = ()
        """When each move of the last record started, in ms."""
        self._random = None if seed is None else random.Random(seed)

    def record(self, placement: Placement, moves: Iterable[Move]) -> tuple[Event, ...]:
        """Return the log of moves made one after the other, from balls at rest.

        It starts with every reading.  Raises IllegalMoveError, in words, at the first
        move that cannot be made.
        """
        profile = self.motions.profile
        edges: list[_Edge] = []
        coils: list[Event] = []
        start = worked_at_rest(profile, placement)
        now = PAUSE_MS
        starts: list[float] = []
        for move in moves:
            starts.append(now)
            motion = self.motions.of(placement, move)
            placement = moved(profile, placement, move)
            coils.extend(
                Event(time_ms=one.typical_ms, signal=one.signal, reading=one.reading)  # type: ignore[arg-type]
                for one in coil_events(motion, now, 0)
            )
            made = list(self._edges(motion, now))
            edges += made
            now = max([now, *(edge.time_ms for edge in made)])
            now += PAUSE_MS * (1.0 if self._random is None else self._random.uniform(1.0, 2.0))
        self.starts = tuple(starts)
        edges.sort(key=lambda edge: edge.time_ms)
        events = [*coils, *self._scanned(profile, start, edges)]
        events.sort(key=lambda event: event.time_ms or 0.0)
        return tuple(events)

    def _edges(self, motion: Motion, at_ms: float) -> Iterator[_Edge]:
        begins: list[float] = []
        for number, one in enumerate(motion.passes):
            since = at_ms if one.after == START else begins[one.after]
            begin = since + self._drawn(one.wait_ms)
            begins.append(begin)
            length = math.inf if one.length_ms is None else self._drawn(one.length_ms)
            if length == 0 or (one.reason == "hand" and self._random is None):
                continue
            if one.reason and self._random is not None and self._random.random() < 0.3:
                # A gap or a fast ball that nobody sees.
                continue
            if one.length_ms is None and one.reason == "unknown":
                continue
            yield _Edge(begin, one.sensor, one.worked)
            if not math.isinf(length):
                yield _Edge(begin + length, one.sensor, not one.worked)
            elif number == motion.rest and one.worked and self._random is not None:
                yield from self._rebounds(one.sensor, begin)

    def _rebounds(self, sensor: str, since_ms: float) -> Iterator[_Edge]:
        """A ball that has arrived may roll off its sensor and on again."""
        assert self._random is not None
        if self._random.random() < 0.7:
            return
        off = since_ms + self._random.uniform(60.0, 400.0)
        yield _Edge(off, sensor, False)
        yield _Edge(off + self._random.uniform(*REBOUND_MS), sensor, True)

    def _drawn(self, span: Span) -> float:
        # A ball may take for ever where little is known; a run that is recorded does not.
        typical = min(span.typical, max(span.low, LONGEST_MS))
        if self._random is None:
            return typical
        high = min(span.high, max(2 * typical, 1.5 * span.low))
        # Towards the ends, where mistakes in a judgement would show.
        return span.low + (high - span.low) * self._random.betavariate(0.8, 1.6)

    def _read(
        self,
        profile: Profile,
        table: Links,
        start: dict[str, bool | None],
        edges: list[_Edge],
    ) -> tuple[dict[str, str], Segments]:
        """Return every reading at the start, and each sensor's changes in time."""
        moving = changes(profile, table, start, [(one.sensor, one.worked) for one in edges])
        opening = dict(next(moving))
        raw: Segments = {}
        for edge, changed in zip(edges, moving, strict=True):
            for name, reading in changed:
                raw.setdefault(name, []).append((edge.time_ms, reading))
        return opening, raw

    def _moments(self) -> list[tuple[float, float]]:
        """Draw when a fault that comes and goes is there: a few times after each start."""
        drawn = random.Random(self._seed or 0)
        found = []
        for start in self.starts:
            since = start + drawn.uniform(8.0, 40.0)
            for _ in range(drawn.randint(1, 3)):
                until = since + drawn.uniform(12.0, 40.0)
                found.append((since, until))
                since = until + drawn.uniform(15.0, 40.0)
        return found

    def _scanned(
        self, profile: Profile, start: dict[str, bool | None], edges: list[_Edge]
    ) -> list[Event]:
        opening, raw = self._read(profile, self.table, start, edges)
        if self.shaken is not None:
            other = self._read(profile, self.shaken, start, edges)
            raw = _alternating(opening, raw, *other, self._moments())
        recorded = [
            sensor.id for sensor in profile.sensor if sensor.follows or sensor in watched(profile)
        ]
        sampling = self.motions.sampling
        period = 0.0 if sampling is None else sampling.period_ms
        phase = period / 2 if self._random is None else self._random.uniform(0.0, period)
        found = []
        for name in recorded:
            if opening[name] != EITHER:
                found.append(Event(time_ms=0.0, signal=name, reading=opening[name]))  # type: ignore[arg-type]
        for name, segments in raw.items():
            for time_ms, reading in scanned(opening[name], segments, sampling, phase):
                if reading != EITHER:
                    found.append(Event(time_ms=time_ms, signal=name, reading=reading))  # type: ignore[arg-type]
        return found


def _alternating(
    opening: dict[str, str],
    raw: Segments,
    other_opening: dict[str, str],
    other: Segments,
    moments: list[tuple[float, float]],
) -> Segments:
    """Return what is read where one table holds, but for the moments in which another does."""
    found: Segments = {}
    for name in opening:
        if raw.get(name) == other.get(name) and opening[name] == other_opening[name]:
            if name in raw:
                found[name] = raw[name]
            continue
        marks = sorted(
            [
                *((time, 0, reading) for time, reading in raw.get(name, ())),
                *((time, 1, reading) for time, reading in other.get(name, ())),
                *((since, 2, "shaken") for since, _ in moments),
                *((until, 2, "still") for _, until in moments),
            ]
        )
        states = [opening[name], other_opening[name]]
        shaken = 0
        last = opening[name]
        for time, which, what in marks:
            if which == 2:
                shaken = int(what == "shaken")
            else:
                states[which] = what
            if states[shaken] != last:
                last = states[shaken]
                found.setdefault(name, []).append((time, last))
    return found


def scanned(
    opening: str, segments: Iterable[tuple[float, str]], sampling: Sampling | None, phase_ms: float
) -> Iterator[tuple[float, str]]:
    """Yield when a controller takes a signal for changed: time in ms and reading.

    ``segments`` are the signal's changes in order of time.  It is read every period, a
    first time at ``phase_ms``, after the input filter; so many equal readings in a row
    make a change.
    """
    if sampling is None:
        yield from segments
        return
    period, wanted = sampling.period_ms, sampling.equal_readings
    passed = list(_filtered(opening, list(segments), sampling.filter_ms))
    state = candidate = opening
    row = 0
    for index, (since, reading) in enumerate(passed):
        until = passed[index + 1][0] if index + 1 < len(passed) else math.inf
        first = math.ceil((since - phase_ms) / period)
        ticks = math.inf if math.isinf(until) else math.ceil((until - phase_ms) / period) - first
        if ticks <= 0:
            continue
        if reading != candidate:
            candidate, row = reading, 0
        needed = wanted - row
        row = wanted if math.isinf(ticks) else row + int(ticks)
        if candidate != state and row >= wanted:
            state = candidate
            yield phase_ms + (first + needed - 1) * period, state


def _filtered(
    opening: str, segments: list[tuple[float, str]], filter_ms: float
) -> Iterator[tuple[float, str]]:
    """An input filter swallows what is shorter than itself and delays the rest."""
    state = opening
    for index, (since, reading) in enumerate(segments):
        until = segments[index + 1][0] if index + 1 < len(segments) else math.inf
        if until - since >= filter_ms and reading != state:
            state = reading
            yield since + filter_ms, reading
