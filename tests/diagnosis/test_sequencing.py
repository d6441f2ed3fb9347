"""The next check, held against published and derived values.

PA90: Pattipati K.R., Alexandridis M.G., IEEE Trans. SMC 20 (1990) 872-887.
CLR: Cormen et al., Introduction to Algorithms, the Huffman figure.
COV: Cover, Thomas, Elements of Information Theory, ch. 5.
SCP: Abelson, Sussman, SICP, exercise 2.71.
SK04: Sampath Kumar V.S., Economic Quality Control 2004; classic, Mitten 1960.
"""

from __future__ import annotations

import itertools
import math

import pytest

from simrig.diagnosis.optimal import Optimum, huffman
from simrig.diagnosis.policies import Greedy
from simrig.diagnosis.sequencing import (
    Branch,
    Check,
    Group,
    Method,
    Plan,
    Problem,
    ResultError,
    SequencingError,
    Step,
    advance,
    certain,
    condition,
    next_check,
    optimal_minutes,
    plan,
)
from simrig.diagnosis.sequencing_space import Space


def every_split(count: int) -> list[Check]:
    """A check of a minute for each way to part this many suspects in two."""
    return [
        Check(id=f"split-{mask}", minutes=1, results=certain(str(mask >> i & 1) for i in range(count)))
        for mask in range(1, 1 << count - 1)
    ]  # fmt: skip


def depths(found: Plan) -> dict[int, int]:
    """How many checks it takes to come to each suspect."""
    depth: dict[int, int] = {}

    def walk(node: Step | Group, level: int) -> None:
        if isinstance(node, Group):
            depth.update(dict.fromkeys(node.hypotheses, level))
        else:
            for branch in node.branches:
                walk(branch.node, level + 1)

    walk(found.root, 0)
    return depth


def single_tests(chances: list[float], costs: list[float], *, also_last: bool) -> Problem:
    """One of several suspects is faulty, each has a test of its own.

    ``also_last``: a suspect that nobody tested is not taken for faulty, since
    something else, of vanishing chance, may be.
    """
    weights = [*chances, 1e-13] if also_last else chances
    checks = [
        Check(id=f"{i + 1}", minutes=cost, results=certain(
            "bad" if i == j else "good" for j in range(len(weights))))
        for i, cost in enumerate(costs)
    ]  # fmt: skip
    return Problem(weights=weights, checks=checks)


def order(found: Plan) -> list[str]:
    """The checks along the branch where each one is passed."""
    ids, node = [], found.root
    while isinstance(node, Step):
        ids.append(node.check.id)
        node = next(branch.node for branch in node.branches if branch.result == "good")
    return ids


PATTIPATI = Problem(
    weights=[0.7, 0.01, 0.02, 0.1, 0.05, 0.12],
    checks=[
        Check(id=f"t{column + 1}", minutes=1, results=certain(row[column] for row in (
            "00000", "01001", "00110", "10011", "11000", "11110")))
        for column in range(5)
    ],
)  # fmt: skip


def test_the_six_state_example_costs_its_published_optimum() -> None:
    """Optimum 2.18 (Source: PA90, from memory, proven again by dynamic programming)."""
    found = plan(PATTIPATI)
    assert found.expected_minutes == pytest.approx(2.18, abs=1e-9)
    assert optimal_minutes(PATTIPATI) == pytest.approx(2.18, abs=1e-9)
    assert found.proven
    assert found.method is Method.EXACT


def test_the_six_state_example_parts_every_state() -> None:
    """Every leaf is one state, and its mean depth is the price (PA90: unit costs)."""
    found = plan(PATTIPATI)
    assert sorted(found.groups(), key=lambda group: group.hypotheses) == [
        Group(hypotheses=(i,), shares=(1.0,)) for i in range(6)
    ]
    depth = depths(found)
    mean = sum(weight * depth[i] for i, weight in enumerate(PATTIPATI.weights))
    assert mean == pytest.approx(2.18, abs=1e-9)


def test_the_published_tree_of_the_six_states_is_optimal() -> None:
    """t2; 0: t4, t1; 1: t3, t1 costs 2.18 as well (Source: PA90, one optimal tree)."""
    tree = ("t2", {"0": ("t4", {"0": 0, "1": ("t1", {"0": 2, "1": 3})}),
                   "1": ("t3", {"0": ("t1", {"0": 1, "1": 4}), "1": 5})})  # fmt: skip
    total = 0.0
    for state, weight in enumerate(PATTIPATI.weights):
        node: object = tree
        while isinstance(node, tuple):
            name, branches = node
            (word,) = PATTIPATI.check(name).results[state]
            node = branches[word]
            total += weight
        assert node == state
    assert total == pytest.approx(optimal_minutes(PATTIPATI), abs=1e-9)


def test_greedy_is_dearer_on_the_six_states() -> None:
    """Information gain alone costs 2.86, bounds are 1.59 and 1.454873 (PA90, derived)."""
    space = Space(PATTIPATI)
    greedy = Greedy(space, Optimum(space), exact_size=0)
    assert greedy.value(space.root) == pytest.approx(2.86, abs=1e-9)
    assert huffman(PATTIPATI.weights) == pytest.approx(1.59, abs=1e-9)
    entropy = -sum(p * math.log2(p) for p in PATTIPATI.weights)
    assert entropy == pytest.approx(1.454873, abs=1e-6)


