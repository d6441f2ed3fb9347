"""From the readings of a log back to sensors that are worked, as far as that can be told."""

from __future__ import annotations

from functools import cached_property

from simrig.expectation.prediction import watched
from simrig.expectation.transfers import ordered
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value


class Contacts:
    """How the sensors of a machine read, and which readings another's can make.

    ``closed_when_worked`` holds the sensors whose reading tells whether they are
    worked; those whose polarity is not known, or at places whose order is not known,
    are in ``unjudged``.
    """

    def __init__(self, profile: Profile, table: Links | None = None) -> None:
        self.profile = profile
        self.table = table or links(profile)
        self.closed_when_worked: dict[str, bool] = {}
        self.unjudged: dict[str, str] = {}
        relevant = [
            *watched(profile), *(sensor for sensor in profile.sensor if sensor.follows)
        ]  # fmt: skip
        for sensor in relevant:
            chain = self.table.chains[sensor.id]
            worked = contact(chain, Value(1, 1), 1)
            rest = contact(chain, Value(0, 0), 1)
            if any(self._loose(spot) for spot in sensor.spots):
                self.unjudged[sensor.id] = "the order of its positions is not known"
            elif worked == (1, 1) and rest == (0, 0):
                self.closed_when_worked[sensor.id] = True
            elif worked == (0, 0) and rest == (1, 1):
                self.closed_when_worked[sensor.id] = False
            else:
                self.unjudged[sensor.id] = "how it reads when a ball works it is not known"
        self._masked: dict[frozenset[str], frozenset[str]] = {}
        self._read: dict[frozenset[str], dict[str, bool | None]] = {}

    def _loose(self, spot_id: str) -> bool:
        spot = self.profile.spots[spot_id]
        place = self.profile.row("place", spot.place)
        return place is not None and spot.resting and not ordered(place)

    def worked(self, sensor: str, closed: bool) -> bool:
        """Return whether a sensor is worked, by its reading."""
        return closed == self.closed_when_worked[sensor]

    @cached_property
    def open_to_phantoms(self) -> frozenset[str]:
        """The sensors whose reading other switches of the matrix can make: all, or none.

        One crossing without a diode lets the scan back into another column, and so to any row.
        """
        crossings = self.table.circuit.crossings
        if not any(one.backward is not None and one.backward.maybe for one in crossings):
            return frozenset()
        return frozenset(crossing.sensor for crossing in crossings)

    def reads_with(self, worked: frozenset[str]) -> dict[str, bool | None]:
        """Return whether each sensor open to phantoms reads closed while these are worked.

        None where that is not known.
        """
        found = self._read.get(worked)
        if found is None:
            states = {}
            for row in self.profile.sensor:
                value = Value(int(row.id in worked), int(row.id in worked))
                states[row.id] = contact(self.table.chains[row.id], value, 1)
            cells = scan(self.profile, self.table, states, 1).cells
            found = self._read[worked] = {
                name: bool(cells[name].surely) if cells[name].surely == cells[name].maybe else None
                for name in sorted(self.open_to_phantoms)
            }
        return found

    def masked(self, closed: frozenset[str]) -> frozenset[str]:
        """Return the sensors that the others' closed switches make read closed."""
        among = closed & self.open_to_phantoms
        if len(among) < 2:
            return frozenset()
        found = self._masked.get(among)
        if found is None:
            found = self._masked[among] = self._made_by_others(among)
        return found

    def _made_by_others(self, closed: frozenset[str]) -> frozenset[str]:
        """One world for each sensor, in which its own switch is open and those of the rest stay."""
        asked = sorted(self.open_to_phantoms)
        everything = (1 << len(asked)) - 1
        own = {name: 1 << index for index, name in enumerate(asked)}
        states = {}
        for row in self.profile.sensor:
            value = everything & ~own.get(row.id, 0) if row.id in closed else 0
            states[row.id] = Value(value, value)
        cells = scan(self.profile, self.table, states, everything).cells
        return frozenset(name for name in asked if cells[name].maybe & own[name])
