"""Ball faults: the readings are right, the balls lie otherwise than the phase has them.

Each selects other placements.  One that cannot happen where no ball is to move
leaves them as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Final

import attrs

from simrig.faults.candidates import Fault
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.world.balls import Placement
from simrig.world.passing import one_passing
from simrig.world.phases import Conditions, legal_placements


def placements_with(
    profile: Profile, conditions: Conditions, faults: Iterable[Fault], *, passing: bool = False
) -> tuple[Placement, ...]:
    """Return the legal placements under ball faults, without doubles.

    ``passing`` takes the picture while one ball moves.  What the eye saw
    (``conditions.seen_only``) is certain: no ball fault changes it.
    """
    chosen = tuple(faults)
    if conditions.seen_only:
        return tuple(dict.fromkeys(_watched_spots(profile, legal_placements(profile, conditions))))
    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    hung = [fault.part for fault in chosen if fault.kind.id == "ball-hung"]
    for fault in chosen:
        balls += {"ball-missing": -1, "ball-extra": 1, "ball-hung": -1}.get(fault.kind.id, 0)
    hung = hung[: len(hung) + balls] if balls < 0 else hung
    found: list[Placement] = list(
        legal_placements(profile, attrs.evolve(conditions, balls=max(balls, 0)))
    )
    for route in hung:
        found = [
            attrs.evolve(placement, spots=placement.spots | {spot})
            for placement in found
            for spot in _on_route(profile, route)
            if spot not in placement.spots
        ]
    for fault in chosen:
        shape = SHAPES.get(fault.kind.id)
        if shape is not None:
            place = profile.row("place", fault.part)
            found = [
                changed
                for placement in found
                for changed in _or_same(shape(placement, place), placement)
            ]
    if passing:
        found = [
            moved
            for placement in found
            for moved in _or_same((one for _, one in one_passing(profile, placement)), placement)
        ]
    return tuple(dict.fromkeys(_watched_spots(profile, found)))


def _watched_spots(profile: Profile, placements: Iterable[Placement]) -> Iterator[Placement]:
    """Leave out where a ball hangs unseen: it makes no difference to any reading."""
    for placement in placements:
        spots = frozenset(
            spot
            for spot in placement.spots
            if profile.spots[spot].resting or spot in profile.covering
        )
        yield placement if spots == placement.spots else attrs.evolve(placement, spots=spots)


def _or_same(changed: Iterable[Placement], placement: Placement) -> list[Placement]:
    return list(changed) or [placement]


def _on_route(profile: Profile, route: str) -> list[str]:
    return [spot.id for spot in profile.spots.values() if spot.route == route]


def _row(place: Place, placement: Placement) -> tuple[list[str], int]:
    """Return the spots of a place from its exit end, and how many balls lie in it."""
    numbers = list(range(1, place.capacity + 1))
    if place.position_1 == "far end":
        numbers.reverse()
    spots = [f"{place.id}.{number}" for number in numbers]
    return spots, sum(spot in placement.spots for spot in spots)


def _relaid(placement: Placement, spots: list[str], taken: Iterable[int]) -> Placement:
    kept = placement.spots - frozenset(spots)
    return attrs.evolve(placement, spots=kept | {spots[index] for index in taken})


def _stacked(placement: Placement, place: Place) -> Iterator[Placement]:
    spots, balls = _row(place, placement)
    jam = f"{place.id}.jam"
    if balls > 1 and jam not in placement.spots:
        fewer = _relaid(placement, spots, range(balls - 1))
        yield attrs.evolve(fewer, spots=fewer.spots | {jam})


def _magnetised(placement: Placement, place: Place) -> Iterator[Placement]:
    spots, balls = _row(place, placement)
    if 2 <= balls < place.capacity:
        yield _relaid(placement, spots, (*range(balls - 2), balls - 1, balls))


def _dented(placement: Placement, place: Place) -> Iterator[Placement]:
    spots, balls = _row(place, placement)
    for dent in range(1, place.capacity):
        for before in range(min(dent, balls)):
            behind = balls - before
            if dent + behind <= place.capacity:
                yield _relaid(placement, spots, (*range(before), *range(dent, dent + behind)))


SHAPES: Final[dict[str, Callable[[Placement, Place], Iterator[Placement]]]] = {
    "balls-stacked": _stacked,
    "balls-magnetised": _magnetised,
    "trough-dented": _dented,
}
"""Ball faults that lay the balls of one place otherwise."""
