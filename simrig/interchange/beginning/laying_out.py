"""Places, phases and switches put into a profile as answers come in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import attrs

from simrig.interchange.beginning.proposals import numbers, place_kind
from simrig.interchange.beginning.starting import identifier
from simrig.profile.checking import contradictions, row_faults
from simrig.profile.layout import Phase, Place
from simrig.profile.machine import Profile

TROUGH: Final = "trough"
STORE: Final = "locks and launchers fill first, as on most machines"
MORE_BALLS: Final = "more balls than switches: it is taken to hold them all"
BY_NAME: Final = "its name has this number, and others are left out"
ALL_HOME: Final = "all balls are taken to be home in the trough when no game is on"


def checked(profile: Profile) -> Profile:
    """Return the profile; raises ValueError, in words, for what no file may say."""
    for _, message, _ in contradictions(profile):
        raise ValueError(message)
    return profile


def changed_sensors(profile: Profile, changes: Mapping[str, Mapping[str, Any]]) -> Profile:
    """Return the profile with keys of some sensors changed, by the sensor's id."""
    return attrs.evolve(
        profile,
        sensor=tuple(
            attrs.evolve(sensor, **changes[sensor.id]) if sensor.id in changes else sensor
            for sensor in profile.sensor
        ),
    )


def without_assumption(row: Any, *names: str) -> Any:
    """Return a table of which some keys are no longer assumed."""
    left = {name: why for name, why in (row.assumed or {}).items() if name not in names}
    return attrs.evolve(row, assumed=left or None)


def with_assumption(row: Any, name: str, why: str) -> Any:
    """Return a table of which one key more is assumed."""
    return attrs.evolve(row, assumed={**(row.assumed or {}), name: why})


def place_of(profile: Profile, words: str) -> Place | None:
    """Return the place that words name, by its id or its name."""
    plain = identifier(words, "")
    for place in profile.place:
        if plain in (place.id, identifier(place.title, "")):
            return place
    return None


def with_place(
    profile: Profile,
    words: str,
    ids: Sequence[str | None],
    *,
    kind: str = "",
    seats: int = 0,
    captive: int | None = None,
) -> Profile:
    """Return the profile with one place more, its switches in order from the exit end.

    None stands for a position without a switch.  Where their names count down
    towards the far end, the positions keep those numbers; where there are fewer switches
    than positions and their names leave numbers out, they are taken to be at the positions
    of those numbers.  Raises ValueError for a switch that is at another position already.
    """
    for name in ids:
        if name is not None and profile.row("sensor", name).spots:
            spot = profile.row("sensor", name).spots[0]
            raise ValueError(f"{name} is at {spot} already; leave it out, or change the file")
    place_id = identifier(words, "place")
    if profile.row("place", place_id) is not None or profile.row("route", place_id) is not None:
        raise ValueError(f'a place or way called "{place_id}" is there already; say another name')
    seats = max(seats, len(ids), 1)
    known = {name: index for index, name in enumerate(ids) if name is not None}
    named = list(numbers(profile, tuple(known)))
    far = len(known) > 1 and named == [seats - index for index in known.values()]
    at: dict[str, dict[str, Any]] = {
        name: {"at": (f"{place_id}.{seats - index if far else index + 1}",)}
        for name, index in known.items()
    }
    if not far and None not in ids and _leave_out(named, seats):
        far = named[0] == seats
        for name, number in zip(known, named, strict=True):
            row = with_assumption(profile.row("sensor", name), "at", BY_NAME)
            at[name] = {"at": (f"{place_id}.{number}",), "assumed": row.assumed}
    place = Place(
        id=place_id,
        name=words if words != place_id.replace("-", " ") else None,
        kind=kind or place_kind(words),
        seats=seats,
        position_1=None if seats == 1 else "far end" if far else "exit end",
        captive=captive,
    )
    places = list(profile.place)
    field = next((n for n, one in enumerate(places) if one.open_area), len(places))
    places.insert(field, place)
    return changed_sensors(attrs.evolve(profile, place=tuple(places)), at)


def _leave_out(named: Sequence[int | None], seats: int) -> bool:
    """Whether names count the positions of a place from an end of it, and leave some out."""
    found = [number for number in named if number is not None]
    if len(found) < len(named) or not 1 < len(found) < seats:
        return False
    rising = sorted(set(found))
    if found == rising:
        return found[0] == 1 and len(found) < found[-1] <= seats
    return found == rising[::-1] and found[0] == seats


def with_jam(profile: Profile, name: str) -> Profile:
    """Return the profile with the sensor in front of which balls stack at the trough's kicker."""
    places = tuple(
        attrs.evolve(place, jam=True) if place.id == TROUGH else place for place in profile.place
    )
    changes = {name: {"at": (f"{TROUGH}.jam",)}}
    return changed_sensors(attrs.evolve(profile, place=places), changes)


def with_trough(profile: Profile, ids: Sequence[str | None], *, seats: int = 0) -> Profile:
    """Return the profile with its trough, the idle phase, and what is taken to be short."""
    installed = profile.balls.installed
    profile = with_place(profile, TROUGH, ids, kind="trough", seats=max(seats, installed))
    if max(len(ids), seats) < installed:
        profile = _changed_place(profile, TROUGH, "seats", MORE_BALLS)
    if profile.balls.store is None:
        balls = with_assumption(attrs.evolve(profile.balls, store=TROUGH), "store", STORE)
        profile = attrs.evolve(profile, balls=balls)
    if profile.row("phase", "idle") is None:
        sure = len(ids) >= installed and "installed" not in (profile.balls.assumed or {})
        idle = Phase(
            id="idle",
            name="no game, all balls home",
            placements=({TROUGH: "rest"},),
            assumed=None if sure else {"placements": ALL_HOME},
        )
        profile = attrs.evolve(profile, phase=(*profile.phase, idle))
    return profile


def _changed_place(profile: Profile, name: str, key: str, why: str) -> Profile:
    places = tuple(
        with_assumption(place, key, why) if place.id == name else place for place in profile.place
    )
    return attrs.evolve(profile, place=places)


def with_balls(profile: Profile, installed: int) -> Profile:
    """Return the profile with the number of balls known, and room for them in the trough."""
    balls = without_assumption(attrs.evolve(profile.balls, installed=installed), "installed")
    profile = attrs.evolve(profile, balls=balls)
    trough = profile.row("place", TROUGH)
    if trough is not None and trough.capacity < installed:
        wider = with_assumption(attrs.evolve(trough, seats=installed), "seats", MORE_BALLS)
        places = tuple(wider if place.id == TROUGH else place for place in profile.place)
        profile = attrs.evolve(profile, place=places)
    return profile


def with_phase(profile: Profile, phase: Phase) -> Profile:
    """Return the profile with one phase more; raises ValueError when its balls do not add up."""
    for row in phase.placements:
        for message in row_faults(profile, phase, row):
            raise ValueError(message)
    return attrs.evolve(profile, phase=(*profile.phase, phase))
