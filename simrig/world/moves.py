"""The one table of moves: how balls get from place to place, and by whose hand.

No move lives outside this table.  Balls are conserved: a ball leaves the world
only into the hand (``remove``) and comes back only from it (``feed``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

import attrs

from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.world.balls import Placement, count_by_place, settled
from simrig.world.phases import mechanism_states


class IllegalMoveError(ValueError):
    """A move that the machine cannot make; says why, and what would have to be so."""


@attrs.frozen(kw_only=True)
class Move:
    """One thing that happens: ``verb`` from the table, and what it concerns.

    ``ball`` verbs name a route (and, where it may end in either of two places,
    the one it ends in); ``feed`` and ``remove`` a place; ``set`` a mechanism and
    its state.
    """

    verb: str
    subject: str
    target: str | None = None

    def __str__(self) -> str:
        return " ".join(word for word in (self.verb, self.subject, self.target) if word)


def start(profile: Profile, placement: Placement) -> Placement:
    """Return a placement with every mechanism at rest, ready to be moved."""
    return attrs.evolve(placement, states=mechanism_states(profile, None))


def moves(profile: Profile, placement: Placement, *, in_hand: int = 0) -> tuple[Move, ...]:
    """Return every move that can be made, in profile order; ``in_hand`` balls can be fed."""
    found = []
    for move in _all_moves(profile):
        if move.verb == "feed" and not in_hand:
            continue
        try:
            apply(profile, placement, move)
        except IllegalMoveError:
            continue
        found.append(move)
    return tuple(found)


def apply(profile: Profile, placement: Placement, move: Move | str) -> Placement:
    """Make a move and let every ball come to rest.

    Raises IllegalMoveError, in words, when it cannot be made.
    """
    if isinstance(move, str):
        move = parse(profile, move)
    return MOVES[move.verb](profile, placement, move)


def parse(profile: Profile, text: str) -> Move:
    """Read a move as people write it.

    ``take ROUTE [PLACE]``, ``feed PLACE``, ``remove PLACE``, ``set MECHANISM
    STATE``, or the name of a route alone.  Raises IllegalMoveError for anything else.
    """
    words = text.split()
    if words and words[0] in MOVES and 2 <= len(words) <= 3:
        move = Move(verb=words[0], subject=words[1], target=words[2] if len(words) == 3 else None)
    elif 1 <= len(words) <= 2 and profile.row("route", words[0]) is not None:
        move = Move(verb="take", subject=words[0], target=words[1] if len(words) == 2 else None)
    else:
        routes = ", ".join(route.id for route in profile.route) or "none yet"
        raise IllegalMoveError(
            f'"{text}" is not a move; wanted a route ({routes}), feed PLACE, remove PLACE '
            "or set MECHANISM STATE"
        )
    return move


def _all_moves(profile: Profile) -> Iterator[Move]:
    for route in profile.route:
        for target in route.to:
            yield Move(verb="take", subject=route.id, target=target if len(route.to) > 1 else None)
    for place in profile.place:
        if not place.captive:
            yield Move(verb="feed", subject=place.id)
            yield Move(verb="remove", subject=place.id)
    for mechanism in profile.mechanism:
        for state in mechanism.states:
            yield Move(verb="set", subject=mechanism.id, target=state)


def _take(profile: Profile, placement: Placement, move: Move) -> Placement:
    route: Route | None = profile.row("route", move.subject)
    if route is None:
        raise IllegalMoveError(f'there is no route called "{move.subject}"')
    target = move.target or route.to[0]
    if target not in route.to:
        raise IllegalMoveError(f"{route.title} ends at {' or '.join(route.to)}, not at {target}")
    states = dict(placement.states)
    for name, state in (route.when or {}).items():
        if states.get(name) != frozenset((state,)):
            raise IllegalMoveError(
                f"{route.title} needs the {name.replace('-', ' ')} to stand {state}"
            )
    return _shift(profile, placement, route.from_, target)


def _feed(profile: Profile, placement: Placement, move: Move) -> Placement:
    return _shift(profile, placement, None, move.subject)


def _remove(profile: Profile, placement: Placement, move: Move) -> Placement:
    return _shift(profile, placement, move.subject, None)


def _set(profile: Profile, placement: Placement, move: Move) -> Placement:
    mechanism = profile.row("mechanism", move.subject)
    if mechanism is None:
        raise IllegalMoveError(f'there is no mechanism called "{move.subject}"')
    if move.target not in mechanism.states:
        raise IllegalMoveError(
            f"the {mechanism.id.replace('-', ' ')} can stand: {', '.join(mechanism.states)}"
        )
    states = dict(placement.states) | {mechanism.id: frozenset((str(move.target),))}
    return attrs.evolve(placement, states=tuple(states.items()))


def _shift(
    profile: Profile, placement: Placement, source: str | None, target: str | None
) -> Placement:
    counts = count_by_place(profile, placement)
    if source is not None:
        place = _place(profile, source)
        if not counts.get(source):
            raise IllegalMoveError(f"the {place.title} is empty; no ball can leave it")
        counts[source] -= 1
    if target is not None:
        place = _place(profile, target)
        if place.captive:
            raise IllegalMoveError(f"the {place.title} keeps its captive ball; no other goes in")
        if counts.get(target, 0) >= place.capacity:
            raise IllegalMoveError(f"the {place.title} is full; it holds {place.capacity}")
        counts[target] = counts.get(target, 0) + 1
    unsettled = [spot for spot in placement.spots if not profile.spots[spot].resting]
    if unsettled:
        raise IllegalMoveError(
            f"a ball is still at {', '.join(sorted(unsettled))}; let it settle first"
        )
    moved = next(settled(profile, counts, missing=placement.missing))
    return attrs.evolve(moved, states=placement.states)


def _place(profile: Profile, name: str) -> Place:
    place: Place | None = profile.row("place", name)
    if place is None:
        raise IllegalMoveError(f'there is no place called "{name}"')
    return place


MOVES: Final[dict[str, Callable[[Profile, Placement, Move], Placement]]] = {
    "take": _take,
    "feed": _feed,
    "remove": _remove,
    "set": _set,
}
"""Every verb and what it does.  A serve, a launch, a lock, an eject, a drain and a lift from
the outhole are routes that a ball takes; what they need is stated by the route."""
