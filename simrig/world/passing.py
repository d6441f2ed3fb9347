"""A ball caught on the move: placements that no rule of rest allows."""

from __future__ import annotations

from collections.abc import Iterator

import attrs

from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.world.balls import Placement, fill


def one_passing(profile: Profile, placement: Placement) -> Iterator[tuple[str, Placement]]:
    """Yield where one ball of a placement can be caught on the move, and the placement then.

    It has just left its place, or has not come to rest yet: on a point of a
    route, or in a place beyond the balls that lie there.
    """
    for place in profile.place:
        here = _resting(placement, place)
        if not here:
            continue
        for settled in _one_less(placement, place, here):
            for where, spot in _on_the_move(profile, settled):
                yield where, attrs.evolve(settled, spots=settled.spots | {spot})


def _resting(placement: Placement, place: Place) -> list[str]:
    return [
        spot
        for number in range(1, place.capacity + 1)
        if (spot := f"{place.id}.{number}") in placement.spots
    ]


def _one_less(placement: Placement, place: Place, here: list[str]) -> Iterator[Placement]:
    if place.open_area:
        yield attrs.evolve(placement, spots=placement.spots - {here[-1]})
        return
    ends = ("exit end",) if place.position_1 else ("exit end", "far end")
    for end in ends:
        if set(fill(place, len(here), first=end)) == set(here):
            left = fill(place, len(here) - 1, first=end)
            yield attrs.evolve(placement, spots=placement.spots - set(here) | set(left))


def _on_the_move(profile: Profile, placement: Placement) -> Iterator[tuple[str, str]]:
    for spot in profile.spots.values():
        if spot.id in placement.spots or spot.id not in profile.covering:
            continue
        if spot.route is not None:
            yield spot.route, spot.id
        elif spot.place is not None and spot.position is not None:
            here = len(_resting(placement, profile.row("place", spot.place)))
            captive = profile.row("place", spot.place).captive
            if spot.position > here + 1 and not captive:
                yield spot.place, spot.id
