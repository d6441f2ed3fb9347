"""Where each ball is.

A placement is a set of occupied spots: one ball a spot, by construction.  Which
spots a number of balls occupies at rest follows from the fill order of the
place.  Where a fact that decides this is unknown, there is one placement for
each way it can be, and each names the fact.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import Final, NamedTuple

import attrs

from simrig.profile.layout import Place
from simrig.profile.machine import Profile

ENDS: Final = ("exit end", "far end")

MOST_UNORDERED: Final = 4
"""At so many places of unknown order each way is tried: twice as many placements for each."""


class Fact(NamedTuple):
    """One fact of a profile: a key of a row of a table (``row`` is empty for single tables)."""

    table: str
    row: str
    key: str


def _spots(spots: Iterable[str]) -> frozenset[str]:
    return frozenset(spots)


def _sorted_states(
    states: Iterable[tuple[str, frozenset[str]]],
) -> tuple[tuple[str, frozenset[str]], ...]:
    return tuple(sorted(dict(states).items()))


@attrs.frozen(kw_only=True)
class Placement:
    """The spots that hold a ball, and the states in which mechanisms may stand.

    Captive balls are not in it.  ``missing`` counts installed balls that are
    in none of the spots; ``rests_on`` the unknown facts that made this one of
    several ways for the same balls to lie.  ``unsure`` are spots of which it is not
    known whether a ball of ``spots`` lies there or at another of them.
    """

    spots: frozenset[str] = attrs.field(converter=_spots)
    states: tuple[tuple[str, frozenset[str]], ...] = attrs.field(
        default=(), converter=_sorted_states
    )
    missing: int = attrs.field(default=0, validator=attrs.validators.ge(0))
    rests_on: frozenset[Fact] = frozenset()
    unsure: frozenset[str] = frozenset()

    @property
    def balls(self) -> int:
        """How many counted balls there are."""
        return len(self.spots)


def spot_place(profile: Profile, spot: str) -> str | None:
    """Return the place to which a spot belongs; None for points of a route."""
    return profile.spots[spot].place


def count_by_place(profile: Profile, placement: Placement) -> dict[str, int]:
    """Return the number of balls at each place and route that holds any, in profile order."""
    found: dict[str, int] = {}
    for spot_id in profile.spots:
        if spot_id in placement.spots:
            spot = profile.spots[spot_id]
            name = spot.place or spot.route or ""
            found[name] = found.get(name, 0) + 1
    return found


def fill(place: Place, balls: int, *, first: str = "exit end") -> tuple[str, ...]:
    """Return the spots that ``balls`` balls occupy at rest, the one at the exit first.

    A place without a stated order is filled as if position 1 were at ``first``.
    Raises ValueError when they do not fit.
    """
    if not 0 <= balls <= place.capacity:
        raise ValueError(f"{place.title} holds {place.capacity}; {balls} do not fit")
    numbers = list(range(1, place.capacity + 1))
    if (place.position_1 or first) == "far end" and not place.open_area:
        numbers.reverse()
    return tuple(f"{place.id}.{number}" for number in numbers[:balls])


def order_matters(place: Place, balls: int) -> bool:
    """Whether the unknown end of position 1 changes which spots the balls occupy."""
    return place.position_1 is None and not place.open_area and 0 < balls < place.capacity


def settled(
    profile: Profile, counts: Mapping[str, int], *, missing: int = 0
) -> Iterator[Placement]:
    """Yield every placement in which these numbers of balls rest at these places.

    One, unless the end at which a place's numbering starts is unknown.  Where it is for many
    places, each way is tried for a few of them; of the others the spots that the ends
    disagree about are left unsure.  Raises ValueError when a number does not fit.
    """
    ways: list[list[tuple[tuple[str, ...], Fact | None]]] = []
    unsure: set[str] = set()
    tried = 0
    for name, balls in counts.items():
        place = profile.row("place", name)
        if place is None:
            raise ValueError(f'there is no place called "{name}"')
        fact = Fact("place", place.id, "position_1")
        if not order_matters(place, balls):
            ways.append([(fill(place, balls), None)])
            continue
        tried += 1
        found = [(fill(place, balls, first=end), fact) for end in ENDS]
        if tried > MOST_UNORDERED:
            unsure.update(set(found[0][0]) ^ set(found[1][0]))
            del found[1:]
        ways.append([*found])
    for combination in itertools.product(*ways):
        yield Placement(
            spots=frozenset(spot for spots, _ in combination for spot in spots),
            missing=missing,
            rests_on=frozenset(fact for _, fact in combination if fact is not None),
            unsure=frozenset(unsure),
        )


def captive_spots(profile: Profile) -> tuple[dict[str, Fact | None], dict[str, Fact]]:
    """Return the spots that captive balls surely hold, and those they may hold with the fact
    that decides it."""
    surely: dict[str, Fact | None] = {}
    maybe: dict[str, Fact] = {}
    for place in profile.place:
        if place.captive is None and place.kind == "captive":
            fact = Fact("place", place.id, "captive")
            maybe |= {f"{place.id}.{n}": fact for n in range(1, place.capacity + 1)}
        balls = place.captive
        if not balls:
            continue
        ways = [
            set(_from_end(place, balls, end, first))
            for end in ((place.rest_end,) if place.rest_end else ENDS)
            for first in ((place.position_1,) if place.position_1 else ENDS)
        ]
        common = set.intersection(*ways)
        surely.update((spot, None) for spot in sorted(common))
        key = "position_1" if place.rest_end else "rest_end"
        for spot in sorted(set.union(*ways) - common):
            maybe[spot] = Fact("place", place.id, key)
    return surely, maybe


def _from_end(place: Place, balls: int, end: str, first: str) -> tuple[str, ...]:
    numbers = list(range(1, place.capacity + 1))
    if first != end:
        numbers.reverse()
    return tuple(f"{place.id}.{number}" for number in numbers[:balls])
