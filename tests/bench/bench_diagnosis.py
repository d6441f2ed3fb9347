"""All explanations of a sheet, exact, against general-purpose solvers on the same question.

Run by hand: ``python tests/bench/bench_diagnosis.py``.  It needs python-sat and OR-tools
(``pip install simrig[bench]``) and prints ratios of times of the same run; absolute times
are the machine's.

The machine is made by rule: 7 balls, 56 switches, a diode at each, two banks of emitters,
a receiver board.  Suspects are some fifteen kinds of fault that stay on one address, and a
missing ball; kinds that come and go are left out, as the solvers would have to count
their states.  Six switches are not looked at.

python-sat gets the machine once: the placements as a list with one variable each (those
that work the same switches are one), the chains, the matrix, a counter of faults.  What
was read is assumed, the sets are enumerated by size, each found one is ruled out, and
they are ranked by their odds.  CP-SAT gets the same for each sheet, the placements as a
table, the readings fixed, and enumerates all solutions.  Each answer is compared before
its time counts; times are of the processor, not of the clock.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from ortools.sat.python import cp_model

from simrig.diagnosis.cells import system
from simrig.diagnosis.reasoning import Allowed, explain
from simrig.expectation.observation import Observation
from tests.bench.diagnosis_instances import Instance, instance, seen
from tests.diagnosis.sat_peer import Formula, SatPeer

Sets = set[tuple[int, ...]]
VALUES = {"open": 0, "closed": 1}
WARM = 20
SHOWING = ("contact-stuck-closed", "emitter-dead", "receiver-dead", "channel-on")
"""Kinds that show at a switch without a ball."""


def ours(made: Instance, sheet: Mapping[str, str], limit: int) -> Sets:
    """All sets, expanded and ranked."""
    ranked = explain(system(made.about, Observation(readings=sheet)), limit).ranked()
    return {one.members for one in ranked}


def by_sat(made: Instance, peer: SatPeer, sheet: Mapping[str, str]) -> Sets:
    """All sets by python-sat, ranked by odds."""
    found = peer.sets({name: VALUES.get(said) for name, said in sheet.items()})
    odds = [one.deviation.prior for one in made.suspects]

    def weight(chosen: tuple[int, ...]) -> float:
        product = 1.0
        for index in chosen:
            product *= odds[index]
        return product

    ranked = sorted(found, key=weight, reverse=True)
    return set(ranked)


class _Collect(cp_model.CpSolverSolutionCallback):
    def __init__(self, faults: list[cp_model.IntVar]) -> None:
        super().__init__()
        self._faults = faults
        self.found: Sets = set()

    def on_solution_callback(self) -> None:
        self.found.add(tuple([i for i, one in enumerate(self._faults) if self.Value(one)]))


def by_cp_sat(formula: Formula, sheet: Mapping[str, str], limit: int) -> Sets:
    """All sets by a CP-SAT enumeration."""
    model = cp_model.CpModel()
    variables = [model.NewBoolVar("") for _ in range(formula.variables)]

    def literal(number: int) -> cp_model.IntVar:
        one = variables[abs(number) - 1]
        return one if number > 0 else one.Not()

    placing = {id(clause) for clause in formula.placing}
    for clause in formula.clauses:
        if id(clause) in placing:
            continue
        model.AddBoolOr([literal(number) for number in clause])
    faults = variables[: len(formula.suspects)]
    model.Add(sum(faults) <= limit)
    model.AddAllowedAssignments([literal(number) for number in formula.columns], formula.rows)
    for number in formula.placed:
        model.Add(literal(number) == 0)
    for name, said in sheet.items():
        if said in VALUES:
            number = formula.noted[name]
            model.AddBoolOr([literal(number if VALUES[said] else -number)])
    solver = cp_model.CpSolver()
    solver.parameters.enumerate_all_solutions = True
    solver.parameters.num_workers = 1
    collect = _Collect(faults)
    solver.Solve(model, collect)
    return collect.found


def timed(work: Callable[[], Sets]) -> tuple[float, Sets]:
    start = time.process_time()
    answer = work()
    return time.process_time() - start, answer


def sheets(
    made: Instance, count: int, *, shows: bool, seed: str = "sheets"
) -> list[Mapping[str, str]]:
    """Return sheets on which a fault shows, or on which none does."""
    chance = random.Random(f"{seed} {shows}")
    found: list[Mapping[str, str]] = []
    while len(found) < count:
        sheet = seen(made, chance, 6, chance.choice((1, 2)))
        nothing = system(made.about, Observation(readings=sheet)).agreeing_worlds(frozenset())
        if bool(nothing) != shows:
            found.append(sheet)
    return found


def against_solvers(made: Instance, count: int, with_cp: int, *, shows: bool) -> None:
    """Print the ratios over some sheets, alternating sheet by sheet."""
    formula = Formula(
        made.profile, made.table, made.suspects, made.about.placements, made.allowed()
    )
    peer = SatPeer(formula, 2)
    ratios, cp_ratios, times, sizes = [], [], [], []
    # Other sheets first: what is worked out once for the machine is no sheet's.
    for sheet in sheets(made, WARM, shows=True, seed="others"):
        assert ours(made, sheet, 2) == by_sat(made, peer, sheet), "the answers differ"
    for number, sheet in enumerate(sheets(made, count, shows=shows)):
        mine, answer = timed(lambda sheet=sheet: ours(made, sheet, 2))
        sat, other = timed(lambda sheet=sheet: by_sat(made, peer, sheet))
        assert answer == other, "the answers differ"
        times.append(mine)
        sizes.append(len(answer))
        ratios.append(sat / mine)
        if number < with_cp:
            cp, third = timed(lambda sheet=sheet: by_cp_sat(formula, sheet, 2))
            assert answer == third, "the answers differ"
            cp_ratios.append(cp / mine)
    what = "a fault shows" if shows else "looks healthy"
    low, middle, high = statistics.quantiles(ratios, n=4)
    print(
        f"{what}: {count} sheets, median {statistics.median(sizes):.0f} sets, "
        f"{1000 * statistics.median(times):.1f} ms; "
        f"python-sat median {middle:.1f}x (quartiles {low:.1f}-{high:.1f}, least "
        f"{min(ratios):.1f})"
        + (f"; CP-SAT median {statistics.median(cp_ratios):.0f}x" if cp_ratios else ""),
        flush=True,
    )


def growth(smaller: Instance, larger: Instance, what: str) -> None:
    """Print how much more a sheet costs on the larger one, five with equal numbers of sets.

    Two faults show on them: beside one that shows, any of the faults that show nothing is a
    set more, and the larger machine has more of these.
    """
    ratios, counts = [], []
    chance = random.Random(what)
    costs: tuple[dict[int, float], dict[int, float]] = ({}, {})
    while len(ratios) < 5:
        for made, cost in zip((smaller, larger), costs, strict=True):
            sheet = seen(made, chance, 0, 2, SHOWING)
            one = system(made.about, Observation(readings=sheet))
            if any(isinstance(one.outcomes(frozenset((i,))), Allowed) for i in _parts(made)):
                continue  # one of them shows nothing here
            count, spent = _again(made, sheet, 2)
            cost[count] = spent
        for count in costs[0].keys() & costs[1].keys():
            ratios.append(costs[1].pop(count) / costs[0].pop(count))
            counts.append(count)
    print(f"{what}: {statistics.median(ratios):.1f}x (sheets with {counts} sets)", flush=True)


def _parts(made: Instance) -> range:
    return range(len(made.suspects))


def deeper(two: Instance, three: Instance) -> None:
    """Print how much more it costs to allow three at once, over five sheets."""
    ratios = []
    for sheet in sheets(two, 5, shows=True, seed="deeper"):
        ratios.append(_again(three, sheet, 3)[1] / _again(two, sheet, 2)[1])
    print(f"two to three at once: {statistics.median(ratios):.1f}x", flush=True)


def _again(made: Instance, sheet: Mapping[str, str], limit: int) -> tuple[int, float]:
    """Return the number of sets, and the time when what the machine does is known."""
    spent = math.inf
    for _ in range(4):
        start = time.process_time()
        found = explain(system(made.about, Observation(readings=sheet)), limit)
        spent = min(spent, time.process_time() - start)
    return found.count, spent


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sheets", type=int, default=20)
    parser.add_argument("--healthy", type=int, default=3)
    parser.add_argument("--cp", type=int, default=8)
    chosen = parser.parse_args()
    start = time.process_time()
    made = instance(56, 7, 2)
    spent = time.process_time() - start
    print(
        f"7 balls, 56 switches: {len(made.suspects)} suspects, "
        f"{len(made.about.placements)} placements, set up in {1000 * spent:.0f} ms"
    )
    against_solvers(made, chosen.sheets, chosen.cp, shows=True)
    against_solvers(made, chosen.healthy, min(chosen.cp, chosen.healthy), shows=False)
    growth(instance(16, 2, 2), instance(256, 2, 2), "16 to 256 switches")
    growth(instance(56, 2, 2), instance(56, 10, 2), "2 to 10 balls")
    deeper(made, instance(56, 7, 3))


if __name__ == "__main__":
    main()
