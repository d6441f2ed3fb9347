"""Every way in which the balls can come to rest, enumerated: where they lie, how mechanisms stand.

A settled placement is a number of balls for each place and a state for each
mechanism.  Each is one small integer in a mixed-radix code with a digit for every
place and mechanism; the place with most room has none, since the balls that
are nowhere else are there.

Two ways lead to the same set:

* **Composition.**  Let every place lead, over some run of routes, to every other,
  and let one place have room for all balls.  Then every way of sharing out the
  balls that fits is reachable: bring all of them there, the nearest place first, so
  that the way is clear; then fill the farthest place first.  Mechanisms can be set
  freely, so that what a route needs can be had.  The set is written down directly.
* **Sweeps.**  Otherwise the moves are followed.  The set is one integer with a bit
  for each code; a route is a mask (its start is not empty, its end is not full,
  mechanisms stand as it needs) and a shift, for all placements at once.

Moves by hand (feed, remove) change the number of balls and are left out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final

import attrs

from simrig.profile.layout import Place
from simrig.profile.machine import Profile

MOST_PLACEMENTS: Final = 1 << 19
"""More settled placements than these are not enumerated: :class:`TooManyError`."""

MOST_CODES: Final = 1 << 22
"""Nor are moves followed among more codes than these."""


class TooManyError(ValueError):
    """There are too many settled placements to enumerate."""


@attrs.frozen(kw_only=True)
class Coding:
    """Settled placements as integers.

    ``radices`` and ``strides`` give for each place and mechanism its digit; the
    place ``rest`` has none.  ``states`` are those of each mechanism, in order.
    """

    balls: int
    places: tuple[str, ...]
    rooms: tuple[int, ...]
    rest: str
    rest_room: int
    states: tuple[tuple[str, tuple[str, ...]], ...]

    @cached_property
    def radices(self) -> tuple[int, ...]:
        """How many values each digit has, places first."""
        return tuple([room + 1 for room in self.rooms] + [len(states) for _, states in self.states])

    @cached_property
    def strides(self) -> tuple[int, ...]:
        """What one step of each digit adds to a code."""
        return tuple(itertools.accumulate(self.radices, lambda a, b: a * b, initial=1))[:-1]

    @cached_property
    def size(self) -> int:
        """How many codes there are, sound or not."""
        return (self.strides[-1] * self.radices[-1]) if self.radices else 1

    def code(self, counts: Mapping[str, int], states: Mapping[str, str]) -> int:
        """Return the code of balls at places and of the states of all mechanisms.

        ValueError where the balls are not all there or do not fit.
        """
        digits = [counts.get(name, 0) for name in self.places]
        left = self.balls - sum(digits)
        known = {*self.places, self.rest}
        if any(number and name not in known for name, number in counts.items()):
            raise ValueError("balls lie at a place that no ball can reach")
        if left != counts.get(self.rest, 0) or left > self.rest_room:
            raise ValueError(f"{self.balls} balls are wanted at places that hold them")
        if any(digit > room for digit, room in zip(digits, self.rooms, strict=True)):
            raise ValueError("more balls than a place holds")
        digits += [names.index(states[mechanism]) for mechanism, names in self.states]
        return sum(digit * stride for digit, stride in zip(digits, self.strides, strict=True))

    def placement(self, code: int) -> tuple[dict[str, int], dict[str, str]]:
        """Return the balls at each place that holds any, and the state of each mechanism."""
        digits = [
            code // stride % radix for stride, radix in zip(self.strides, self.radices, strict=True)
        ]
        counts = {name: digit for name, digit in zip(self.places, digits, strict=False) if digit}
        left = self.balls - sum(counts.values())
        if left:
            counts[self.rest] = left
        stand = digits[len(self.places) :]
        return counts, {
            name: states[digit] for (name, states), digit in zip(self.states, stand, strict=True)
        }


@attrs.frozen(kw_only=True)
class Reachable:
    """The settled placements that some run of moves leads to.

    ``composed`` tells that all that fit are among them, with no move followed.
    """

    coding: Coding
    codes: tuple[int, ...]
    composed: bool

    @cached_property
    def _codes(self) -> frozenset[int]:
        return frozenset(self.codes)

    def holds(self, counts: Mapping[str, int], states: Mapping[str, str]) -> bool:
        """Whether a placement is among them."""
        try:
            return self.coding.code(counts, states) in self._codes
        except ValueError:
            return False

    def shares(self) -> Iterator[dict[str, int]]:
        """Yield each number of balls at each place once, whatever the mechanisms' states."""
        coding = self.coding
        block = coding.strides[len(coding.places)] if coding.states else coding.size
        for code in sorted({code % block for code in self.codes}):
            yield coding.placement(code)[0]

    def __len__(self) -> int:
        return len(self.codes)

    def __iter__(self) -> Iterator[tuple[dict[str, int], dict[str, str]]]:
        return map(self.coding.placement, self.codes)