@pytest.mark.parametrize(
    ("weights", "total", "lengths"),
    [
        ([45, 13, 12, 16, 9, 5], 224, [1, 3, 3, 3, 4, 4]),  # Source: CLR
        ([1, 2, 4, 8, 16], 56, [4, 4, 3, 2, 1]),  # Source: SCP, geometric weights
    ],
)
def test_with_every_split_allowed_the_optimum_is_huffman_s(
    weights: list[float], total: float, lengths: list[int]
) -> None:
    """Unit costs and free choice of splits give the Huffman tree, depth by depth."""
    problem = Problem(weights=weights, checks=every_split(len(weights)))
    found = plan(problem)
    assert found.expected_minutes * sum(weights) == pytest.approx(total, abs=1e-9)
    assert huffman(weights) == total
    assert [depths(found)[i] for i in range(len(weights))] == lengths


def test_the_textbook_average_of_five_symbols() -> None:
    """2.3 checks on the mean for 0.25, 0.25, 0.2, 0.15, 0.15 (Source: COV, from memory)."""
    problem = Problem(weights=[0.25, 0.25, 0.2, 0.15, 0.15], checks=every_split(5))
    assert plan(problem).expected_minutes == pytest.approx(2.3, abs=1e-6)


@pytest.mark.parametrize(
    ("count", "mean"), [(4, 2.0), (5, 2.4), (7, 2.857143), (8, 3.0), (16, 4.0), (20, 4.4)]
)
def test_half_split_of_equal_suspects(count: int, mean: float) -> None:
    """n equal suspects, any cut, a minute each: the half split's mean (derived)."""
    cuts = [
        Check(id=f"cut-{cut:02d}", minutes=1, results=certain(
            "before" if i < cut else "after" for i in range(count)))
        for cut in range(1, count)
    ]  # fmt: skip
    found = plan(Problem(weights=[1] * count, checks=cuts))
    assert found.expected_minutes == pytest.approx(mean, abs=1e-6)


def test_a_series_is_tested_by_cost_over_chance_of_failure() -> None:
    """Stop at the first failure: ratios 50, 100, 40, so 3, 1, 2 for 27.0 (Source: SK04).

    A failed test ends it: what else is wrong then shows without a further test.
    """
    fails, costs = (0.2, 0.05, 0.5), (10, 5, 20)
    vectors = list(itertools.product((False, True), repeat=3))
    weights = [
        math.prod(p if bad else 1 - p for p, bad in zip(fails, vector, strict=True))
        for vector in vectors
    ]
    checks = [
        Check(id=f"{i + 1}", minutes=cost, results=certain(
            f"bad {number}" if vector[i] else "good" for number, vector in enumerate(vectors)))
        for i, cost in enumerate(costs)
    ]  # fmt: skip
    found = plan(Problem(weights=weights, checks=checks))
    assert found.expected_minutes == pytest.approx(27.0, abs=1e-9)
    assert order(found) == ["3", "1", "2"]


def test_every_suspect_tested_goes_by_chance_over_cost() -> None:
    """One faulty, tested until found: 2, 1, 3 for 4.2 (derived)."""
    found = plan(single_tests([0.5, 0.3, 0.2], [4, 1, 2], also_last=True))
    assert found.expected_minutes == pytest.approx(4.2, abs=1e-9)
    assert order(found) == ["2", "1", "3"]


def test_chance_over_cost_is_a_trap_when_the_last_is_inferred() -> None:
    """1, 2, 3 by ratio costs 3.0; the optimum takes 1, then 3, for 2.5 (derived)."""
    problem = single_tests([0.5, 0.3, 0.2], [1, 4, 3], also_last=False)
    by_ratio = 1 + 0.5 * 4
    assert by_ratio == 3.0
    found = plan(problem)
    assert found.expected_minutes == pytest.approx(2.5, abs=1e-9)
    assert order(found) == ["1", "3"]


def test_the_bench_change_is_part_of_the_price() -> None:
    """Two checks under one raised playfield cost one raising (worked out by hand).

    Look parts a for 3 minutes where the bench stands.  Raising costs 5; then b and
    c are parted for a minute each.  Look first: 3 + 0.5 (5 + 1) = 6; raised first,
    5 + 1 + 0.5 = 6.5 by a check on a, then one on b.
    """

    def change(state: object, check: Check) -> tuple[float, object]:
        wanted = check.state or state
        return (0.0 if wanted == state else 5.0), wanted

    def part(name: str, who: str, minutes: float, state: str | None) -> Check:
        results = certain(name if one == who else "well" for one in "abc")
        return Check(id=name, minutes=minutes, state=state, results=results)

    checks = [part("look", "a", 3, "down"), part("a-up", "a", 1, "up"), part("b-up", "b", 1, "up")]
    problem = Problem(weights=[0.5, 0.3, 0.2], checks=checks, start="down", change=change)
    found = plan(problem)
    assert isinstance(found.root, Step)
    assert found.root.check.id == "look"
    assert found.expected_minutes == pytest.approx(6.0)
    raised = plan(Problem(weights=[0.5, 0.3, 0.2], checks=checks, start="up", change=change))
    assert isinstance(raised.root, Step)
    assert raised.root.check.id == "a-up"
    assert raised.expected_minutes == pytest.approx(1.5)


