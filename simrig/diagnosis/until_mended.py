"""Plans up to where something is put right: what comes after it is read on another machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import attrs

from simrig.diagnosis import sequencing
from simrig.diagnosis.sequencing import Branch, Group, Plan, Problem, Step
from simrig.diagnosis.sequencing_problem import Check

Changes = Callable[[Check, int], bool]
"""Whether a check changes the machine that a hypothesis stands for."""


def until_mended(plan: Plan, changes: Changes) -> Plan:
    """Return a plan that ends at each result after which all that is left was changed.

    The rest is planned once that result is in: results after it are not those that the
    problem states.  A plan that was cut is not proven.
    """
    root = _cut(plan.root, changes)
    if root is plan.root:
        return plan
    return attrs.evolve(plan, root=root, expected_minutes=root.expected_minutes, proven=False)


def alone(problem: Problem, check: Check, minutes: float, state: sequencing.State) -> Plan:
    """Return the plan of one check with one result, the way to it of so many minutes first."""
    live = problem.live()
    total = sum(problem.weights)
    left = Group(hypotheses=live, shares=tuple(problem.weights[i] / total for i in live))
    ((result, _),) = check.results[live[0]].items()
    step = Step(
        check=check,
        change_minutes=minutes,
        state=state,
        hypotheses=live,
        branches=(Branch(result=result, probability=1.0, node=left),),
        expected_minutes=minutes + check.minutes,
        method=sequencing.Method.GREEDY,
    )
    return Plan(root=step, expected_minutes=step.expected_minutes, proven=False, method=step.method)


def _cut(node: Step | Group, changes: Changes) -> Step | Group:
    if isinstance(node, Group):
        return node
    branches = []
    for branch in node.branches:
        after = branch.node
        if isinstance(after, Step) and all(changes(node.check, i) for i in after.hypotheses):
            after = _group(after)
        else:
            after = _cut(after, changes)
        branches.append(branch if after is branch.node else attrs.evolve(branch, node=after))
    if all(new is old for new, old in zip(branches, node.branches, strict=True)):
        return node
    follow = sum(branch.probability * branch.node.expected_minutes for branch in branches)
    return attrs.evolve(
        node,
        branches=tuple(branches),
        expected_minutes=node.change_minutes + node.check.minutes + follow,
    )


def _group(node: Step) -> Group:
    found: dict[int, float] = {}
    for index, share in _shares(node, 1.0):
        found[index] = found.get(index, 0.0) + share
    numbers = tuple(sorted(found))
    return Group(hypotheses=numbers, shares=tuple(found[index] for index in numbers))


def _shares(node: Step | Group, share: float) -> Iterator[tuple[int, float]]:
    if isinstance(node, Group):
        for index, part in zip(node.hypotheses, node.shares, strict=True):
            yield index, share * part
        return
    for branch in node.branches:
        yield from _shares(branch.node, share * branch.probability)
