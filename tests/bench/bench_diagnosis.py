"""All explanations of a sheet, exact, against general-purpose solvers on the same question.

The machine is made by rule: 7 balls, 56 switches, a diode at each, two banks of emitters,
a receiver board.  Suspects are some fifteen kinds of fault that stay on one address, and a
missing ball; kinds that come and go are left out, as the solvers would have to count
their states.  Six switches are not looked at.

python-sat gets the machine once: the placements as a list with one variable each (those
that work the same switches are one), the chains, the matrix, a counter of faults.  What
was read is assumed, the sets are enumerated by size, each found one is ruled out, and
they are ranked by their odds.  CP-SAT gets the same for each sheet and enumerates all
solutions.  Brute force puts every set into a small machine's table of links and scans all
placements.  Each sheet is new to each of them: what is worked out for a machine is kept,
what is worked out for a sheet is not.
"""

from __future__ import annotations

import random
import statistics
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from itertools import combinations
from math import prod
from typing import Protocol

from simrig.diagnosis.cells import system
from simrig.diagnosis.reasoning import Allowed, explain
from simrig.expectation.observation import Observation
from simrig.faults.injection import inject
from simrig.scan.scanner import readings
from simrig.world.worlds import worlds
from tests.bench.diagnosis_instances import Instance, instance, seen
from tests.bench.measuring import Effort, equal, fastest, once, paired, tell
from tests.bench.program import alone
from tests.bench.rows import Claim, Curve, Found
from tests.diagnosis.sat_peer import Formula, SatPeer

TITLE = "Diagnosis: all explanations by up to two faults, exact"
_sat = partial(Claim, peer="python-sat", package="python-sat", measure="faster")
_cp_sat = partial(Claim, peer="CP-SAT", package="ortools", measure="faster")
_tuned = partial(Claim, peer="CP-SAT, tuned", package="ortools", measure="faster")
_grown = partial(Claim, measure="longer")
SHOWS = "a fault shows"
HEALTHY = "looks healthy"
SHOWS_SAT = _sat(done=SHOWS, goal=12)
SHOWS_CP = _cp_sat(done=SHOWS, goal=50)
HEALTHY_SAT = _sat(done=HEALTHY, goal=30)
HEALTHY_CP = _cp_sat(done=HEALTHY, goal=150)
SHOWS_TUNED = _tuned(done=SHOWS)
HEALTHY_TUNED = _tuned(done=HEALTHY)
BRUTE = Claim(done="a small machine", peer="brute force", measure="faster", goal=100)
SWITCHES = _grown(done="256 switches", peer="the same, 16", goal=5)
BALLS = _grown(done="10 balls", peer="the same, 2", goal=5)
FAULTS = _grown(done="three faults at once", peer="the same, two", goal=60)
CLAIMS = (
    *(SHOWS_SAT, HEALTHY_SAT, SHOWS_CP, HEALTHY_CP, SHOWS_TUNED, HEALTHY_TUNED),
    *(BRUTE, SWITCHES, BALLS, FAULTS),
)

Sets = set[tuple[int, ...]]
Readings = Mapping[str, str]
WARM = 20
SHOWING = ("contact-stuck-closed", "emitter-dead", "receiver-dead", "channel-on")
"""Kinds that show at a switch without a ball."""


def by_simrig(made: Instance, sheet: Readings, limit: int = 2) -> Sets:
    """All sets, expanded and ranked."""
    ranked = explain(system(made.about, Observation(readings=sheet)), limit).ranked()
    return {one.members for one in ranked}


class Peer(Protocol):
    """A solver with the machine in it."""

    def sets(self, readings: Mapping[str, int | None]) -> Sets:
        """Return all sets that can give what was read: 1 closed, 0 open, None not known."""


