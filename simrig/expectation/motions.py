"""The moves of a machine in time, made once for each number of balls at both ends."""

from __future__ import annotations

from simrig.expectation.geometry import Allowance, Geometry
from simrig.expectation.making import Maker
from simrig.expectation.passes import Motion
from simrig.expectation.transfers import ends
from simrig.profile.machine import Profile
from simrig.scan.sampling import Sampling
from simrig.world.balls import Placement, count_by_place
from simrig.world.moves import Move


def sampling_of(
    profile: Profile, *, period_ms: float | None = None, equal_readings: int | None = None
) -> Sampling | None:
    """Return how the controller reads a switch, as stated here or by the profile; None: unknown."""
    scan = profile.scan
    period = period_ms if period_ms is not None else (scan.period_ms if scan else None)
    readings = equal_readings
    if readings is None and scan is not None:
        readings = scan.debounce_readings
    if period is None or readings is None:
        return None
    return Sampling(period_ms=period, equal_readings=readings)


class Motions:
    """The moves of one machine in time; nothing in it changes but what it remembers."""

    def __init__(
        self,
        profile: Profile,
        *,
        sampling: Sampling | None,
        allowance: Allowance | None = None,
    ) -> None:
        self.profile = profile
        self.sampling = sampling
        self.geometry = Geometry(profile=profile, allowance=allowance or Allowance())
        self._made: dict[tuple[Move, int, int, frozenset[str] | None], Motion] = {}

    def of(self, placement: Placement, move: Move) -> Motion:
        """Return a move in time, from a placement in which it can be made."""
        counts = count_by_place(self.profile, placement)
        source, target = ends(self.profile, move)
        state = dict(placement.states).get(move.subject) if move.verb == "set" else None
        return self.between(move, counts.get(source or "", 0), counts.get(target or "", 0), state)

    def between(
        self, move: Move, leaving: int, arriving: int, state: frozenset[str] | None = None
    ) -> Motion:
        """Return a move in time, by the balls at the place it leaves and at that it reaches.

        ``state`` is how a mechanism stands before it is set.
        """
        key = (move, leaving, arriving, state)
        found = self._made.get(key)
        if found is None:
            maker = Maker(self.geometry, self.sampling, move)
            found = self._made[key] = maker.make(leaving, arriving, state)
        return found
