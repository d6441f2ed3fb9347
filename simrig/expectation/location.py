"""Where the balls are, trusting the readings.

Every settled way the balls can lie that gives exactly these readings, and for
balls that no position accounts for every spot where one can be without
changing a reading.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import attrs

from simrig.expectation.observation import Observation
from simrig.profile.layout import REST, Place
from simrig.profile.machine import Profile
from simrig.scan.circuit import sneaking
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings
from simrig.signals import FLICKERS
from simrig.world.balls import Placement, count_by_place, settled
from simrig.world.phases import Conditions, mechanism_states, phase_of
from simrig.world.worlds import worlds

MISSING_ODDS = 0.05
"""How likely one ball more is missing, against none: common practice, no source."""


@attrs.frozen(kw_only=True)
class Found:
    """One way the balls can lie.

    ``missing`` balls are at none of these positions; each can be at any of
    ``missing_at`` (spots, unwatched places, routes) or out of the machine.
    """

    at: Mapping[str, int]
    spots: tuple[str, ...]
    missing: int
    missing_at: tuple[str, ...]
    probability: float


@attrs.frozen(kw_only=True)
class Location:
    """Every way the balls can lie, likeliest first; ``complete`` if all can be accounted for."""

    placements: tuple[Found, ...]
    complete: bool


def locate(
    profile: Profile,
    observation: Observation,
    conditions: Conditions,
    *,
    table: Links | None = None,
) -> Location:
    """Find the balls; ``conditions.balls`` is how many are in the machine (all installed).

    A phase allows as many loose balls as its rows do; without one, a loose ball
    counts as missing.  Raises ValueError for conditions that cannot be.
    """
    table = table or links(profile)
    candidates = tuple(_candidates(profile, table, observation, conditions))
    if not candidates:
        return Location(placements=(), complete=False)
    frame = readings(profile, table, worlds(profile, candidates))
    allowed = agreeing(frame, observation)
    chosen = [one for index, one in enumerate(candidates) if allowed >> index & 1]
    weights = [MISSING_ODDS**one.missing for one in chosen]
    total = sum(weights)
    found = [
        Found(
            at=count_by_place(profile, placement),
            spots=tuple(name for name in profile.spots if name in placement.spots),
            missing=placement.missing,
            missing_at=_hiding(profile, table, observation, placement) if placement.missing else (),
            probability=weight / total,
        )
        for placement, weight in zip(chosen, weights, strict=True)
    ]
    found.sort(key=lambda one: (one.missing, -one.probability))
    return Location(placements=tuple(found), complete=any(not one.missing for one in found))


def together(locations: Sequence[Location]) -> tuple[Location, ...]:
    """Leave of each sheet what the others allow: as many balls are missing from one as from all."""
    shared = frozenset.intersection(
        *(frozenset(one.missing for one in location.placements) for location in locations)
    )
    found = []
    for location in locations:
        left = [one for one in location.placements if one.missing in shared]
        total = sum(one.probability for one in left)
        found.append(
            Location(
                placements=tuple(
                    attrs.evolve(one, probability=one.probability / total) for one in left
                ),
                complete=0 in shared,
            )
        )
    return tuple(found)


def agreeing(frame: Frame, observation: Observation) -> int:
    """Return the worlds in which every reading that was seen can be; flickers say nothing."""
    allowed = frame.everything
    for name, seen in observation.looked_at().items():
        if seen != FLICKERS:
            allowed &= ~frame.disagrees(name, seen)
    return allowed


def home_places(profile: Profile) -> tuple[Place, ...]:
    """The places where balls settle in some phase, or where a sensor watches them; in order."""
    named = {
        name
        for phase in profile.phase
        for row in phase.placements
        for name, balls in row.items()
        if balls == REST or balls != 0
    }
    return tuple(
        place
        for place in profile.place
        if not place.open_area
        and not place.captive
        and (
            place.id in named
            or any(f"{place.id}.{n}" in profile.covering for n in range(1, place.capacity + 1))
        )
    )


def _candidates(
    profile: Profile, table: Links, observation: Observation, conditions: Conditions
) -> Iterator[Placement]:
    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    states = tuple(
        dict(mechanism_states(profile, None)).items()
        if not conditions.states
        else (
            dict(mechanism_states(profile, None))
            | {name: frozenset((state,)) for name, state in conditions.states.items()}
        ).items()
    )
    if conditions.spots is not None:
        missing = max(0, balls - len(conditions.spots))
        yield Placement(spots=conditions.spots, states=states, missing=missing)
        return
    loose = _loose(profile, conditions)
    field = next((place.id for place in profile.place if place.open_area), None)
    possible = {place.id: _numbers(profile, table, observation, place) for place in profile.place}
    for counts in compositions(profile, home_places(profile), balls, conditions.at or {}, possible):
        left = balls - sum(counts.values())
        here = dict(counts)
        if field is not None and min(left, loose):
            here[field] = min(left, loose)
        for placement in settled(profile, here, missing=left - here.get(field or "", 0)):
            yield attrs.evolve(placement, states=states)


def _numbers(
    profile: Profile, table: Links, observation: Observation, place: Place
) -> frozenset[int]:
    """Return how many balls a place can hold by the sensors that watch nothing else.

    Their readings are their own where no way round leads past them in the matrix.
    """
    lost = any(sensor.address is None for sensor in profile.sensor)
    around = sneaking(table.circuit)
    if place.open_area or place.captive or (lost and around):
        return frozenset(range(place.capacity + 1))
    own = {
        sensor.id
        for number in range(1, place.capacity + 1)
        for sensor in profile.covering.get(f"{place.id}.{number}", ())
        if sensor.id not in around
        and all(profile.spots[spot].place == place.id for spot in sensor.spots)
    }
    seen = {name: read for name, read in observation.looked_at().items() if name in own}
    found = set()
    for number in range(place.capacity + 1):
        ways = worlds(profile, settled(profile, {place.id: number}))
        frame = readings(profile, table, ways)
        if agreeing(frame, Observation(readings=seen)):
            found.add(number)
    return frozenset(found)


def compositions(
    profile: Profile,
    places: tuple[Place, ...],
    balls: int,
    seen: Mapping[str, int],
    possible: Mapping[str, frozenset[int]] | None = None,
) -> Iterator[dict[str, int]]:
    """Yield every way up to this number of balls can be shared out among places.

    ``seen`` fixes the number at some of them, ``possible`` says which others can be.
    """
    for name in seen:
        if profile.row("place", name) is None:
            raise ValueError(f'there is no place called "{name}"')
    chosen = [
        *places,
        *(place for place in profile.place if place.id in seen and place not in places),
    ]

    def share(index: int, left: int) -> Iterator[dict[str, int]]:
        if index == len(chosen):
            yield {}
            return
        place = chosen[index]
        fixed = seen.get(place.id)
        numbers = range(min(place.capacity, left) + 1) if fixed is None else (fixed,)
        for number in numbers:
            ruled_out = possible is not None and number not in possible[place.id]
            if number <= min(place.capacity, left) and not ruled_out:
                for rest in share(index + 1, left - number):
                    yield {place.id: number, **rest} if number else rest

    yield from share(0, balls)


def _loose(profile: Profile, conditions: Conditions) -> int:
    if conditions.phase is None:
        return 0
    field = next((place.id for place in profile.place if place.open_area), None)
    most = 0
    for row in phase_of(profile, conditions.phase).placements:
        balls = row.get(field or "", 0)
        high = (
            20
            if balls == REST
            else balls
            if isinstance(balls, int)
            else int(str(balls).partition("-")[2])
        )
        most = max(most, high)
    return most


def _hiding(
    profile: Profile, table: Links, observation: Observation, placement: Placement
) -> tuple[str, ...]:
    spots = [
        spot
        for spot in profile.spots.values()
        if spot.id not in placement.spots and _can_hide(profile, placement, spot.id)
    ]
    ways = tuple(attrs.evolve(placement, spots=placement.spots | {spot.id}) for spot in spots)
    if not ways:
        return ()
    frame = readings(profile, table, worlds(profile, ways))
    allowed = agreeing(frame, observation)
    named = [
        _hiding_name(profile, spot.id) for index, spot in enumerate(spots) if allowed >> index & 1
    ]
    return tuple(dict.fromkeys(named))


def _can_hide(profile: Profile, placement: Placement, spot_id: str) -> bool:
    spot = profile.spots[spot_id]
    if spot.place is None or spot_id.endswith(".jam"):
        return True
    place = profile.row("place", spot.place)
    if place.captive:
        return False
    if place in home_places(profile):
        return False
    if place.open_area:
        return True
    lying = count_by_place(profile, placement).get(place.id, 0)
    if place.position_1 is None:
        return True
    return spot.position == lying + 1


def _hiding_name(profile: Profile, spot_id: str) -> str:
    spot = profile.spots[spot_id]
    place = profile.row("place", spot.place)
    if place is not None and place.open_area:
        return str(place.id)
    return str(spot.route) if spot_id.endswith(".way") else spot_id