def test_a_check_of_a_higher_tier_waits_until_nothing_else_parts() -> None:
    """What should be avoided is offered last, however cheap it is."""
    checks = [
        Check(id="live", minutes=0.1, tier=1, results=certain("xyz")),
        Check(id="dear", minutes=60, results=certain("xyy")),
    ]
    found = plan(Problem(weights=[1, 1, 1], checks=checks))
    assert isinstance(found.root, Step)
    assert found.root.check.id == "dear"
    ids = {branch.node.check.id for branch in found.root.branches if isinstance(branch.node, Step)}
    assert ids == {"live"}


def test_a_check_that_parts_nothing_is_not_offered() -> None:
    """What no check parts stays one group."""
    problem = Problem(weights=[1, 2], checks=[Check(id="idle", minutes=1, results=certain("aa"))])
    assert next_check(problem) is None
    assert plan(problem).groups() == (Group(hypotheses=(0, 1), shares=(1 / 3, 2 / 3)),)


def test_a_result_narrows_by_bayes_rule() -> None:
    """A result of chance shifts the weights, a certain one excludes (derived)."""
    checks = [
        Check(id="try", minutes=1, results=({"yes": 0.25, "no": 0.75}, {"yes": 1.0}, {"no": 1.0}))
    ]
    after = condition(Problem(weights=[4, 1, 2], checks=checks), "try", "yes")
    assert after.weights == pytest.approx((0.5, 0.5, 0.0))
    assert after.done == {"try"}


def test_impossible_answers_are_told_with_the_way_back() -> None:
    """An unknown check, an unknown result, an impossible one, one given twice: four messages."""
    checks = [
        Check(id="glow", minutes=1, results=certain(("lit", "dark"))),
        Check(id="pull", minutes=1, results=certain(("firm", "firm"))),
    ]
    problem = Problem(weights=[1, 1], checks=checks)
    with pytest.raises(SequencingError, match="no check glov: did you mean glow"):
        condition(problem, "glov", "lit")
    with pytest.raises(ResultError, match=r"no such result, it knows lit, dark"):
        condition(problem, "glow", "dim")
    lit = condition(problem, "glow", "lit")
    with pytest.raises(ResultError, match="has its result already: take that one back"):
        condition(lit, "glow", "dark")
    again = Problem(weights=lit.weights, checks=checks)
    with pytest.raises(
        ResultError, match="nothing that is left can give this; what is left gives lit"
    ):
        condition(again, "glow", "dark")  # fmt: skip


def test_problems_that_make_no_sense_are_refused() -> None:
    """Costs, chances, weights and result rows are checked when they are made."""
    with pytest.raises(SequencingError, match="finite number above 0"):
        Check(id="free", minutes=0, results=())
    with pytest.raises(SequencingError, match="sum to 1"):
        Check(id="odd", minutes=1, results=({"yes": 0.5},))
    with pytest.raises(SequencingError, match="one at least above 0"):
        Problem(weights=[0, 0], checks=[])
    check = Check(id="two", minutes=1, results=certain("ab"))
    with pytest.raises(SequencingError, match="results for 2 hypotheses, 3 wanted"):
        Problem(weights=[1, 1, 1], checks=[check])
    with pytest.raises(SequencingError, match="two checks are called two"):
        Problem(weights=[1, 1], checks=[check, check])


def test_a_check_out_of_the_question_is_never_in_a_plan() -> None:
    """Where the bench cannot be brought into a state, its checks are left out."""

    def change(state: object, check: Check) -> tuple[float, object] | None:
        return None if check.state == "forbidden" else (0.0, state)

    barred = Check(id="barred", minutes=0.1, state="forbidden", results=certain("ab"))
    slow = Check(id="slow", minutes=9, results=certain("ab"))
    problem = Problem(weights=[1, 1], checks=[barred, slow], change=change)
    chosen = next_check(problem)
    assert chosen is not None
    assert chosen.check.id == "slow"
    assert next_check(Problem(weights=[1, 1], checks=[barred], change=change)) is None
    with pytest.raises(SequencingError, match="cannot be done from bench state"):
        advance(problem, "barred")


def test_branches_carry_their_chances() -> None:
    """The branches of a step sum to one, each with the chance of its result."""
    check = Check(id="glow", minutes=1, results=certain(("lit", "dark", "dark")))
    root = plan(Problem(weights=[2, 1, 1], checks=[check])).root
    assert isinstance(root, Step)
    assert [(one.result, one.probability) for one in root.branches] == [
        ("lit", 0.5),
        ("dark", 0.5),
    ]
    assert all(isinstance(one, Branch) for one in root.branches)
