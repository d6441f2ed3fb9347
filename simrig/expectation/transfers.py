"""From where to where a move brings a ball; the moves that no table of a machine has."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.world.moves import Move

BACK: Final = "back"
"""The verb of a move that no machine makes: a ball comes out of a place where it went in."""
PUT: Final = "put"
PICK: Final = "pick"
"""The verbs of a hand that lays a ball where none comes to rest, and takes it away again."""


def ends(profile: Profile, move: Move) -> tuple[str | None, str | None]:
    """Return the places that a move leaves and reaches; None for the hand, or for none."""
    if move.verb == "take":
        route = profile.row("route", move.subject)
        return route.from_, move.target or route.to[0]
    if move.verb == "feed":
        return None, move.subject
    if move.verb == "remove":
        return move.subject, None
    if move.verb == BACK:
        return move.subject, move.target
    return None, None


def counts_after(
    counts: Mapping[str, int], source: str | None, target: str | None
) -> dict[str, int]:
    """Return the numbers of balls at each place once one has gone from place to place."""
    found = dict(counts)
    if source is not None:
        found[source] = found.get(source, 0) - 1
    if target is not None:
        found[target] = found.get(target, 0) + 1
    return {name: balls for name, balls in found.items() if balls}


def carried(
    profile: Profile, unwatched: frozenset[str], counts: Mapping[str, int], hand: int, move: Move
) -> tuple[dict[str, int], int]:
    """Return the balls at each place, and in the hand, once a move has been made.

    Between places that nothing watches balls get unseen: one that must come from such a
    place comes from another where that is empty, at last from the hand; and before one comes
    to such a place that is full, another has gone on from there.
    """
    source, target = ends(profile, move)
    if source in unwatched and not counts.get(source):
        source = next((name for name in sorted(unwatched) if counts.get(name)), None)
        hand -= source is None
    if move.verb == "feed" and hand <= 0:
        source = next(name for name in sorted(unwatched - {target}) if counts.get(name))
        hand += 1
    hand += (move.verb == "remove") - (move.verb == "feed")
    if target is not None and full(profile, counts, target):
        onward = elsewhere(profile, unwatched, counts, target)
        counts = counts if onward is None else counts_after(counts, target, onward)
    return counts_after(counts, source, target), hand


def full(profile: Profile, counts: Mapping[str, int], place: str) -> bool:
    """Whether a place holds as many balls as it can."""
    return bool(counts.get(place, 0) >= profile.row("place", place).capacity)


def elsewhere(
    profile: Profile, unwatched: frozenset[str], counts: Mapping[str, int], place: str
) -> str | None:
    """Return where a ball can have gone unseen from a place that nothing watches; None: nowhere.

    Where a route leads from there, if it can.
    """
    if place not in unwatched:
        return None
    rooms = [name for name in sorted(unwatched - {place}) if not full(profile, counts, name)]
    onward = {name for route in profile.route if route.from_ == place for name in route.to}
    return next((name for name in rooms if name in onward), rooms[0] if rooms else None)


def ordered(place: Place) -> bool:
    """Whether the order of a place's positions is known, or there is only one."""
    return not place.open_area and (place.position_1 is not None or place.capacity == 1)
