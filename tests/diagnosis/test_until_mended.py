"""Plans up to where something is put right, worked by hand."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from simrig.diagnosis.sequencing import Branch, Group, Method, Plan, Step
from simrig.diagnosis.sequencing_problem import Check, Problem, certain
from simrig.diagnosis.until_mended import alone, until_mended


def check(name: str, minutes: float, *results: str) -> Check:
    """A check with one result for each of four things that can be wrong, 0 to 3."""
    return Check(id=name, minutes=minutes, results=certain(results))


PUSH = check("push", 3, "cured", "partly", "partly", "no-change")
LOOK = check("look", 2, "dark", "lit", "dark", "dark")
METER = check("meter", 4, "open", "open", "through", "open")


def step(made: Check, before: float, branches: Mapping[str, tuple[float, Step | Group]]) -> Step:
    """A step of a plan, ``before`` minutes of moving the bench first."""
    follow = sum(chance * node.expected_minutes for chance, node in branches.values())
    return Step(
        check=made,
        change_minutes=before,
        state=None,
        hypotheses=tuple(sorted({i for _, node in branches.values() for i in node.hypotheses})),
        branches=tuple(
            Branch(result=word, probability=chance, node=node)
            for word, (chance, node) in branches.items()
        ),
        expected_minutes=before + made.minutes + follow,
        method=Method.EXACT,
    )


def plan(root: Step | Group) -> Plan:
    """A plan that was proven."""
    return Plan(root=root, expected_minutes=root.expected_minutes, proven=True, method=Method.EXACT)


def one(number: int) -> Group:
    """A leaf with one thing left."""
    return Group(hypotheses=(number,), shares=(1.0,))


def parted(number: int, other: int, made: Check = LOOK) -> Step:
    """A look, after half a minute, that parts two things that are as likely."""
    words = [next(iter(made.results[index])) for index in (number, other)]
    leaves = (one(number), one(other))
    return step(made, 0.5, {word: (0.5, leaf) for word, leaf in zip(words, leaves, strict=True)})


def pushed(made: Check, index: int) -> bool:
    """Pushing the plug home changes the machine unless there is no change to read."""
    return made is PUSH and "no-change" not in made.results[index]


def test_what_follows_a_result_that_says_it_is_mended_is_left_for_later() -> None:
    """Push, 1 + 3 minutes; half cured; in 0.4 a look of 2.5 minutes is cut off: 5 become 4."""
    whole = plan(
        step(PUSH, 1, {"cured": (0.5, one(0)), "partly": (0.4, parted(1, 2)),
                       "no-change": (0.1, one(3))})
    )  # fmt: skip
    assert whole.expected_minutes == pytest.approx(5)
    cut = until_mended(whole, pushed)
    assert isinstance(cut.root, Step)
    assert cut.expected_minutes == cut.root.expected_minutes == pytest.approx(4)
    assert not cut.proven
    left = [branch.node for branch in cut.root.branches]
    assert left == [one(0), Group(hypotheses=(1, 2), shares=(0.5, 0.5)), one(3)]
    assert [branch.result for branch in cut.root.branches] == ["cured", "partly", "no-change"]


def test_a_plan_in_which_nothing_is_mended_is_the_same_plan() -> None:
    """No check changes the machine, or what is changed is a leaf already: proven as it was."""
    whole = plan(step(PUSH, 1, {"cured": (0.5, one(0)), "partly": (0.4, parted(1, 2)),
                                "no-change": (0.1, one(3))}))  # fmt: skip
    assert until_mended(whole, lambda made, index: False) is whole
    short = plan(step(PUSH, 1, {"cured": (0.5, one(0)), "partly": (0.5, one(1))}))
    assert until_mended(short, pushed) is short
    leaf = plan(Group(hypotheses=(0, 1), shares=(0.5, 0.5)))
    assert until_mended(leaf, pushed) is leaf


def test_a_result_after_which_one_thing_is_as_it_was_goes_on() -> None:
    """Of 2 and 3 only 2 was changed by the push: they are parted as before."""
    whole = plan(step(PUSH, 1, {"cured": (0.5, one(0)), "partly": (0.5, parted(2, 3, METER))}))
    assert until_mended(whole, pushed) is whole


def test_a_cut_further_down_shortens_all_above_it() -> None:
    """Look 2.5, then in half push 4 and there in 0.8 a meter of 4.5: 6.3 become 4.5 minutes."""
    below = step(PUSH, 1, {"cured": (0.2, one(0)), "partly": (0.8, parted(1, 2, METER))})
    whole = plan(step(LOOK, 0.5, {"lit": (0.5, one(3)), "dark": (0.5, below)}))
    assert whole.expected_minutes == pytest.approx(2.5 + 0.5 * (4 + 0.8 * 4.5))
    cut = until_mended(whole, pushed)
    assert cut.expected_minutes == pytest.approx(2.5 + 0.5 * 4)
    assert isinstance(cut.root, Step)
    assert cut.root.branches[0] is whole.root.branches[0]  # type: ignore[union-attr]
    pushing = cut.root.branches[1].node
    assert isinstance(pushing, Step)
    assert pushing.expected_minutes == pytest.approx(4)
    assert pushing.branches[1].node == Group(hypotheses=(1, 2), shares=(0.5, 0.5))


def test_a_leaf_gathers_what_lay_at_several() -> None:
    """2 was left by both results, 0.6 x 0.5 and 0.4 x 0.25: together 0.4; 1 has 0.3, 3 has 0.3."""
    later = step(
        LOOK, 0,
        {"dark": (0.6, Group(hypotheses=(2, 1), shares=(0.5, 0.5))),
         "lit": (0.4, Group(hypotheses=(3, 2), shares=(0.75, 0.25)))},
    )  # fmt: skip
    cut = until_mended(plan(step(PUSH, 0, {"partly": (1.0, later)})), lambda made, index: True)
    assert isinstance(cut.root, Step)
    leaf = cut.root.branches[0].node
    assert isinstance(leaf, Group)
    assert leaf.hypotheses == (1, 2, 3)
    assert leaf.shares == pytest.approx((0.3, 0.4, 0.3))


def test_one_check_with_one_result_leaves_all_as_likely_as_it_was() -> None:
    """Weights 3, 0 and 1: the first has three quarters of what is left; 7 + 10 minutes."""
    mended = Check(id="repair", minutes=10, results=certain(["done"] * 3))
    found = alone(Problem(weights=(3, 0, 1), checks=()), mended, 7, "raised")
    assert found == Plan(
        root=Step(
            check=mended,
            change_minutes=7,
            state="raised",
            hypotheses=(0, 2),
            branches=(
                Branch(
                    result="done",
                    probability=1.0,
                    node=Group(hypotheses=(0, 2), shares=(0.75, 0.25)),
                ),
            ),
            expected_minutes=17,
            method=Method.GREEDY,
        ),
        expected_minutes=17,
        proven=False,
        method=Method.GREEDY,
    )
