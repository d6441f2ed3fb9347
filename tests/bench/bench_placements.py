"""Settled placements of a machine, composed and followed, against a search by networkx.

The peer is a plain search on tuples over the same moves, its graph and its answer by
networkx.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from functools import partial

import networkx

import simrig
from simrig.profile.machine import Profile
from simrig.world.phases import row_counts
from simrig.world.reachable import Reachable, _coding, compose, follow, reachable
from tests.bench.measuring import Effort, alternating, equal
from tests.bench.program import alone
from tests.bench.rows import Claim, Found

TITLE = "Settled placements: every way that 7 balls can lie"
_against = partial(Claim, peer="networkx", package="networkx", measure="faster")
COMPOSED = _against(done="all reachable, composed", goal=400)
FOLLOWED = _against(done="move by move, followed", goal=35)
CLAIMS = (COMPOSED, FOLLOWED)

State = tuple[int, ...]


def searched(profile: Profile, home: dict[str, int]) -> set[State]:
    """Every state that networkx finds: balls at each place, then the state of each mechanism."""
    places = [place for place in profile.place if not place.captive]
    at = {place.id: index for index, place in enumerate(places)}
    stands = {mechanism.id: len(places) + n for n, mechanism in enumerate(profile.mechanism)}
    choices = {mechanism.id: tuple(mechanism.states) for mechanism in profile.mechanism}
    rooms = [place.capacity for place in places]
    routes = [
        (
            at[route.from_],
            at[target],
            [(stands[m], choices[m].index(s)) for m, s in (route.when or {}).items()],
        )
        for route in profile.route
        for target in route.to
        if target != route.from_
    ]
    turns = [(stands[name], range(len(states))) for name, states in choices.items()]

    def after(state: State) -> Iterator[State]:
        for source, target, needed in routes:
            if (
                state[source]
                and state[target] < rooms[target]
                and all(state[index] == value for index, value in needed)
            ):
                moved = list(state)
                moved[source] -= 1
                moved[target] += 1
                yield tuple(moved)
        for index, values in turns:
            for value in values:
                if value != state[index]:
                    yield (*state[:index], value, *state[index + 1 :])

    first = tuple(home.get(place.id, 0) for place in places) + tuple(
        choices[mechanism.id].index(mechanism.rest or mechanism.states[0])
        for mechanism in profile.mechanism
    )
    graph = networkx.DiGraph()
    graph.add_node(first)
    todo = [first]
    while todo:
        here = todo.pop()
        for there in after(here):
            if there not in graph:
                todo.append(there)
            graph.add_edge(here, there)
    return {first} | networkx.descendants(graph, first)


def plain(profile: Profile, found: Reachable) -> set[State]:
    """The same states, from the answer that is measured."""
    places = [place.id for place in profile.place if not place.captive]
    choices = {mechanism.id: tuple(mechanism.states) for mechanism in profile.mechanism}
    return {
        tuple(counts.get(name, 0) for name in places)
        + tuple(choices[name].index(state) for name, state in states.items())
        for counts, states in found
    }


def run(effort: Effort) -> Iterator[Found]:
    """Compare, then measure in turn."""
    # The demo machine with the fewest balls is enough to see that it works.
    profile = simrig.load(effort.of("basalt-freight", "orchard-signal"))
    home = dict(next(row_counts(profile, profile.phase[0].placements[0])))
    places = {place.id for place in profile.place if not place.captive}
    rest = {m.id: m.rest or m.states[0] for m in profile.mechanism}

    def by_networkx() -> set[State]:
        return searched(profile, home)

    def composed() -> Reachable:
        return reachable(profile, [home])

    def followed() -> list[int]:
        coding = _coding(profile, sum(home.values()), places)
        return follow(profile, coding, [coding.code(home, rest)])

    found = composed()
    equal("placements composed", plain(profile, found), by_networkx())
    equal("placements followed", set(followed()), set(compose(found.coding)))
    for claim, ours in ((COMPOSED, composed), (FOLLOWED, followed)):
        timed = alternating(ours, by_networkx, rounds=effort.of(9, 1))
        yield claim.row(timed.faster, **timed.details, placements=len(found))


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
