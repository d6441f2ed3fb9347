"""One hour of play against simpy: the same model, event for event, in the same run.

Run it as a script.  Every engine is run in turn, round by round; ratios are of medians.
Goals: at least 5 times simpy's events a second where a controller reacts to every event,
15 times in batch; drawing, running and writing text together at least 2 times simpy's
bare engine.
"""

import statistics
import sys
import time

import simpy

import simrig
from simrig.expectation import play
from simrig.expectation.contacts import Contacts
from simrig.expectation.motions import Motions, sampling_of

ROUNDS = 9
SECONDS = 3600.0
SEED = 11


def simpy_run(tables, counts, drawn, reaction=None):
    """The same play as processes: one a hit, one a move, one that decides."""
    env = simpy.Environment()
    log = []
    note = log.append
    mask = (1 << play.SHIFT) - 1

    def emit(edges, base):
        for edge in edges:
            due = base + (edge >> play.SHIFT)
            if due > env.now:
                yield env.timeout(due - env.now)
            now = due << play.SHIFT | edge & mask
            note(now)
            if reaction is not None:
                more = reaction(now)
                if more:
                    env.process(emit(more, 0))

    def hits():
        for edge in drawn.hits:
            due = edge >> play.SHIFT
            if due > env.now:
                yield env.timeout(due - env.now)
            note(edge)
            if reaction is not None:
                more = reaction(edge)
                if more:
                    env.process(emit(more, 0))

    def decide():
        state = tables.state(counts)
        for due, pick in drawn.decisions:
            if due > env.now:
                yield env.timeout(due - env.now)
            steps = tables.steps(state)
            if steps:
                edges, state = steps[pick % len(steps)]
                env.process(emit(edges, due))

    env.process(hits())
    env.process(decide())
    env.run()
    return log


def controller(tables, counts):
    """Counts every change, and answers a ball in the trough with a kick, at times."""
    count = [0] * (2 * len(tables.signals))
    kick, _ = tables.steps(tables.state(counts))[0]
    answers = frozenset(tables.code(f"trough-{number}") | 1 for number in range(1, 4))
    mask = (1 << play.SHIFT) - 1
    last = 0

    def reaction(edge):
        nonlocal last
        code = edge & mask
        count[code] += 1
        if code in answers:
            time = edge >> play.SHIFT
            if time - last > 20_000_000:
                last = time
                base = (time + 400_000) << play.SHIFT
                return [base + one for one in kick]
        return None

    return reaction


def timed(call):
    began = time.perf_counter()
    found = call()
    return time.perf_counter() - began, found


def main():
    profile = simrig.load("tidal-clockwork")
    motions = Motions(profile, sampling=sampling_of(profile))
    tables = play.Tables(motions)
    contacts = Contacts(profile)
    readings = tables.readings(contacts)
    counts = {"trough": 5}

    def drawn():
        return play.draw(tables, seconds=SECONDS, hits_each_s=4.2, decision_each_s=0.35, seed=SEED)

    hour = drawn()
    edges = play.run(tables, counts, hour)
    # Equal before anything is timed: ties in time are set in one order.
    assert sorted(simpy_run(tables, counts, hour)) == edges
    reacting = play.react(edges, controller(tables, counts))
    theirs = simpy_reacting(tables, counts, edges)
    assert sorted(theirs) == sorted(reacting)
    assert len(reacting) > len(edges)

    times = {name: [] for name in ("simpy", "simpy reacting", "react", "batch", "whole")}
    for _ in range(ROUNDS):
        times["simpy"].append(timed(lambda: simpy_run(tables, counts, hour))[0] / len(edges))
        took, found = timed(lambda: simpy_reacting(tables, counts, edges))
        times["simpy reacting"].append(took / len(found))
        took, found = timed(lambda: play.react(edges, controller(tables, counts)))
        times["react"].append(took / len(found))
        times["batch"].append(timed(lambda: play.run(tables, counts, hour))[0] / len(edges))
        took, _ = timed(lambda: play.rows(play.run(tables, counts, drawn()), readings))
        times["whole"].append(took / len(edges))
    median = {name: statistics.median(all_of) for name, all_of in times.items()}
    print(f"{len(edges)} edges in an hour of play, {len(reacting)} with a controller's kicks")
    goals = (
        ("a controller reacts to every event", "simpy reacting", "react", 5.0),
        ("the same against simpy that does not react", "simpy", "react", 5.0),
        ("batch", "simpy", "batch", 15.0),
        ("drawing, running and writing text", "simpy", "whole", 2.0),
    )
    failed = 0
    for title, peer, ours, goal in goals:
        ratio = median[peer] / median[ours]
        failed += ratio < goal
        verdict = "" if ratio >= goal else "  BELOW THE GOAL"
        print(
            f"{title:45} {1e6 * median[ours]:6.3f} us an event, simpy {1e6 * median[peer]:6.3f}:"
            f" {ratio:5.1f} times (goal {goal:g}){verdict}"
        )
    return 1 if failed else 0


def simpy_reacting(tables, counts, edges):
    """A stream of edges in simpy, with the same controller."""
    stream = play.Play(hits=edges, decisions=())
    return simpy_run(tables, counts, stream, controller(tables, counts))


if __name__ == "__main__":
    sys.exit(main())
