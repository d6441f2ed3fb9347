"""Many placements at once: every value after them is an integer with one bit for each.

Bit *n* of a value speaks of placement *n*.  A value that may be unknown is a
pair: the worlds in which it is surely so, and those in which it may be so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import attrs

from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.world.balls import Placement, captive_spots


class Value(NamedTuple):
    """Worlds in which something is surely so, and in which it may be so; surely is within maybe."""

    surely: int
    maybe: int


@attrs.frozen(kw_only=True)
class Worlds:
    """Placements, and for each spot the worlds in which a ball is there."""

    placements: tuple[Placement, ...]
    occupied: Mapping[str, int]
    perhaps: Mapping[str, int]
    """Spots at which a ball may lie, unknown at which of them: a captive one, or one of a place
    of unknown order."""

    @property
    def everything(self) -> int:
        """The value that holds in every world."""
        return (1 << len(self.placements)) - 1

    def works(self, sensor: Sensor) -> Value:
        """Return where a ball, or its mechanism, works a sensor.

        Unknown causes give the
        pair (never surely, always maybe).
        """
        if sensor.follows:
            ((name, state),) = sensor.follows.items()
            return self._stands(name, state)
        if sensor.at is None:
            return Value(0, self.everything)
        surely = maybe = 0
        for spot in sensor.spots:
            surely |= self.occupied.get(spot, 0)
            maybe |= self.perhaps.get(spot, 0)
        return Value(surely, surely | maybe)

    def _stands(self, mechanism: str, state: str) -> Value:
        surely = maybe = 0
        for index, placement in enumerate(self.placements):
            for name, states in placement.states:
                if name == mechanism:
                    if state in states:
                        maybe |= 1 << index
                        if len(states) == 1:
                            surely |= 1 << index
                    break
            else:
                maybe |= 1 << index
        return Value(surely, maybe)


def worlds(profile: Profile, placements: Iterable[Placement]) -> Worlds:
    """Gather placements into worlds; captive balls are added in every one."""
    every = tuple(placements)
    bits: dict[str, bytearray] = {}
    doubtful: dict[str, bytearray] = {}
    size = (len(every) + 7) // 8
    for index, placement in enumerate(every):
        byte, bit = index >> 3, 1 << (index & 7)
        surely = placement.spots - placement.unsure if placement.unsure else placement.spots
        for rows, spots in ((bits, surely), (doubtful, placement.unsure)):
            for spot in spots:
                row = rows.get(spot)
                if row is None:
                    row = rows[spot] = bytearray(size)
                row[byte] |= bit
    occupied = {spot: int.from_bytes(row, "little") for spot, row in bits.items()}
    perhaps = {spot: int.from_bytes(row, "little") for spot, row in doubtful.items()}
    everything = (1 << len(every)) - 1
    captive, maybe = captive_spots(profile)
    for spot in captive:
        occupied[spot] = everything
    return Worlds(
        placements=every,
        occupied=occupied,
        perhaps=perhaps | dict.fromkeys(maybe, everything),
    )
