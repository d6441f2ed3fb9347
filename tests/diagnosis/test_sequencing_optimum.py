"""Plans held against plain dynamic programming, the proven optimum and an entropy tree."""

from __future__ import annotations

import math
import os
import random
import statistics

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.sequencing import (
    Check,
    Method,
    Plan,
    Problem,
    Step,
    certain,
    next_check,
    optimal_minutes,
    plan,
)
from tests.bench.sequencing_instances import (
    entropy_tree_minutes,
    plain_optimum,
    scattered,
    trough,
)

FULL = bool(os.environ.get("SIMRIG_FULL"))


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    """Few suspects and checks, a bench of three states, tiers, results of chance."""
    size = draw(st.integers(1, 5))
    states = draw(st.integers(1, 3))
    minutes = st.sampled_from((0.5, 1.0, 1.5, 2.0, 4.0))
    moves = {
        (a, b): 0.0 if a == b else draw(st.sampled_from((0.0, 1.0, 2.5)))
        for a in range(states)
        for b in range(states)
    }

    def change(state: object, check: Check) -> tuple[float, object] | None:
        if check.state is None:
            return 0.0, state
        assert isinstance(state, int)
        assert isinstance(check.state, int)
        return moves[state, check.state], check.state

    chancy = draw(st.integers(0, 2))
    checks = []
    for number in range(draw(st.integers(0, 4))):
        if number < chancy:
            shares = st.sampled_from((0.0, 0.25, 0.5, 1.0))
            rows = []
            for _ in range(size):
                yes = draw(shares)
                rows.append({word: p for word, p in (("yes", yes), ("no", 1 - yes)) if p})
            results = tuple(rows)
        else:
            results = certain(draw(st.lists(st.sampled_from("xyz"), min_size=size, max_size=size)))
        state = draw(st.sampled_from((None, *range(states))))
        tier = draw(st.integers(0, 1))
        checks.append(
            Check(id=f"c{number}", minutes=draw(minutes), tier=tier, state=state, results=results)
        )
    weights = draw(st.lists(st.integers(1, 9), min_size=size, max_size=size))
    return Problem(weights=weights, checks=checks, start=0, change=change)


def price(found: Plan) -> float:
    """The mean minutes of a tree, added up along its branches."""

    def walk(node: object, mass: float) -> float:
        if not isinstance(node, Step):
            return 0.0
        spent = mass * (node.change_minutes + node.check.minutes)
        return spent + sum(walk(one.node, mass * one.probability) for one in node.branches)

    return walk(found.root, 1.0)


@settings(max_examples=600 if FULL else 60)
@given(problems())
def test_the_optimum_equals_plain_dynamic_programming(problem: Problem) -> None:
    """Small problems, bench changes, tiers and chance included: plan, price and proof agree."""
    best = plain_optimum(problem)
    found = plan(problem)
    assert found.proven
    assert optimal_minutes(problem) == pytest.approx(best, abs=1e-9)
    assert found.expected_minutes == pytest.approx(best, abs=1e-9)
    assert price(found) == pytest.approx(best, abs=1e-9)
    chosen = next_check(problem)
    if chosen is None:
        assert best == 0
    else:
        assert chosen.expected_minutes == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize("seed", range(10 if FULL else 2))
@pytest.mark.parametrize(
    ("size", "tiers", "channels"),
    [(8, False, 1), (9, True, 2)] if FULL else [(6, False, 1), (6, True, 2)],
)
def test_the_optimum_at_a_trough_equals_plain_dynamic_programming(
    seed: int, size: int, tiers: bool, channels: int
) -> None:
    """Trough-like work with bench changes of order and price."""
    problem = trough(seed, size, tiers=tiers, channels=channels)
    assert plan(problem).expected_minutes == pytest.approx(plain_optimum(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(20 if FULL else 2))
@pytest.mark.parametrize("size", [11, 14])
def test_up_to_fourteen_suspects_the_plan_is_proven(seed: int, size: int) -> None:
    """The answer says that it is exact, and costs what the proof says."""
    problem = trough(seed, size)
    found = plan(problem)
    assert found.method is Method.EXACT
    assert found.expected_minutes == pytest.approx(optimal_minutes(problem), rel=1e-9)


def test_beyond_what_is_proven_the_plan_stays_near_the_optimum() -> None:
    """15 to 18 suspects: at most 1.02 times the optimum on 95 %, never below it."""
    ratios = []
    for seed in range(20 if FULL else 1):
        for size in (15, 16, 17, 18) if FULL else (15, 16):
            problem = trough(seed, size)
            best = optimal_minutes(problem)
            ratios.append(plan(problem).expected_minutes / best)
    assert min(ratios) > 1 - 1e-9
    near = sum(ratio <= 1.02 for ratio in ratios)
    assert near >= math.ceil(0.95 * len(ratios))


def test_rollout_without_any_proof_stays_near_the_optimum(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the exact search switched off, rollout is within 1.02 of the optimum on 95 %."""
    from simrig.diagnosis import sequencing

    problems = [trough(seed, size) for seed in range(20 if FULL else 2) for size in (11, 13)]
    best = [optimal_minutes(problem) for problem in problems]
    monkeypatch.setattr(sequencing, "OPEN_SIZE", 0)
    monkeypatch.setattr(sequencing, "TAIL_SIZE", 0)
    ratios = []
    for problem, optimum in zip(problems, best, strict=True):
        found = plan(problem)
        assert found.method is Method.ROLLOUT_TWICE
        assert not found.proven
        ratios.append(found.expected_minutes / optimum)
    assert min(ratios) > 1 - 1e-9
    near = sum(ratio <= 1.02 for ratio in ratios)
    assert near >= math.ceil(0.95 * len(ratios)) - (0 if FULL else 1)


def test_an_entropy_tree_pays_a_quarter_more() -> None:
    """Mean minutes at most 0.8 times those of a scikit-learn entropy tree (version 1.9)."""
    pytest.importorskip("sklearn")
    problems = [trough(seed, size) for seed in range(15 if FULL else 2) for size in (8, 11)]
    ours = statistics.fmean(plan(problem).expected_minutes for problem in problems)
    theirs = statistics.fmean(entropy_tree_minutes(problem) for problem in problems)
    assert ours <= 0.8 * theirs


def test_hundreds_of_suspects_fall_back_and_say_so() -> None:
    """Hundreds of suspects and checks: the answer names a method that promises less than a proof."""
    chosen = next_check(scattered(1, *((500, 620) if FULL else (130, 160))))
    assert chosen is not None
    assert not chosen.proven
    assert chosen.method not in (Method.EXACT, Method.ROLLOUT_TWICE)


def test_the_same_problem_gives_the_same_answer() -> None:
    """Effort is counted, not timed: shuffled checks give the same first check and price."""
    problem = trough(3, 15, channels=2)
    checks = list(problem.checks)
    random.Random(1).shuffle(checks)
    again = Problem(
        weights=problem.weights, checks=checks, start=problem.start, change=problem.change
    )
    one, other = next_check(problem), next_check(again)
    assert one is not None
    assert other is not None
    assert one.check.id == other.check.id
    assert one.expected_minutes == pytest.approx(other.expected_minutes)
