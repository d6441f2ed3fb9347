"""A machine on the bench: move the balls by hand and read the sensors."""

from __future__ import annotations

from collections.abc import Mapping

from simrig.expectation.prediction import watched
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings
from simrig.world import moves
from simrig.world.balls import Placement, count_by_place
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds


class Rig:
    """A simulated machine that keeps its own state.

    It starts with the balls of the ``profile`` as the idle phase, or the given ``conditions``,
    have them.  A ``table`` of links with a fault in it makes a faulty machine.

    >>> rig = Rig(profile)                              # doctest: +SKIP
    >>> rig.do("serve"); rig.reading("trough-1")        # doctest: +SKIP
    """

    def __init__(
        self, profile: Profile, conditions: Conditions | None = None, *, table: Links | None = None
    ) -> None:
        self.profile = profile
        self._table = table or links(profile)
        found = legal_placements(profile, conditions or Conditions())
        if not found:
            raise ValueError("no legal position of the balls fits these conditions")
        self.placement: Placement = found[0]
        self.in_hand = 0

    def do(self, *steps: str) -> None:
        """Make moves one after the other; raises IllegalMoveError, in words, at the first that cannot
        be made."""
        for step in steps:
            move = moves.parse(self.profile, step)
            if move.verb == "feed" and not self.in_hand:
                raise moves.IllegalMoveError("no ball is in the hand; remove one first")
            self.placement = moves.apply(self.profile, self.placement, move)
            self.in_hand += (move.verb == "remove") - (move.verb == "feed")

    @property
    def balls(self) -> Mapping[str, int]:
        """The number of balls at each place that holds any."""
        return count_by_place(self.profile, self.placement)

    def frame(self) -> Frame:
        """Return all readings as they are now."""
        return readings(self.profile, self._table, worlds(self.profile, (self.placement,)))

    def reading(self, sensor: str) -> str:
        """Return one sensor's reading: closed, open, or either where a fact is unknown."""
        if self.profile.row("sensor", sensor) is None:
            raise ValueError(f'no sensor is called "{sensor}"')
        return self.frame().reading(sensor)

    def closed(self) -> tuple[str, ...]:
        """Return the ids of the ball sensors that read closed now, in profile order."""
        frame = self.frame()
        return tuple(
            sensor.id for sensor in watched(self.profile) if frame.reading(sensor.id) == "closed"
        )
