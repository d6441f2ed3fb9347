"""Balls in time: moves made one after the other, and what each sensor must do, and when.

A :class:`Flow` is where the balls are and how the machine is read.  It does not
change: a move returns the flow after it and the events in between, so that "what
if" is a step whose result is thrown away.  Each event is certain or optional, with a
window of time; an optional one says why it may go unseen.

Moves that overlap in time are taken each on its own: what two balls do to one beam
at once is not worked out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import attrs

from simrig.expectation.geometry import Allowance
from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.passes import Motion, Reason
from simrig.expectation.timeline import changes, worked_at_rest
from simrig.expectation.transfers import BACK, PICK, PUT, counts_after
from simrig.profile.machine import Profile
from simrig.scan.sampling import Sampling
from simrig.scan.scanner import Links, links
from simrig.world.balls import Placement, count_by_place, settled
from simrig.world.moves import Move, apply, parse
from simrig.world.spans import Span


@attrs.frozen(kw_only=True)
class Timed:
    """A move and when it starts."""

    move: Move
    at_ms: float = 0.0


@attrs.frozen(kw_only=True)
class FlowEvent:
    """A reading that changes, or a coil that fires, between two times in ms.

    ``typical_ms`` lies between them.  An event that is not ``certain`` may go unseen;
    ``reason`` (scan, touching, unknown, hand) says of what kind the doubt is, ``why`` in
    words.  ``reading`` is closed or open, on or off for a coil, either where a fact is
    unknown.  ``move`` is the number of the move, from 0.
    """

    earliest_ms: float
    typical_ms: float
    latest_ms: float
    signal: str
    reading: str
    reason: Reason = ""
    why: str = ""
    move: int = 0

    @property
    def certain(self) -> bool:
        """Whether it must be seen."""
        return not self.reason


@attrs.frozen(kw_only=True)
class Flow:
    """Where the balls are, and how the machine is read; never changed."""

    motions: Motions = attrs.field(eq=False, repr=False)
    table: Links = attrs.field(eq=False, repr=False)
    placement: Placement

    @classmethod
    def of(
        cls,
        profile: Profile,
        placement: Placement,
        *,
        table: Links | None = None,
        sampling: Sampling | None = None,
        allowance: Allowance | None = None,
    ) -> Flow:
        """Return the flow of a machine with its balls at a placement.

        ``sampling`` and ``table`` are the profile's own where they are left out.
        """
        return cls(
            motions=Motions(
                profile, sampling=sampling or sampling_of(profile), allowance=allowance
            ),
            table=table or links(profile),
            placement=placement,
        )

    @property
    def profile(self) -> Profile:
        """The machine."""
        return self.motions.profile

    def step(
        self, move: Move | str, *, at_ms: float = 0.0, number: int = 0
    ) -> tuple[Flow, tuple[FlowEvent, ...]]:
        """Make a move; return the flow when the balls lie again, and the events until then.

        Raises IllegalMoveError, in words, when it cannot be made.
        """
        if isinstance(move, str):
            move = parse(self.profile, move)
        after = moved(self.profile, self.placement, move)
        motion = self.motions.of(self.placement, move)
        events = [*coil_events(motion, at_ms, number), *self._events(motion, at_ms, number)]
        events.sort(key=lambda one: (one.typical_ms, one.earliest_ms))
        return attrs.evolve(self, placement=after), tuple(events)

    def run(self, moves: Iterable[Timed]) -> tuple[Flow, tuple[FlowEvent, ...]]:
        """Make moves in order of time; return the flow at the end and all events in order."""
        here = self
        events: list[FlowEvent] = []
        for number, timed in enumerate(moves):
            here, found = here.step(timed.move, at_ms=timed.at_ms, number=number)
            events.extend(found)
        events.sort(key=lambda one: (one.typical_ms, one.earliest_ms))
        return here, tuple(events)

    def _events(self, motion: Motion, at_ms: float, number: int) -> Iterable[FlowEvent]:
        edges = []
        for index, (begins, one) in enumerate(zip(motion.begins, motion.passes, strict=True)):
            edges.append((begins.typical, index, 0, begins, one.worked, one))
            if one.length_ms is not None:
                ends = begins + one.length_ms
                edges.append((ends.typical, index, 1, ends, not one.worked, one))
        edges.sort(key=lambda edge: edge[:3])
        delay = delay_of(self.motions.sampling)
        moving = changes(
            self.profile,
            self.table,
            worked_at_rest(self.profile, self.placement),
            [(edge[5].sensor, edge[4]) for edge in edges],
        )
        next(moving)
        for (_, _, _, when, _, one), changed in zip(edges, moving, strict=True):
            seen = when + delay
            for sensor, reading in changed:
                yield FlowEvent(
                    earliest_ms=at_ms + seen.low,
                    typical_ms=at_ms + seen.typical,
                    latest_ms=at_ms + seen.high,
                    signal=sensor,
                    reading=reading,
                    reason=one.reason,
                    why=one.why,
                    move=number,
                )


def delay_of(sampling: Sampling | None) -> Span:
    """Return the time from an edge until the controller takes it for one, in ms."""
    if sampling is None:
        return Span(0.0, 0.0, math.inf)
    least, greatest = sampling.delay_ms
    return Span(least, (least + greatest) / 2, greatest)


def coil_events(motion: Motion, at_ms: float, number: int) -> Iterable[FlowEvent]:
    """Yield the pulse of the coil that makes a move, if one does."""
    if motion.coil is None:
        return
    pulse = motion.pulse_ms
    ends = Span(0.0, 40.0, math.inf) if pulse is None else Span.exactly(pulse)
    for reading, when in (("on", Span.exactly(0.0)), ("off", ends)):
        yield FlowEvent(
            earliest_ms=at_ms + when.low,
            typical_ms=at_ms + when.typical,
            latest_ms=at_ms + when.high,
            signal=motion.coil,
            reading=reading,
            move=number,
        )


def moved(profile: Profile, placement: Placement, move: Move) -> Placement:
    """Return where the balls lie after a move, those of the table and those of a hand besides.

    Raises IllegalMoveError, in words, when it cannot be made.
    """
    if move.verb == PUT:
        return attrs.evolve(placement, spots=placement.spots | {move.subject})
    if move.verb == PICK:
        return attrs.evolve(placement, spots=placement.spots - {move.subject})
    if move.verb == BACK:
        counts = count_by_place(profile, placement)
        counts = counts_after(counts, move.subject, move.target)
        lying = next(settled(profile, counts, missing=placement.missing))
        return attrs.evolve(lying, states=placement.states)
    return apply(profile, placement, move)


def expected_events(
    profile: Profile,
    placement: Placement,
    moves: Iterable[Timed],
    *,
    table: Links | None = None,
    sampling: Sampling | None = None,
    allowance: Allowance | None = None,
) -> tuple[FlowEvent, ...]:
    """Return the events that moves in time give, in order of their typical times.

    Raises IllegalMoveError, in words, at the first move that cannot be made.
    """
    flow = Flow.of(profile, placement, table=table, sampling=sampling, allowance=allowance)
    return flow.run(moves)[1]