def by_solver(made: Instance, peer: Peer, sheet: Readings) -> Sets:
    """All sets by a solver, ranked by odds."""
    closed = {"open": 0, "closed": 1}
    found = peer.sets({name: closed.get(said) for name, said in sheet.items()})
    odds = [one.deviation.prior for one in made.suspects]
    ranked = sorted(found, key=lambda chosen: prod(odds[i] for i in chosen), reverse=True)
    return set(ranked)


def by_brute_force(made: Instance, sheet: Readings) -> Sets:
    """All sets of up to two by trying each, with all placements."""
    many = worlds(made.profile, made.about.placements)
    found = set()
    for size in range(3):
        for chosen in combinations(range(len(made.suspects)), size):
            ones = [made.suspects[index] for index in chosen]
            if len({one.deviation.part for one in ones}) < size:
                continue
            fitting = made.about.selected.get(made.selecting & frozenset(chosen), 0)
            table = inject(made.profile, made.table, [one.fault for one in ones if one.fault])
            for name, value in readings(made.profile, table, many).cells.items():
                said = sheet[name]
                if said == "closed":
                    fitting &= value.maybe
                elif said == "open":
                    fitting &= ~value.surely
            if fitting:
                found.add(chosen)
    return found


def sheets(
    made: Instance, count: int, *, shows: bool, seed: str = "sheets", unknown: int = 6
) -> list[Readings]:
    """Return sheets on which a fault shows, or on which none does."""
    chance = random.Random(f"{seed} {shows}")
    found: list[Readings] = []
    while len(found) < count:
        sheet = seen(made, chance, unknown, chance.choice((1, 2)))
        nothing = system(made.about, Observation(readings=sheet)).agreeing_worlds(frozenset())
        if bool(nothing) != shows:
            found.append(sheet)
    return found


def against(
    claim: Claim, made: Instance, peer: Callable[[Readings], Sets], chosen: Sequence[Readings]
) -> Found:
    """Answer each sheet in turn, ours and the peer's, and return the row."""
    pairs, sizes = [], []
    for sheet in chosen:
        ours, answer = once(lambda sheet=sheet: by_simrig(made, sheet))
        theirs, other = once(lambda sheet=sheet: peer(sheet))
        equal(f"{claim.done}, {claim.peer}", answer, other)
        pairs.append((ours, theirs))
        sizes.append(len(answer))
    timed = paired(pairs)
    return claim.row(timed.faster, **timed.details, sets=statistics.median(sizes))


def against_solvers(effort: Effort) -> Iterator[Found]:
    """Sheets of a machine of the usual size."""
    made = instance(*effort.of((56, 7), (16, 2)), 2)
    formula = Formula(
        made.profile, made.table, made.suspects, made.about.placements, made.allowed()
    )
    sat = partial(by_solver, made, SatPeer(formula, 2))
    # Other sheets first: what is worked out once for the machine is no sheet's.
    for sheet in sheets(made, effort.of(WARM, 1), shows=True, seed="others"):
        equal("sheets to begin with", by_simrig(made, sheet), sat(sheet))
    # New sheets for each solver: ours has not seen them either.
    showing = sheets(made, effort.of(44, 3), shows=True)
    healthy = sheets(made, effort.of(8, 3), shows=False)
    yield against(SHOWS_SAT, made, sat, showing[: effort.of(20, 1)])
    yield against(HEALTHY_SAT, made, sat, healthy[: effort.of(3, 1)])

    from tests.bench.cp_sat_peer import CpSatPeer

    cp_sat = partial(by_solver, made, CpSatPeer(formula, 2, tuned=False))
    tuned = partial(by_solver, made, CpSatPeer(formula, 2, tuned=True))
    yield against(SHOWS_CP, made, cp_sat, showing[effort.of(20, 1) : effort.of(32, 2)])
    yield against(HEALTHY_CP, made, cp_sat, healthy[effort.of(3, 1) : effort.of(5, 2)])
    yield against(SHOWS_TUNED, made, tuned, showing[effort.of(32, 2) :])
    yield against(HEALTHY_TUNED, made, tuned, healthy[effort.of(5, 2) :])


