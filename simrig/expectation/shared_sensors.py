"""Sensors that watch several positions: what is left of a move's passes for them."""

from __future__ import annotations

from typing import Final

import attrs

from simrig.expectation.passes import Motion, Pass, Reason, at_any_time, can_be_seen, judged
from simrig.expectation.transfers import ordered
from simrig.profile.machine import Profile
from simrig.scan.sampling import Sampling
from simrig.world.balls import fill
from simrig.world.moves import Move
from simrig.world.spans import Span

SHARED: Final = "the sensor watches several positions"


class Passes:
    """The passes of a move while they are put together."""

    def __init__(
        self, profile: Profile, sampling: Sampling | None, passes: list[Pass], rest: int | None
    ) -> None:
        self.profile = profile
        self.sampling = sampling
        self.passes = passes
        self.rest = rest
        self._gaps: list[tuple[str, Span, Span]] = []

    def merge(self) -> None:
        """A ball that goes on from one position of a sensor to the next keeps it worked.

        From a point of a way to another, or to a position, it does where it may be at the
        second before it has left the first; the sensor may then clear between the two.
        """
        index = 1
        while index < len(self.passes):
            here = self.passes[index]
            before = next(
                (
                    number
                    for number, one in enumerate(self.passes[:index])
                    if one.sensor == here.sensor
                    and one.worked
                    and here.worked
                    and (self._next_to(one.spot, here.spot) or self._overlaps(number, index))
                ),
                None,
            )
            if before is None:
                index += 1
            else:
                self._join(before, index)

    def _join(self, first: int, second: int) -> None:
        begins = self._begins()
        here = self.passes[second]
        later = here.wait_ms if here.after == first else begins[second].less(begins[first])
        passes_by = self.passes[first].length_ms
        if passes_by is not None and not self._next_to(self.passes[first].spot, here.spot):
            self._gaps.append((here.sensor, passes_by, later.less(passes_by)))
        length = None if here.length_ms is None else later + here.length_ms
        no_doubt: tuple[Reason, str] = ("", "")
        reason, why = no_doubt if length is None else judged(length, self.sampling, touching=False)
        self.passes[first] = attrs.evolve(
            self.passes[first], spot=here.spot, length_ms=length, reason=reason, why=why
        )
        self._drop(second, first, later)

    def _drop(self, index: int, instead: int, later: Span) -> None:
        """Leave a pass out; what was counted from it is counted from another, later by so much."""
        del self.passes[index]
        for number, one in enumerate(self.passes):
            if one.after == index:
                wait = later + one.wait_ms
                self.passes[number] = attrs.evolve(one, after=instead, wait_ms=wait)
            elif one.after > index:
                self.passes[number] = attrs.evolve(one, after=one.after - 1)
        if self.rest is not None and self.rest >= index:
            self.rest = instead if self.rest == index else self.rest - 1
            if self.rest < 0:
                self.rest = None

    def _begins(self) -> tuple[Span, ...]:
        move = Move(verb="", subject="")
        return Motion(move=move, source=None, target=None, passes=tuple(self.passes)).begins

    def _next_to(self, one: str, other: str) -> bool:
        first, second = self.profile.spots.get(one), self.profile.spots.get(other)
        if first is None or second is None or first.number is None or second.number is None:
            return False
        same = (first.place, first.route) == (second.place, second.route)
        return same and abs(first.number - second.number) == 1

    def _overlaps(self, first: int, second: int) -> bool:
        """Whether a ball may be at the second spot before it has left the first."""
        lasts = self.passes[first].length_ms
        if lasts is None:
            return False
        here = self.passes[second]
        begins = self._begins()
        later = here.wait_ms if here.after == first else begins[second].less(begins[first])
        return later.low <= lasts.high

    def clear_between(self) -> None:
        """Where the sensor of two spots may clear between them, that may be seen or not."""
        for name, wait, length in self._gaps:
            index = next(
                (
                    number
                    for number, one in enumerate(self.passes)
                    if one.sensor == name and one.worked
                ),
                None,
            )
            if index is not None and can_be_seen(length, self.sampling):
                self.passes.append(
                    Pass(
                        sensor=name,
                        spot=self.passes[index].spot,
                        worked=False,
                        after=index,
                        wait_ms=wait,
                        length_ms=length,
                        reason="unknown",
                        why=SHARED,
                    )
                )

    def share(self, source: str | None, leaving: int, target: str | None, arriving: int) -> None:
        """A sensor of several positions changes only where the last of its balls comes or goes.

        Anything else that it shows is a gap between balls, which may be seen or not.
        """
        before: set[str] = set()
        after: set[str] = set()
        for name, balls, change in ((source, leaving, -1), (target, arriving, 1)):
            place = self.profile.row("place", name)
            if place is not None and ordered(place):
                before.update(fill(place, balls))
                after.update(fill(place, min(place.capacity, max(0, balls + change))))
        for name in dict.fromkeys(one.sensor for one in self.passes):
            spots = self.profile.row("sensor", name).spots
            if len(spots) > 1 and any(self.profile.spots[spot].resting for spot in spots):
                was, becomes = not before.isdisjoint(spots), not after.isdisjoint(spots)
                self._share_one(name, was, becomes)

    def _share_one(self, name: str, was: bool, becomes: bool) -> None:
        changed = was == becomes
        for index in reversed(range(len(self.passes))):
            one = self.passes[index]
            if one.sensor != name:
                continue
            if not changed and one.length_ms is None and one.worked == becomes:
                changed = True
            elif one.worked == was and one.after < index:
                self._drop(index, one.after, one.wait_ms)
            else:
                self.passes[index] = attrs.evolve(
                    one,
                    length_ms=one.length_ms or at_any_time(50.0),
                    reason=one.reason or "touching",
                    why=one.why or SHARED,
                )