def reachable(profile: Profile, starts: Iterable[Mapping[str, int]]) -> Reachable:
    """Return every settled placement that moves lead to from any of the starts.

    A start is a number of balls at each place, the same number in all; mechanisms
    stand at rest in it, and, where their rest is unknown, in any state.  Raises
    TooManyError.
    """
    begun = [{name: balls for name, balls in start.items() if balls} for start in starts]
    if not begun:
        raise ValueError("no placement to start from")
    balls = sum(begun[0].values())
    if any(sum(start.values()) != balls for start in begun):
        raise ValueError("the starts differ in their number of balls")
    edges = _edges(profile)
    met = _closure(edges, {name for start in begun for name in start})
    coding = _coding(profile, balls, met)
    if _all_fit(profile, balls, edges, met):
        return Reachable(coding=coding, codes=tuple(compose(coding)), composed=True)
    if coding.size > MOST_CODES:
        raise TooManyError(f"more than {MOST_CODES} codes to look through")
    first = [coding.code(start, states) for start in begun for states in _at_rest(profile)]
    return Reachable(coding=coding, codes=tuple(follow(profile, coding, first)), composed=False)


def compose(coding: Coding) -> list[int]:
    """Return the codes of every way to share out the balls that fits, in every state.

    Raises TooManyError.
    """
    if composed(coding) > MOST_PLACEMENTS:
        raise TooManyError(f"more than {MOST_PLACEMENTS} settled placements")
    shared: dict[int, list[int]] = {coding.balls: [0]}
    for room, stride in zip(coding.rooms, coding.strides, strict=False):
        grown: dict[int, list[int]] = {}
        for left, codes in shared.items():
            for taken in range(min(room, left) + 1):
                step = taken * stride
                more = [code + step for code in codes] if step else codes
                grown.setdefault(left - taken, []).extend(more)
        shared = grown
    found = [code for left, codes in shared.items() if left <= coding.rest_room for code in codes]
    turns = [0]
    for stride, radix in list(zip(coding.strides, coding.radices, strict=True))[
        len(coding.places) :
    ]:
        turns = [turn + digit * stride for digit in range(radix) for turn in turns]
    return [code + turn for turn in turns for code in found]


def composed(coding: Coding) -> int:
    """Return how many placements there are when all that fit count: a convolution of the rooms."""
    ways = [int(total <= coding.rest_room) for total in range(coding.balls + 1)]
    for room in coding.rooms:
        ways = [
            sum(ways[total - taken] for taken in range(min(room, total) + 1))
            for total in range(coding.balls + 1)
        ]
    return ways[coding.balls] * math.prod(len(states) for _, states in coding.states)


def follow(profile: Profile, coding: Coding, starts: Iterable[int]) -> list[int]:
    """Return the codes that moves lead to, by sweeps over all placements found so far."""
    steps = _steps(profile, coding)
    seen = 0
    for code in starts:
        seen |= 1 << code
    fresh = seen
    while fresh:
        gained = 0
        for allowed, shift in steps:
            moved = (fresh | gained) & allowed
            if moved:
                gained |= moved << shift if shift > 0 else moved >> -shift
        fresh = gained & ~seen
        seen |= gained
    return _bits(seen)


def _bits(value: int) -> list[int]:
    """The numbers of the bits that are set."""
    found, text = [], bin(value)[:1:-1]
    at = text.find("1")
    while at >= 0:
        found.append(at)
        at = text.find("1", at + 1)
    return found


def _steps(profile: Profile, coding: Coding) -> list[tuple[int, int]]:
    """Every move as the codes at which it can be made and what it adds to them."""
    masks = _Masks(coding)
    found: dict[tuple[int, int], None] = {}
    for route in profile.route:
        needed = masks.everything
        for name, state in (route.when or {}).items():
            needed &= masks.stands(name, state)
        for target in route.to:
            if target != route.from_ and masks.known(route.from_) and masks.known(target):
                allowed = needed & masks.not_empty(route.from_) & masks.not_full(target)
                found[allowed, masks.unit(target) - masks.unit(route.from_)] = None
    for name, states in coding.states:
        for one, other in itertools.permutations(range(len(states)), 2):
            step = (other - one) * coding.strides[masks.digit[name]]
            found[masks.stands(name, states[one]), step] = None
    return [(allowed, step) for allowed, step in found if allowed]


