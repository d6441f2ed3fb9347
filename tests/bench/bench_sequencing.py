"""How fast the next check is found, and how good it is, against peers of the same run.

Run by hand: PYTHONPATH=. python tests/bench/bench_sequencing.py
Peers: one greedy step (information per minute), a scikit-learn entropy tree, the
proven optimum.  Speeds are ratios against the greedy step of the same run; the two
limits in seconds are those that a person waits.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

from simrig.diagnosis.optimal import Optimum
from simrig.diagnosis.policies import Greedy, cheapest
from simrig.diagnosis.sequencing import Problem, next_check, optimal_minutes, plan
from simrig.diagnosis.sequencing_space import Space
from tests.bench.sequencing_instances import entropy_tree_minutes, scattered, trough


def seconds(work: Callable[[], object]) -> float:
    """Processor seconds of one call."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def greedy_step(problem: Problem) -> int:
    """The check with the most information per minute."""
    space = Space(problem)
    return cheapest(list(Greedy(space, Optimum(space), 0).priced(space.root)))


def main() -> None:
    """Print one line a goal."""
    small = [trough(seed, 11) for seed in range(20)]
    step = statistics.median(seconds(lambda p=p: greedy_step(p)) for p in small)
    exact = statistics.median(seconds(lambda p=p: next_check(p)) for p in small)
    print(f"11 suspects: exact first check {exact / step:.0f} times a greedy step (goal 100)")

    for size in (8, 11, 14):
        problems = [trough(seed, size) for seed in range(20)]
        worst = max(plan(p).expected_minutes / optimal_minutes(p) for p in problems)
        print(f"{size} suspects: plan / proven optimum at worst {worst:.9f} (goal 1)")

    ratios = []
    for seed in range(10):
        for size in (15, 16, 17, 18):
            problem = trough(seed, size)
            ratios.append(plan(problem).expected_minutes / optimal_minutes(problem))
    near = sum(ratio <= 1.02 for ratio in ratios) / len(ratios)
    print(f"15 to 18 suspects: {near:.0%} within 1.02 of the optimum (goal 95 %), "
          f"worst {max(ratios):.4f}")  # fmt: skip

    try:
        problems = [trough(seed, size) for seed in range(15) for size in (8, 11, 14)]
        ours = statistics.fmean(plan(p).expected_minutes for p in problems)
        theirs = statistics.fmean(entropy_tree_minutes(p) for p in problems)
        print(f"mean minutes / scikit-learn entropy tree's: {ours / theirs:.3f} (goal 0.8)")
    except ModuleNotFoundError:
        print("scikit-learn is not installed: its tree is left out")

    first = max(seconds(lambda s=s: next_check(trough(s, 35, channels=2))) for s in range(3))
    print(f"35 suspects: first check {first:.2f} s (goal under 1)")
    found = []
    wide = max(
        seconds(lambda s=s: found.append(next_check(scattered(s, 500, 620)))) for s in range(2)
    )
    methods = {str(one.method) for one in found if one is not None}
    print(f"500 suspects: first check {wide:.2f} s (goal under 5), method {', '.join(methods)}")


if __name__ == "__main__":
    main()
