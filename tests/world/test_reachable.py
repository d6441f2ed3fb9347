"""Settled placements: composed or followed, the same as a search over the one table of moves."""

from __future__ import annotations

import math
from pathlib import Path

import networkx
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simrig.profile.layout import Balls, Mechanism, Place, Route
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.world import reachable as reachable_module
from simrig.world.balls import Placement, count_by_place, settled
from simrig.world.moves import apply, moves, start
from simrig.world.phases import row_counts
from simrig.world.reachable import (
    Coding,
    Reachable,
    TooManyError,
    compose,
    composed,
    follow,
    reachable,
)

ROOT = Path(__file__).parents[2]
MACHINES = ("basalt-freight", "orchard-signal", "tidal-clockwork")


def _machine(name: str) -> Profile:
    path = ROOT / "plugins/simrig_machines" / f"{name}.toml"
    return read(path.read_bytes(), str(path))


def _home(profile: Profile) -> dict[str, int]:
    return dict(next(row_counts(profile, profile.phase[0].placements[0])))


def _searched(profile: Profile, counts: dict[str, int]) -> set[tuple]:
    """What networkx finds over the moves themselves."""
    first = start(profile, next(settled(profile, counts)))
    graph = networkx.DiGraph()
    graph.add_node(first)
    todo: list[Placement] = [first]
    while todo:
        here = todo.pop()
        for move in moves(profile, here):
            if move.verb in ("take", "set"):
                there = apply(profile, here, move)
                if there not in graph:
                    todo.append(there)
                graph.add_edge(here, there)
    found = {first} | networkx.descendants(graph, first)
    return {
        (
            frozenset(count_by_place(profile, one).items()),
            frozenset((name, state) for name, (state,) in one.states),
        )
        for one in found
    }


def _plain(found: reachable_module.Reachable) -> set[tuple]:
    return {(frozenset(counts.items()), frozenset(states.items())) for counts, states in found}


@pytest.mark.parametrize("name", ["orchard-signal", "tidal-clockwork"])
def test_machines_equal_a_search_over_the_moves(name: str) -> None:
    """The settled placements of a machine are those that networkx finds over its moves."""
    profile = _machine(name)
    found = reachable(profile, [_home(profile)])
    assert len(found) == len(set(found.codes))
    assert _plain(found) == _searched(profile, _home(profile))


@pytest.mark.parametrize("name", MACHINES)
def test_followed_and_composed_are_equal(name: str) -> None:
    """Where all placements are reachable, following the moves finds the same as composing them."""
    profile = _machine(name)
    home = _home(profile)
    found = reachable(profile, [home])
    assert found.composed
    states = {mechanism.id: mechanism.rest for mechanism in profile.mechanism}
    followed = follow(profile, found.coding, [found.coding.code(home, states)])
    assert followed == sorted(compose(found.coding))


def test_the_number_is_a_convolution() -> None:
    """How many placements there are is a convolution of the rooms (derived: generating functions)."""
    profile = _machine("basalt-freight")
    ways = [1] + [0] * 7
    for place in profile.place:
        ways = [
            sum(ways[total - taken] for taken in range(min(place.capacity, total) + 1))
            for total in range(8)
        ]
    states = math.prod(len(mechanism.states) for mechanism in profile.mechanism)
    assert len(reachable(profile, [_home(profile)])) == ways[7] * states


@st.composite
def layouts(draw: st.DrawFn) -> Profile:
    """A few places of small room with any routes between them, one-way and dead ends too."""
    number = draw(st.integers(2, 4))
    places = tuple(
        Place(id=f"p{n}", kind="hold", seats=draw(st.integers(1, 3)), position_1="exit end")
        for n in range(number)
    )
    names = st.sampled_from([place.id for place in places])
    gate = Mechanism(id="gate", kind="gate", states=("up", "down"), rest="up", coil="none")
    routes = tuple(
        Route(
            id=f"r{n}",
            from_=draw(names),
            to=tuple(draw(st.lists(names, min_size=1, max_size=2, unique=True))),
            by="coil",
            when=draw(st.sampled_from((None, {"gate": "down"}))),
        )
        for n in range(draw(st.integers(1, 6)))
    )
    return Profile(
        format=1, id="made", balls=Balls(installed=1), place=places, route=routes,
        mechanism=(gate,) if draw(st.booleans()) or any(r.when for r in routes) else (),
    )  # fmt: skip


