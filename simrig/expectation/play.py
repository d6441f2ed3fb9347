"""Play by the hour: moves as tables of edges, added up and sorted once.

The edges of a move are worked out once for each number of balls at both ends, and
packed into whole numbers: microseconds, signal, worked.  To make the move is to add
its starting time to each.  Where the balls lie is a number, and what can be done from there a
list, so that a decision is a look-up; what happens is put in order by one sort, or
merged where a controller reacts to each edge.

Typical times are taken, and each move on its own: what two balls do to one beam at
once, or a matrix without diodes makes of two switches, is the flow's to say.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import accumulate
from operator import add
from typing import Final

import attrs

from simrig.expectation.contacts import Contacts
from simrig.expectation.motions import Motions
from simrig.expectation.transfers import counts_after, ends
from simrig.profile.machine import Profile
from simrig.world.moves import Move

SIGNAL_BITS: Final = 10
SHIFT: Final = SIGNAL_BITS + 1
_SIGNAL: Final = (1 << SHIFT) - 1

Reaction = Callable[[int], Sequence[int] | None]
"""What a controller makes of an edge: packed edges to come, in order, or None."""


@attrs.frozen(kw_only=True)
class Play:
    """A drawn stretch of play: hits on playfield contacts, and decisions.

    ``hits`` are packed edges in order of time; a decision is a time in microseconds and
    a number that picks one of the moves that can be made then; they come in order.
    """

    hits: Sequence[int]
    decisions: Sequence[tuple[int, int]]


class Tables:
    """The moves of a machine as packed edges, made when they are first asked for."""

    def __init__(self, motions: Motions) -> None:
        profile = motions.profile
        self.profile: Profile = motions.profile
        self.signals = tuple(sensor.id for sensor in profile.sensor)
        self._codes = {name: code << 1 for code, name in enumerate(self.signals)}
        self._motions = motions
        self._moves = [
            Move(verb="take", subject=route.id, target=target if len(route.to) > 1 else None)
            for route in profile.route
            if not route.when
            for target in route.to
        ]
        self._edges: dict[tuple[Move, int, int], tuple[int, ...]] = {}
        self._numbers: dict[tuple[int, ...], int] = {}
        self._lying: list[tuple[int, ...]] = []
        self._steps: list[list[tuple[tuple[int, ...], int]] | None] = []
        self._delay = 0 if motions.sampling is None else round(1000 * motions.sampling.delay_ms[1])

    def code(self, sensor: str) -> int:
        """Return a sensor's part of a packed edge, not worked; ``| 1`` is worked."""
        return self._codes[sensor]

    def edges(self, move: Move, counts: Mapping[str, int]) -> tuple[int, ...]:
        """Return the packed edges of a move that starts at 0, in order."""
        source, target = ends(self.profile, move)
        key = (move, counts.get(source or "", 0), counts.get(target or "", 0))
        found = self._edges.get(key)
        if found is None:
            found = self._edges[key] = tuple(sorted(self._make(*key)))
        return found

    def _make(self, move: Move, leaving: int, arriving: int) -> Iterator[int]:
        motion = self._motions.between(move, leaving, arriving)
        for begins, one in zip(motion.begins, motion.passes, strict=True):
            if one.reason == "unknown" and one.length_ms is None:
                continue
            code = self._codes[one.sensor]
            time = self._delay + round(1000 * begins.typical)
            if one.length_ms is None:
                yield time << SHIFT | code | one.worked
            elif length := round(1000 * one.length_ms.typical):
                yield time << SHIFT | code | one.worked
                yield (time + length) << SHIFT | code | (not one.worked)

    def state(self, counts: Mapping[str, int]) -> int:
        """Return the number that stands for where the balls lie."""
        key = tuple(counts.get(place.id, 0) for place in self.profile.place)
        found = self._numbers.get(key)
        if found is None:
            found = self._numbers[key] = len(self._lying)
            self._lying.append(key)
            self._steps.append(None)
        return found

    def steps(self, state: int) -> list[tuple[tuple[int, ...], int]]:
        """Return what can be done from a state: the edges of each move, and the state after it."""
        found = self._steps[state]
        if found is None:
            names = [place.id for place in self.profile.place]
            counts = dict(zip(names, self._lying[state], strict=True))
            found = []
            for move in self._moves:
                if self._can_be_made(move, counts):
                    after = self.state(counts_after(counts, *ends(self.profile, move)))
                    found.append((self.edges(move, counts), after))
            self._steps[state] = found
        return found

    def _can_be_made(self, move: Move, counts: Mapping[str, int]) -> bool:
        source, target = ends(self.profile, move)
        place = self.profile.row("place", target)
        return bool(counts.get(source or "")) and (
            source == target or counts.get(place.id, 0) < place.capacity
        )

    def readings(self, contacts: Contacts) -> list[str]:
        """Return the end of the row for each signal, not worked and worked, for :func:`rows`."""
        found = []
        for name in self.signals:
            closed = contacts.closed_when_worked.get(name, True)
            for worked in (False, True):
                found.append(f",{name},{'closed' if worked == closed else 'open'}\n")
        return found


