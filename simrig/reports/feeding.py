"""What must be seen while the balls are fed back one at a time, ball by ball."""

from __future__ import annotations

import attrs

from simrig.expectation.reasons import place_words
from simrig.profile.components import Sensor
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.reports.marks import numbers_in_order
from simrig.scan.scanner import Links, links, readings
from simrig.world.balls import settled
from simrig.world.worlds import worlds


@attrs.frozen(kw_only=True)
class Fed:
    """One ball fed into a place: what it passes, where it stops, what the place reads then.

    ``ball`` is 0 for the empty place.  ``readings`` are (sensor, reading) of the
    place, the one at the exit end first.
    """

    ball: int
    past: tuple[Sensor, ...]
    stops: str
    readings: tuple[tuple[Sensor, str], ...]

    def grouped(self) -> list[tuple[str, list[str]]]:
        """Return the sensors that read alike then, by the manual's number or their title."""
        found: dict[str, list[str]] = {}
        for sensor, reading in self.readings:
            named = sensor.title if sensor.number is None else f"no. {sensor.number}"
            found.setdefault(reading, []).append(named)
        return list(found.items())


def feeding_place(profile: Profile) -> Place | None:
    """Return the place into which balls are fed: the store, else the largest one with an order."""
    store: Place | None = profile.row("place", profile.balls.store)
    if store is not None:
        return store
    closed = [place for place in profile.place if not place.open_area and not place.captive]
    return max(closed, key=lambda place: place.capacity, default=None)


def feeding(profile: Profile, *, table: Links | None = None) -> tuple[Fed, ...]:
    """Return the steps for the place of :func:`feeding_place`, from empty to as full as it gets."""
    place = feeding_place(profile)
    if place is None or place.open_area:
        return ()
    table = table or links(profile)
    order = [f"{place.id}.{n}" for n in numbers_in_order(place.capacity, place.position_1)]
    watching = {spot: profile.covering.get(spot, ()) for spot in order}
    own = list({s.id: s for spot in order for s in watching[spot]}.values())
    if place.jam:
        own += [s for s in profile.covering.get(f"{place.id}.jam", ()) if s not in own]
    found = []
    for ball in range(min(profile.balls.installed, place.capacity) + 1):
        many = worlds(profile, settled(profile, {place.id: ball}))
        frame = readings(profile, table, many)
        known = place.position_1 is not None or place.capacity == 1
        stop = order[ball - 1] if ball and known else None
        past = [s for spot in reversed(order[ball:]) for s in watching[spot]] if ball else []
        stays = watching[stop] if stop else ()
        passed = {s.id: s for s in past if s not in stays}
        found.append(
            Fed(
                ball=ball,
                past=tuple(passed.values()) if known else (),
                stops=place_words(profile, stop) if stop else "" if not ball else place.title,
                readings=tuple((sensor, frame.reading(sensor.id)) for sensor in own),
            )
        )
    return tuple(found)
