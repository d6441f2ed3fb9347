"""What a plan asks of the machine: balls at hand, the store, who watches, the ways home."""

from __future__ import annotations

from collections.abc import Sequence

from simrig.expectation.timeline import worked_at_rest
from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements


def way_home(profile: Profile, start: str, end: str) -> list[Route] | None:
    """Return the shortest row of ways from place to place that needs no shot; None: there is none."""
    found: dict[str, list[Route]] = {start: []}
    waiting = [start]
    while waiting:
        here = waiting.pop(0)
        if here == end:
            return found[here]
        # Past as few sensors as can be: which way a loose ball takes nobody knows.
        for route in sorted(profile.route, key=lambda one: one.points or 0):
            if route.from_ != here or route.by == "shot":
                continue
            for target in route.to:
                if target not in found:
                    found[target] = [*found[here], route]
                    waiting.append(target)
    return None


def ends(path: Sequence[Route], end: str) -> list[str]:
    """Return where each way of a row leads."""
    return [*(str(route.from_) for route in path[1:]), end]


def captive_spot(profile: Profile, spot: str) -> bool:
    """Whether a spot belongs to a captive ball."""
    place = profile.row("place", profile.spots[spot].place)
    return place is not None and bool(place.captive)


def balls_at_hand(profile: Profile, conditions: Conditions) -> int:
    """Return how many balls a plan begins by taking out: as stated, as seen, or all installed.

    Raises ValueError for impossible conditions.
    """
    there = profile.balls.installed if conditions.balls is None else conditions.balls
    if conditions.phase is None and not conditions.seen_only:
        return there
    found = legal_placements(profile, conditions)
    if not found:
        raise ValueError("no legal position of the balls fits these conditions")
    return found[0].balls if conditions.seen_only and conditions.balls is None else there


def store_of(profile: Profile) -> Place | None:
    """Return the place into which balls are fed one by one."""
    stated = profile.row("place", profile.balls.store)
    places = (
        [stated]
        if stated is not None
        else [place for place in profile.place if place.kind == "trough"]
    )
    return next((one for one in places if not one.open_area and not one.captive), None)


def sensors_of(profile: Profile, place: Place) -> set[str]:
    """Return the sensors at a place's positions and on the ways out of it."""
    ways = {route.id for route in profile.route if route.from_ == place.id}
    return {
        sensor.id
        for name, sensors in profile.covering.items()
        for sensor in sensors
        if profile.spots[name].place == place.id or profile.spots[name].route in ways
    }


def worked_in(profile: Profile, here: Placement, place: Place) -> dict[str, bool]:
    """Return which sensors at a place's positions are worked with the balls at rest, where known."""
    now = worked_at_rest(profile, here)
    return {
        sensor.id: value
        for spot, sensors in profile.covering.items()
        if profile.spots[spot].place == place.id
        for sensor in sensors
        if (value := now[sensor.id]) is not None
    }
