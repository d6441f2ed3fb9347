"""The next check: how few minutes its plans cost, and how soon it is found.

Minutes are held against plain dynamic programming over what can be left and the state of
the bench, without bounds, and against a scikit-learn tree that splits by information
alone and pays for each check and each change of the bench.  Where both answer the same
question at different prices there is nothing to compare for equality; the optimum is.
"""

from __future__ import annotations

import statistics
import sys
from collections.abc import Iterator
from functools import partial

from simrig.diagnosis.optimal import Optimum
from simrig.diagnosis.policies import Greedy, cheapest
from simrig.diagnosis.sequencing import Problem, next_check, optimal_minutes, plan
from simrig.diagnosis.sequencing_space import Space
from tests.bench.measuring import Effort, UnequalError, once, paired
from tests.bench.program import alone
from tests.bench.rows import Claim, Found, Row
from tests.bench.sequencing_instances import (
    certain_optimum,
    entropy_tree,
    entropy_tree_minutes,
    scattered,
    trough,
)

TITLE = "The next check: minutes of its plans, and time to find it"
_optimum = partial(Claim, peer="dynamic programming")
_tree = partial(Claim, peer="scikit-learn", package="scikit-learn")
_clock = partial(Claim, peer="absolute", measure="seconds")
WORST = _optimum(done="minutes, 8-14 causes, worst", measure="longer", goal=1)
NEAR = _optimum(done="15-18 causes, within 1.02", measure="share", goal=0.95)
MINUTES = _tree(done="minutes, mean, 8-14 causes", measure="longer", goal=0.8)
SPEED = _optimum(done="11 causes, first check", measure="faster")
STEP = Claim(done="11 causes, first check", peer="one greedy step", measure="longer", goal=100)
SOON = _clock(done="35 causes, first check", goal=1)
SOON_TREE = _tree(done="35 causes, first check", measure="longer")
WIDE = _clock(done="500 causes, 620 checks, first", goal=5)
WIDE_TREE = _tree(done="500 causes, 620 checks, first", measure="longer")
CLAIMS = (WORST, NEAR, MINUTES, SPEED, STEP, SOON, SOON_TREE, WIDE, WIDE_TREE)


def greedy_step(problem: Problem) -> int:
    """Return the check with the most information per minute."""
    space = Space(problem)
    return cheapest(list(Greedy(space, Optimum(space), 0).priced(space.root)))


def over_optimum(problem: Problem) -> float:
    """Return the plan's minutes over the least possible; nobody can be below it."""
    best = certain_optimum(problem)
    proven = optimal_minutes(problem)
    if abs(proven / best - 1) > 1e-9:
        raise UnequalError(f"least minutes: {proven} found, {best} by dynamic programming")
    ratio = plan(problem).expected_minutes / best
    if ratio < 1 - 1e-9:
        raise UnequalError(f"a plan at {ratio} of the least possible minutes")
    # Beyond nine digits the sums differ by the order in which they are added up.
    return round(ratio, 9)


def qualities(effort: Effort) -> Iterator[Row]:
    """Minutes of plans, over the optimum and over the tree's."""
    seeds = range(effort.of(20, 1))
    small = [trough(seed, size) for size in effort.of((8, 11, 14), (6,)) for seed in seeds]
    ratios = [over_optimum(problem) for problem in small]
    yield WORST.row(max(ratios), problems=len(ratios))

    seeds = range(effort.of(6, 1))
    large = [trough(seed, size) for size in effort.of((15, 16, 17, 18), (9,)) for seed in seeds]
    ratios = [over_optimum(problem) for problem in large]
    near = statistics.fmean(ratio <= 1.02 for ratio in ratios)
    yield NEAR.row(near, problems=len(ratios), worst=max(ratios))

    ours = statistics.fmean(plan(problem).expected_minutes for problem in small)
    theirs = statistics.fmean(entropy_tree_minutes(problem) for problem in small)
    yield MINUTES.row(ours / theirs, problems=len(small))


def speeds(effort: Effort) -> Iterator[Row]:
    """Time to the first check: each problem is new."""
    few = [trough(seed, effort.of(11, 6)) for seed in range(effort.of(20, 1))]
    exact, steps, plain = [], [], []
    for problem in few:
        exact.append(once(lambda p=problem: next_check(p))[0])
        steps.append(once(lambda p=problem: greedy_step(p))[0])
        plain.append(once(lambda p=problem: certain_optimum(p))[0])
    timed = paired(zip(exact, plain, strict=True))
    yield SPEED.row(timed.faster, **timed.details)
    timed = paired(zip(exact, steps, strict=True))
    yield STEP.row(timed.longer, **timed.details)

    many = [trough(seed, effort.of(35, 8), channels=2) for seed in range(effort.of(3, 1))]
    yield from _first(many, SOON, SOON_TREE)
    wide = [scattered(seed, *effort.of((500, 620), (20, 30))) for seed in range(effort.of(2, 1))]
    yield from _first(wide, WIDE, WIDE_TREE)


def _first(problems: list[Problem], absolute: Claim, relative: Claim) -> Iterator[Row]:
    pairs = []
    methods = set()
    for problem in problems:
        seconds, found = once(lambda p=problem: next_check(p))
        pairs.append((seconds, once(lambda p=problem: entropy_tree(p))[0]))
        methods.add(str(found.method) if found else "none")
    timed = paired(pairs)
    details = {"method": ", ".join(sorted(methods)), **timed.details}
    yield absolute.row(max(ours for ours, _ in pairs), **details)
    yield relative.row(timed.longer, **details)


def run(effort: Effort) -> Iterator[Found]:
    """First how good, then how fast."""
    # Imported before anything is timed.
    entropy_tree(trough(0, 4))
    yield from qualities(effort)
    yield from speeds(effort)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
