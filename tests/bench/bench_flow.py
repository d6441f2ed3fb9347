"""One hour of play against simpy: the same model, event for event.

Both start from the same drawn hits and decisions.  simpy runs them as processes, one of
hits, one a move, one that decides; what each yields is put in one order and compared.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import simpy

import simrig
from simrig.expectation import play
from simrig.expectation.contacts import Contacts
from simrig.expectation.motions import Motions, sampling_of
from tests.bench.measuring import Effort, alternating, equal
from tests.bench.program import alone
from tests.bench.rows import Claim, Found

TITLE = "Ball flow: play by the hour, every edge of every sensor"
_against = partial(Claim, peer="simpy", package="simpy", measure="faster")
REACTING = _against(done="play, reacting to every edge", goal=5)
ALONE = _against(done="reacting alone, edges in order", goal=5)
BATCH = _against(done="play in batch", goal=15)
WHOLE = _against(done="drawing, play and rows of text", goal=2)
CLAIMS = (REACTING, ALONE, BATCH, WHOLE)

SEED = 11
COUNTS = {"trough": 5}
MASK = (1 << play.SHIFT) - 1
Reaction = Callable[[int], Sequence[int] | None]


def by_simpy(tables: play.Tables, drawn: play.Play, reaction: Reaction | None = None) -> list[int]:
    """Return the edges of the same play, in the order in which simpy comes to them."""
    env = simpy.Environment()
    log: list[int] = []
    note = log.append

    def emit(edges: Sequence[int], base: int) -> Iterator[object]:
        for edge in edges:
            due = base + (edge >> play.SHIFT)
            if due > env.now:
                yield env.timeout(due - env.now)
            now = due << play.SHIFT | edge & MASK
            note(now)
            if reaction is not None:
                more = reaction(now)
                if more:
                    env.process(emit(more, 0))

    def hits() -> Iterator[object]:
        for edge in drawn.hits:
            due = edge >> play.SHIFT
            if due > env.now:
                yield env.timeout(due - env.now)
            note(edge)
            if reaction is not None:
                more = reaction(edge)
                if more:
                    env.process(emit(more, 0))

    def decide() -> Iterator[object]:
        state = tables.state(COUNTS)
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


def controller(tables: play.Tables, counts: Mapping[str, int] = COUNTS) -> Reaction:
    """Counts every change, and answers a ball in the trough with a kick, at times."""
    count = [0] * (2 * len(tables.signals))
    kick, _ = tables.steps(tables.state(counts))[0]
    answers = frozenset(tables.code(f"trough-{number}") | 1 for number in range(1, 4))
    last = 0

    def reaction(edge: int) -> Sequence[int] | None:
        nonlocal last
        code = edge & MASK
        count[code] += 1
        if code in answers:
            time = edge >> play.SHIFT
            if time - last > 20_000_000:
                last = time
                base = (time + 400_000) << play.SHIFT
                return [base + one for one in kick]
        return None

    return reaction


def run(effort: Effort) -> Iterator[Found]:
    """Compare, then measure in turn."""
    profile = simrig.load("tidal-clockwork")
    tables = play.Tables(Motions(profile, sampling=sampling_of(profile)))
    readings = tables.readings(Contacts(profile))
    seconds = effort.of(3600.0, 60.0)
    rounds = effort.of(15, 1)

    def drawn() -> play.Play:
        return play.draw(tables, seconds=seconds, hits_each_s=4.2, decision_each_s=0.35, seed=SEED)

    hour = drawn()
    edges = play.run(tables, COUNTS, hour)
    stream = play.Play(hits=edges, decisions=())

    def batch() -> list[int]:
        return play.run(tables, COUNTS, hour)

    def reacting() -> list[int]:
        return play.react(play.run(tables, COUNTS, hour), controller(tables))

    def alone_here() -> list[int]:
        return play.react(edges, controller(tables))

    def whole() -> str:
        return play.rows(play.run(tables, COUNTS, drawn()), readings)

    def simpy_batch() -> list[int]:
        return by_simpy(tables, hour)

    def simpy_reacting() -> list[int]:
        return by_simpy(tables, hour, controller(tables))

    def simpy_alone() -> list[int]:
        return by_simpy(tables, stream, controller(tables))

    # Ties in time are set in one order.
    equal("play in batch", sorted(simpy_batch()), edges, sorted(batch()))
    reacted = sorted(reacting())
    equal("play with a controller", sorted(simpy_reacting()), reacted, sorted(simpy_alone()))
    equal("edges that a controller adds", len(reacted) > len(edges), True)
    equal("rows of text", whole().count("\n"), len(edges) + 1)

    sizes = {"edges": len(edges), "with_kicks": len(reacted)}
    for claim, ours, peer in (
        (REACTING, reacting, simpy_reacting),
        (ALONE, alone_here, simpy_alone),
        (BATCH, batch, simpy_batch),
        (WHOLE, whole, simpy_batch),
    ):
        timed = alternating(ours, peer, rounds=rounds)
        yield claim.row(timed.faster, **timed.details, **sizes)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