@given(profile=layouts(), data=st.data())
@settings(max_examples=200)
def test_any_layout_equals_a_search_over_the_moves(profile: Profile, data: st.DataObject) -> None:
    """One-way routes, dead ends, full places, balls that start anywhere: the same set as a
    search over the moves."""
    seats = [(place.id, place.capacity) for place in profile.place]
    home = {name: data.draw(st.integers(0, most)) for name, most in seats}
    assume(any(home.values()))
    found = reachable(profile, [home])
    searched = _searched(profile, home)
    assert len(found) == len(searched)
    assert _plain(found) == searched


def test_a_one_way_layout_is_followed_and_not_composed() -> None:
    """By hand: from a through b to c, one ball each in a and c: a cannot be filled again."""
    names = ("a", "b", "c")
    one_way = Profile(
        format=1, id="made", balls=Balls(installed=2),
        place=tuple(Place(id=name, kind="hold", seats=2, position_1="exit end") for name in names),
        route=(
            Route(id="ab", from_="a", to=("b",), by="coil"),
            Route(id="bc", from_="b", to=("c",), by="coil"),
        ),
    )  # fmt: skip
    found = reachable(one_way, [{"a": 1, "c": 1}])
    assert not found.composed
    shares = [{"a": 1, "c": 1}, {"b": 1, "c": 1}, {"c": 2}]
    assert sorted(map(sorted, (counts.items() for counts, _ in found))) == [
        sorted(share.items()) for share in shares
    ]
    both = reachable(one_way, [{"a": 1, "c": 1}, {"a": 2, "b": 0}])
    shares = [*shares, {"a": 2}, {"a": 1, "b": 1}, {"b": 2}]
    assert sorted(map(sorted, (counts.items() for counts, _ in both))) == sorted(
        sorted(share.items()) for share in shares
    )


def test_shares_leave_the_states_out() -> None:
    """Each sharing-out of the balls comes once, however many states go with it."""
    found = reachable(_machine("orchard-signal"), [{"trough": 3}])
    shares = [frozenset(counts.items()) for counts in found.shares()]
    assert len(shares) == len(set(shares)) == len(found) / 2**4
    assert set(shares) == {frozenset(counts.items()) for counts, _ in found}


def test_what_is_held() -> None:
    """A placement that fits is held; one ball too few, too many in a place, or a stranger is not."""
    profile = _machine("orchard-signal")
    found = reachable(profile, [_home(profile)])
    rest = {mechanism.id: str(mechanism.rest) for mechanism in profile.mechanism}
    assert found.holds({"trough": 2, "pear-hole": 1}, rest)
    assert not found.holds({"trough": 2}, rest)
    assert not found.holds({"trough": 1, "pear-hole": 2}, rest)
    assert not found.holds({"trough": 2, "bell-run": 1}, rest)


def test_starts_are_checked(monkeypatch: pytest.MonkeyPatch) -> None:
    """No start, starts that differ in balls, and more placements than the bound are refused."""
    profile = _machine("orchard-signal")
    with pytest.raises(ValueError, match="no placement to start from"):
        reachable(profile, [])
    with pytest.raises(ValueError, match="differ in their number"):
        reachable(profile, [{"trough": 3}, {"trough": 2}])
    monkeypatch.setattr(reachable_module, "MOST_PLACEMENTS", 10)
    with pytest.raises(TooManyError):
        reachable(profile, [{"trough": 3}])


def _hand_coding(**changes: object) -> Coding:
    """Two balls: a holds one, b two, the rest three; a gate of two states, a post of three."""
    stated = {
        "balls": 2, "places": ("a", "b"), "rooms": (1, 2), "rest": "c", "rest_room": 3,
        "states": (("gate", ("up", "down")), ("post", ("in", "mid", "out"))),
    }  # fmt: skip
    return Coding(**{**stated, **changes})


def test_codes_are_digits_by_hand() -> None:
    """a counts 1, b 2, the gate 6, the post 12 each; there are 2 x 3 x 2 x 3 codes."""
    coding = _hand_coding()
    assert (coding.radices, coding.strides, coding.size) == ((2, 3, 2, 3), (1, 2, 6, 12), 36)
    assert coding.code({"a": 1, "b": 1}, {"gate": "down", "post": "out"}) == 1 + 2 + 6 + 24
    assert coding.placement(33) == ({"a": 1, "b": 1}, {"gate": "down", "post": "out"})
    assert coding.placement(0) == ({"c": 2}, {"gate": "up", "post": "in"})
    alone = _hand_coding(places=(), rooms=(), states=())
    assert (alone.size, alone.code({"c": 2}, {}), alone.placement(0)) == (1, 0, ({"c": 2}, {}))


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        ({"a": 1}, "2 balls are wanted at places that hold them"),
        ({"c": 3}, "2 balls are wanted at places that hold them"),
        ({"a": 2}, "more balls than a place holds"),
        ({"a": 1, "attic": 1}, "balls lie at a place that no ball can reach"),
    ],
)
def test_what_has_no_code(counts: dict[str, int], message: str) -> None:
    """Balls missing, too many in a place, or at a place that is none of them."""
    states = {"gate": "up", "post": "in"}
    with pytest.raises(ValueError, match=message):
        _hand_coding().code(counts, states)
    assert _hand_coding().code({"c": 2, "attic": 0}, states) == 0
    with pytest.raises(ValueError, match="2 balls are wanted"):
        _hand_coding(rest_room=1).code({"c": 2}, states)