def draw(
    tables: Tables, *, seconds: float, hits_each_s: float, decision_each_s: float, seed: int
) -> Play:
    """Draw a stretch of play; the same seed gives the same."""
    drawn = random.Random(seed)
    # Gaps between independent hits are exponential; a thousand of them stand for all.
    scale = [drawn.expovariate(1.0) for _ in range(1000)]
    contacts = [
        tables.code(sensor.id)
        for sensor in tables.profile.sensor
        if not sensor.spots and not sensor.follows and sensor.kind != "button"
    ]
    hits: list[int] = []
    if contacts and hits_each_s:
        waits = [max(1, round(1e6 * one / hits_each_s)) << SHIFT for one in scale]
        pulses = [(length << SHIFT) - 1 for length in range(8_000, 40_000, 250)]
        number = round(seconds * hits_each_s)
        times = accumulate(drawn.choices(waits, k=number))
        closes = list(map(add, times, drawn.choices([code | 1 for code in contacts], k=number)))
        hits = closes + list(map(add, closes, drawn.choices(pulses, k=number)))
        hits.sort()
    gaps = [max(1, round(1e6 * one / decision_each_s)) for one in scale]
    number = round(seconds * decision_each_s)
    moments = accumulate(drawn.choices(gaps, k=number))
    decisions = list(zip(moments, drawn.choices(range(1 << 20), k=number), strict=True))
    return Play(hits=hits, decisions=decisions)


def run(tables: Tables, counts: Mapping[str, int], play: Play) -> list[int]:
    """Return every edge of a stretch of play, in order; ``counts`` is where the balls lie."""
    state = tables.state(counts)
    found = list(play.hits)
    for time, pick in play.decisions:
        steps = tables.steps(state)
        if steps:
            edges, state = steps[pick % len(steps)]
            base = time << SHIFT
            found += [base + edge for edge in edges]
    found.sort()
    return found


def react(stream: Sequence[int], reaction: Reaction) -> list[int]:
    """Return the edges of a stream and of what a controller makes of them, in order.

    ``reaction`` is called with every edge, its own too, in order of time; what it
    returns must not lie before the edge.
    """
    came: list[int] = []
    end = (max(stream, default=0) + 1) << 50
    coming = [end]
    soonest = end
    for edge in stream:
        while soonest < edge:
            now = coming.pop()
            came.append(now)
            if more := reaction(now):
                coming += more
                coming.sort(reverse=True)
            soonest = coming[-1]
        if more := reaction(edge):
            coming += more
            coming.sort(reverse=True)
            soonest = coming[-1]
    while coming[-1] < end:
        now = coming.pop()
        came.append(now)
        if more := reaction(now):
            coming += more
            coming.sort(reverse=True)
    # Both runs are in order: one sort puts them together.
    found = [*stream, *came]
    found.sort()
    return found


def rows(edges: Sequence[int], readings: Sequence[str]) -> str:
    """Return edges as the rows of a CSV log with times in microseconds.

    ``readings`` are those of :meth:`Tables.readings`.
    """
    body = [f"{edge >> SHIFT}{readings[edge & _SIGNAL]}" for edge in edges]
    return "time_us,sensor,reading\n" + "".join(body)
