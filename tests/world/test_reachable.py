"""Settled placements: composed or followed, the same as a search over the one table of moves."""

from __future__ import annotations

import math
from pathlib import Path

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.profile.layout import Balls, Mechanism, Place, Route
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.world import reachable as reachable_module
from simrig.world.balls import Placement, count_by_place, settled
from simrig.world.moves import apply, moves, start
from simrig.world.phases import row_counts
from simrig.world.reachable import TooManyError, compose, follow, reachable

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
    balls = draw(st.integers(1, places[0].capacity))
    return Profile(
        format=1, id="made", balls=Balls(installed=balls), place=places, route=routes,
        mechanism=(gate,) if draw(st.booleans()) or any(r.when for r in routes) else (),
    )  # fmt: skip


@given(profile=layouts())
@settings(max_examples=120)
def test_any_layout_equals_a_search_over_the_moves(profile: Profile) -> None:
    """One-way routes, dead ends, full places: the same set as a search over the moves."""
    home = {"p0": profile.balls.installed}
    assert _plain(reachable(profile, [home])) == _searched(profile, home)


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