def test_placements_composed_by_hand() -> None:
    """Of two balls none or one is in a, none to two in b, the others at rest: five ways, six
    states each; with room for one at rest, three ways."""
    coding = _hand_coding()
    shares = {(counts.get("a", 0), counts.get("b", 0))
              for counts, _ in map(coding.placement, compose(coding))}  # fmt: skip
    assert shares == {(0, 0), (0, 1), (0, 2), (1, 0), (1, 1)}
    assert composed(coding) == len(set(compose(coding))) == 5 * 6
    narrow = _hand_coding(rest_room=1, states=())
    assert composed(narrow) == 4
    assert sorted(compose(narrow)) == [1, 2, 3, 4]


def test_bounds_of_effort_are_the_most_that_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """As many placements and codes as the bound are enumerated, one more are not."""
    coding = _hand_coding()
    monkeypatch.setattr(reachable_module, "MOST_PLACEMENTS", 30)
    assert len(compose(coding)) == 30
    monkeypatch.setattr(reachable_module, "MOST_PLACEMENTS", 29)
    with pytest.raises(TooManyError, match="more than 29 settled placements"):
        compose(coding)
    places = tuple(Place(id=name, kind="hold", seats=1, position_1="exit end") for name in "ab")
    one_way = Profile(
        format=1, id="made", balls=Balls(installed=1), place=places,
        route=(Route(id="ab", from_="a", to=("b",), by="coil"),),
    )  # fmt: skip
    monkeypatch.setattr(reachable_module, "MOST_CODES", 2)
    assert len(reachable(one_way, [{"a": 1}])) == 2
    monkeypatch.setattr(reachable_module, "MOST_CODES", 1)
    with pytest.raises(TooManyError, match="more than 1 codes"):
        reachable(one_way, [{"a": 1}])


def test_where_a_mechanism_stands_at_first() -> None:
    """At rest where that is known; in any state where it is not."""
    places = tuple(Place(id=name, kind="hold", seats=1, position_1="exit end") for name in "ab")
    gate = {"id": "gate", "kind": "gate", "states": ("up", "down"), "coil": "none"}
    route = Route(id="ab", from_="a", to=("b",), by="coil")

    def found(**rest: str) -> Reachable:
        profile = Profile(
            format=1, id="made", balls=Balls(installed=1), place=places, route=(route,),
            mechanism=(Mechanism(**gate, **rest),),
        )  # fmt: skip
        return reachable(profile, [{"a": 1}])

    assert len(found(rest="up")) == len(found()) == 4
    assert not found(rest="up").composed


def test_no_ball_reaches_a_place_of_captive_ones() -> None:
    """A route to a place that keeps its captive ball leads nowhere."""
    places = (
        Place(id="a", kind="hold", seats=1, position_1="exit end"),
        Place(id="well", kind="captive", seats=1, captive=1, rest_end="exit end"),
    )
    profile = Profile(
        format=1, id="made", balls=Balls(installed=1), place=places,
        route=(Route(id="r", from_="a", to=("well",), by="shot"),),
    )  # fmt: skip
    found = reachable(profile, [{"a": 1, "well": 0}])
    assert [counts for counts, _ in found] == [{"a": 1}]


def test_a_route_to_captive_balls_is_no_way_where_moves_are_followed() -> None:
    """By hand: from a to b one way, and from both to a place that keeps its captive ball."""
    places = (
        *(Place(id=name, kind="hold", seats=1, position_1="exit end") for name in "ab"),
        Place(id="well", kind="captive", seats=2, captive=1, rest_end="exit end"),
    )
    profile = Profile(
        format=1, id="made", balls=Balls(installed=1), place=places,
        route=(
            Route(id="ab", from_="a", to=("b", "well"), by="coil"),
            Route(id="out", from_="well", to=("a",), by="coil"),
        ),
    )  # fmt: skip
    found = reachable(profile, [{"a": 1}])
    assert not found.composed
    assert [counts for counts, _ in found] == [{"a": 1}, {"b": 1}]