class _Masks:
    """For each digit the codes at which it has a value, as integers of one bit a code."""

    def __init__(self, coding: Coding) -> None:
        self.coding = coding
        self.everything = (1 << coding.size) - 1
        names = [*coding.places, *(name for name, _ in coding.states)]
        self.digit = {name: index for index, name in enumerate(names)}
        self._sums: list[int] | None = None

    def known(self, place: str) -> bool:
        return place == self.coding.rest or place in self.digit

    def unit(self, place: str) -> int:
        return 0 if place == self.coding.rest else self.coding.strides[self.digit[place]]

    def not_empty(self, place: str) -> int:
        if place == self.coding.rest:
            return self._elsewhere(range(self.coding.balls))
        return self.everything & ~self._value(self.digit[place], 0)

    def not_full(self, place: str) -> int:
        coding = self.coding
        if place == coding.rest:
            return self._elsewhere(
                range(max(0, coding.balls - coding.rest_room + 1), coding.balls + 1)
            )
        index = self.digit[place]
        return self.everything & ~self._value(index, coding.radices[index] - 1)

    def stands(self, mechanism: str, state: str) -> int:
        index = self.digit[mechanism]
        states = self.coding.states[index - len(self.coding.places)][1]
        return self._value(index, states.index(state))

    def _value(self, index: int, value: int) -> int:
        stride, radix = self.coding.strides[index], self.coding.radices[index]
        block = ((1 << stride) - 1) << (value * stride)
        return block * (self.everything // ((1 << (stride * radix)) - 1))

    def _elsewhere(self, sums: Sequence[int]) -> int:
        """The codes at which so many balls are at places that have a digit."""
        coding = self.coding
        if self._sums is None:
            found = [1] + [0] * coding.balls
            for room, stride in zip(coding.rooms, coding.strides, strict=False):
                found = [
                    _union(
                        found[total - taken] << (taken * stride)
                        for taken in range(min(room, total) + 1)
                    )
                    for total in range(coding.balls + 1)
                ]
            block = coding.strides[len(coding.places)] if coding.states else coding.size
            repeat = self.everything // ((1 << block) - 1)
            self._sums = [mask * repeat for mask in found]
        return _union(self._sums[total] for total in sums)


def _union(masks: Iterable[int]) -> int:
    found = 0
    for mask in masks:
        found |= mask
    return found


def _edges(profile: Profile) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for route in profile.route:
        found.setdefault(route.from_, set()).update(
            name for name in route.to if not profile.row("place", name).captive
        )
    return found


def _closure(edges: Mapping[str, Iterable[str]], starts: Iterable[str]) -> set[str]:
    met = set(starts)
    todo = list(met)
    while todo:
        for name in edges.get(todo.pop(), ()):
            if name not in met:
                met.add(name)
                todo.append(name)
    return met


def _all_fit(
    profile: Profile, balls: int, edges: Mapping[str, Iterable[str]], met: set[str]
) -> bool:
    """Whether all places met lead to each other, and one of them has room for all balls."""
    back: dict[str, set[str]] = {}
    for one, others in edges.items():
        for other in others:
            back.setdefault(other, set()).add(one)
    hub = next((name for name in met if profile.row("place", name).capacity >= balls), None)
    return hub is not None and met <= _closure(edges, {hub}) and met <= _closure(back, {hub})


def _coding(profile: Profile, balls: int, met: set[str]) -> Coding:
    places: list[Place] = [place for place in profile.place if place.id in met]
    rest = max(places, key=lambda place: place.capacity)
    others = [place for place in places if place is not rest]
    return Coding(
        balls=balls,
        places=tuple(place.id for place in others),
        rooms=tuple(min(place.capacity, balls) for place in others),
        rest=rest.id,
        rest_room=rest.capacity,
        states=tuple((mechanism.id, tuple(mechanism.states)) for mechanism in profile.mechanism),
    )


def _at_rest(profile: Profile) -> Iterator[dict[str, str]]:
    ways = [
        (mechanism.rest,) if mechanism.rest is not None else mechanism.states
        for mechanism in profile.mechanism
    ]
    names = [mechanism.id for mechanism in profile.mechanism]
    for combination in itertools.product(*ways):
        yield dict(zip(names, combination, strict=True))
