"""Settled placements of a machine, composed and followed, against a search by networkx.

Run: python -m tests.bench.bench_placements [MACHINE]

The peer is a plain search on tuples over the same moves, its graph and its answer
by networkx.  All three answers are compared before anything is timed.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import networkx

from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.world.phases import row_counts
from simrig.world.reachable import Reachable, _coding, compose, follow, reachable

ROUNDS = 9
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


def _timed(work: Callable[[], object], times: int = 1) -> float:
    start = time.perf_counter()
    for _ in range(times):
        work()
    return (time.perf_counter() - start) / times


def main(name: str = "basalt-freight") -> None:
    """Compare the answers, then print the times and ratios of one run."""
    path = Path(__file__).parents[2] / "plugins/simrig_machines" / f"{name}.toml"
    profile = read(path.read_bytes(), str(path))
    home = dict(next(row_counts(profile, profile.phase[0].placements[0])))
    composed = reachable(profile, [home])
    places = {place.id for place in profile.place if not place.captive}
    rest = {m.id: m.rest or m.states[0] for m in profile.mechanism}

    def followed() -> list[int]:
        coding = _coding(profile, sum(home.values()), places)
        return follow(profile, coding, [coding.code(home, rest)])

    assert composed.composed
    assert set(compose(composed.coding)) == set(followed())
    assert plain(profile, composed) == searched(profile, home)
    times: dict[str, list[float]] = {"networkx": [], "composed": [], "followed": []}
    for _ in range(ROUNDS):
        times["networkx"].append(_timed(lambda: searched(profile, home)))
        times["composed"].append(_timed(lambda: reachable(profile, [home]), 20))
        times["followed"].append(_timed(followed, 20))
    middle = {name: statistics.median(values) for name, values in times.items()}
    print(f"{name}: {len(composed)} settled placements, {sum(home.values())} balls")
    for way, seconds in middle.items():
        print(f"  {way:9} {seconds * 1e3:8.2f} ms  {middle['networkx'] / seconds:6.0f} x")


if __name__ == "__main__":
    main(*sys.argv[1:])