def against_brute_force(effort: Effort) -> Iterator[Found]:
    """Sheets of a machine that is small enough to try everything."""
    made = instance(*effort.of((16, 2), (4, 1)), 2)
    for sheet in sheets(made, effort.of(WARM, 1), shows=True, seed="others", unknown=2):
        by_simrig(made, sheet)
    chosen = sheets(made, effort.of(5, 1), shows=True, unknown=2)
    yield against(BRUTE, made, partial(by_brute_force, made), chosen)


def growth(sized: Mapping[int, Instance], claim: Claim, what: str, rounds: int) -> Iterator[Found]:
    """How much more a sheet costs on a larger machine, for sheets with equal numbers of sets.

    Two faults show on them: beside one that shows, any of the faults that show nothing is a
    set more, and the larger machine has more of these.
    """
    smallest, *others = sized
    times = [1.0]
    for size in others:
        chance = random.Random(f"{what} {size}")
        costs: tuple[dict[int, float], dict[int, float]] = ({}, {})
        ratios: list[float] = []
        while len(ratios) < rounds:
            for made, cost in zip((sized[smallest], sized[size]), costs, strict=True):
                sheet = seen(made, chance, 0, 2, SHOWING)
                if _shows_nothing_of(made, sheet):
                    continue
                count, seconds = _cost(made, sheet, 2)
                cost[count] = seconds
            for count in costs[0].keys() & costs[1].keys():
                ratios.append(costs[1].pop(count) / costs[0].pop(count))
        times.append(statistics.median(ratios))
        tell(f"  {what} {size}: {times[-1]:.2f}")
    yield claim.row(times[-1])
    yield Curve(done="explanations of a sheet", size=what, sizes=tuple(sized), times=times)


def _shows_nothing_of(made: Instance, sheet: Readings) -> bool:
    """Whether one fault alone explains a sheet of two."""
    one = system(made.about, Observation(readings=sheet))
    return any(
        isinstance(one.outcomes(frozenset((index,))), Allowed)
        for index in range(len(made.suspects))
    )


def _cost(made: Instance, sheet: Readings, limit: int) -> tuple[int, float]:
    """Return the number of sets, and the time when what the machine does is known."""

    def work() -> int:
        return explain(system(made.about, Observation(readings=sheet)), limit).count

    return work(), fastest(work)


def deeper(effort: Effort) -> Iterator[Found]:
    """How much more it costs to allow more faults at once, on the same sheets."""
    size = effort.of((56, 7), (16, 2))
    limits = (1, 2, 3)
    made = [instance(*size, limit) for limit in limits]
    chosen = sheets(made[1], effort.of(8, 2), shows=True, seed="deeper")
    costs = [
        [_cost(one, sheet, limit) for one, limit in zip(made, limits, strict=True)]
        for sheet in chosen
    ]
    third = statistics.median(row[2][1] / row[1][1] for row in costs)
    yield FAULTS.row(third, sheets=len(costs))
    # Of one fault alone only a sheet tells that one alone can explain.
    alike = [[seconds for _, seconds in row] for row in costs if row[0][0]] or [[1.0] * 3]
    times = [statistics.median(row[n] / row[0] for row in alike) for n in range(3)]
    yield Curve(done="explanations of a sheet", size="faults at once", sizes=limits, times=times)


def run(effort: Effort) -> Iterator[Found]:
    """Compare and measure sheet by sheet."""
    yield from against_solvers(effort)
    yield from against_brute_force(effort)
    switches = effort.of((16, 32, 64, 128, 256), (16, 32))
    rounds = effort.of(5, 1)
    sized = {size: instance(size, 2, 2) for size in switches}
    yield from growth(sized, SWITCHES, "switches", rounds)
    balls = effort.of((2, 4, 6, 8, 10), (2, 3))
    sized = {number: instance(effort.of(56, 16), number, 2) for number in balls}
    yield from growth(sized, BALLS, "balls", rounds)
    yield from deeper(effort)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
