"""The next check that pays best, and the whole plan behind it.

Problem: several things can be wrong, each with a chance; checks cost minutes,
need the bench in a fit state, and part what can be wrong by their results.
Which check comes first, so that on the mean the fewest minutes pass until no
check parts what is left?  Known as the test sequencing problem (Pattipati,
Alexandridis: Application of heuristic search and information theory to
sequential fault diagnosis, IEEE Trans. SMC 20 (1990) 872-887).

Up to 14 hypotheses that checks can part, the answer is the proven optimum;
beyond that the optimum if a short search proves it, else rollout applied twice
on a greedy base, else greedy.  How far each is taken is bounded by counted work,
so the same problem always gives the same answer, and the answer says how it
was found.

Worked example: ``Problem(weights=(6, 3, 1), checks=...)`` with the checks
a = {x | y z}, b = {y | x z}, a minute each.  a first: x is found after one
minute, y and z after two, 1.4 on the mean.  b first gives 1.7.
"""

from __future__ import annotations

from enum import StrEnum

import attrs

from simrig.diagnosis.optimal import Optimum
from simrig.diagnosis.policies import Greedy, Rollout, cheapest
from simrig.diagnosis.sequencing_problem import (
    Change,
    Check,
    Problem,
    ResultError,
    SequencingError,
    State,
    advance,
    certain,
    condition,
    no_change,
)
from simrig.diagnosis.sequencing_space import Node, Space, WorkSpentError

__all__ = [
    "Branch",
    "Change",
    "Check",
    "Choice",
    "Group",
    "Method",
    "Plan",
    "Problem",
    "ResultError",
    "SequencingError",
    "State",
    "Step",
    "advance",
    "certain",
    "condition",
    "next_check",
    "no_change",
    "optimal_minutes",
    "plan",
]

EXACT_SIZE = 14  # always searched for the proven optimum
OPEN_SIZE = 18  # searched for a while
TAIL_SIZE = 8  # what rollout leaves to the optimum
WIDE_SIZE = 64  # too wide to prepare the optimum's tables for a tail
ROLLOUT_WIDTH = 8

# Work is counted in offers looked at, two to five microseconds each.
EXACT_WORK = 1_000_000
OPEN_WORK = 150_000
GREEDY_WORK = 500_000
ROLLOUT_WORK = 300_000
ROLLOUT_FLOOR = 2_000  # enough to follow what was priced before
PLAN_FACTOR = 2  # a whole plan may cost this many first checks
PLAN_STEPS = 20_000


class Method(StrEnum):
    """How a check was chosen, best first."""

    EXACT = "exact"
    ROLLOUT_TWICE = "rollout twice"
    ROLLOUT = "rollout once"
    ROLLOUT_CUT = "rollout cut short"
    GREEDY = "greedy"


@attrs.frozen(kw_only=True)
class Choice:
    """The check to do next.

    ``change_minutes`` bring the bench into a fit state, ``state`` is how it then
    stands.  ``expected_minutes`` is the mean, from now on, of a plan that begins
    with this check; None when even the greedy plan is too large to price.
    ``proven``: no plan has a lower mean.
    """

    check: Check
    change_minutes: float
    state: State
    expected_minutes: float | None
    proven: bool
    method: Method


@attrs.frozen(kw_only=True)
class Group:
    """A leaf: what is left when no allowed check parts it, with shares that sum to 1."""

    hypotheses: tuple[int, ...]
    shares: tuple[float, ...]

    @property
    def expected_minutes(self) -> float:
        """Nothing more is spent here."""
        return 0.0


@attrs.frozen(kw_only=True)
class Branch:
    """One result of a step, its probability there, and what follows."""

    result: str
    probability: float
    node: Step | Group


@attrs.frozen(kw_only=True)
class Step:
    """A check in a plan, with the hypotheses left before it and the bench after it."""

    check: Check
    change_minutes: float
    state: State
    hypotheses: tuple[int, ...]
    branches: tuple[Branch, ...]
    expected_minutes: float
    method: Method


@attrs.frozen(kw_only=True)
class Plan:
    """What to do, result by result, until no check parts what is left.

    ``method`` is the least trusted among the methods of the steps.
    """

    root: Step | Group
    expected_minutes: float
    proven: bool
    method: Method

    def groups(self) -> tuple[Group, ...]:
        """Every leaf, in the order of the tree."""
        found: list[Group] = []
        waiting: list[Step | Group] = [self.root]
        while waiting:
            node = waiting.pop()
            if isinstance(node, Group):
                found.append(node)
            else:
                waiting.extend(branch.node for branch in reversed(node.branches))
        return tuple(found)


@attrs.frozen
class _Decision:
    check: int
    minutes: float | None
    method: Method


@attrs.define
class _Purse:
    """The work that may still be spent, shared by all decisions of one answer."""

    exact: float = EXACT_WORK
    rollout: float = ROLLOUT_WORK


class _Planner:
    """Chooses the check at any node of one problem, with all it has learned so far."""

    def __init__(self, problem: Problem, purse: _Purse) -> None:
        self.space = Space(problem)
        self.purse = purse
        self.optimum = Optimum(self.space)
        chance = any(check.chancy for check in self.space.checks)
        tail = 0 if chance or self.space.size > WIDE_SIZE else TAIL_SIZE
        self.greedy = Greedy(self.space, self.optimum, tail)
        self.once = Rollout(self.greedy, len(self.space.checks))
        self.twice = Rollout(self.once, ROLLOUT_WIDTH)

    def decide(self, node: Node) -> _Decision | None:
        """The check to do at a node; None at a leaf."""
        if not self.space.splits(node[0], self.space.evidence[node[2]].used):
            return None
        return self._exactly(node) or self._roughly(node)

    def _exactly(self, node: Node) -> _Decision | None:
        size = node[0].bit_count()
        if size > OPEN_SIZE:
            return None
        meter = self.space.meter
        began = meter.spent
        allowed = EXACT_WORK if size <= EXACT_SIZE else OPEN_WORK
        try:
            with meter.within(min(allowed, self.purse.exact)):
                value, offer = self.optimum.choose(node)
        except WorkSpentError:
            return None
        finally:
            self.purse.exact -= meter.spent - began
        return _Decision(offer[1], value / self.space.mass(node), Method.EXACT)

    def _roughly(self, node: Node) -> _Decision:
        meter = self.space.meter
        chosen = cheapest(list(self.greedy.priced(node)))
        try:
            with meter.within(GREEDY_WORK):
                price = self.greedy.value(node)
        except WorkSpentError:
            return _Decision(chosen, None, Method.GREEDY)
        method = Method.GREEDY
        priced: list[tuple[float, int]] = [(price, chosen)]
        began = meter.spent
        try:
            with meter.within(max(ROLLOUT_FLOOR, min(ROLLOUT_WORK, self.purse.rollout))):
                for offer in self.once.priced(node):
                    priced.append(offer)
                    method = Method.ROLLOUT_CUT
                method = Method.ROLLOUT
                priced.extend(self.twice.priced(node))
                method = Method.ROLLOUT_TWICE
        except WorkSpentError:
            pass  # what was priced so far stands
        self.purse.rollout -= meter.spent - began
        return _Decision(cheapest(priced), min(priced)[0] / self.space.mass(node), method)

    def problem_at(self, node: Node) -> Problem:
        """What is left at a node, as a problem of its own."""
        space = self.space
        shares = space.shares(node)
        used = {space.checks[number].check.id for number, _ in space.evidence[node[2]].seen}
        return attrs.evolve(
            space.problem,
            weights=tuple(shares.get(i, 0.0) for i in range(len(space.problem.weights))),
            start=space.state(node[1]),
            done=space.problem.done | used,
        )


def next_check(problem: Problem) -> Choice | None:
    """The check to do next; None when no allowed check parts what is left."""
    planner = _Planner(problem, _Purse())
    space = planner.space
    decision = planner.decide(space.root)
    if decision is None:
        return None
    change_minutes, after = space.move(space.root[1], decision.check)
    return Choice(
        check=space.checks[decision.check].check,
        change_minutes=change_minutes,
        state=space.state(after),
        expected_minutes=decision.minutes,
        proven=decision.method is Method.EXACT,
        method=decision.method,
    )


def optimal_minutes(problem: Problem) -> float:
    """The proven least expected minutes, whatever the search costs.

    Meant for up to some 18 hypotheses that checks can part.
    """
    space = Space(problem)
    return Optimum(space).value(space.root)


@attrs.define
class _Draft:
    planner: _Planner
    node: Node
    decision: _Decision | None
    branches: list[tuple[str, float, int]]


def plan(problem: Problem) -> Plan:
    """The whole tree of checks; its first check is that of ``next_check``.

    Raises SequencingError when results of chance make the tree too large.
    """
    purse = _Purse(exact=PLAN_FACTOR * EXACT_WORK, rollout=PLAN_FACTOR * ROLLOUT_WORK)
    drafts = _drafts(_Planner(problem, purse))
    built: dict[int, Step | Group] = {}
    for index in range(len(drafts) - 1, -1, -1):
        built[index] = _build(drafts[index], built)
    methods = [draft.decision.method for draft in drafts if draft.decision is not None]
    method = max(methods, key=list(Method).index, default=Method.EXACT)
    return Plan(
        root=built[0],
        expected_minutes=built[0].expected_minutes,
        proven=method is Method.EXACT,
        method=method,
    )


def _drafts(planner: _Planner) -> list[_Draft]:
    """Every node of the plan, each before those that follow it."""
    drafts = [_Draft(planner, planner.space.root, planner.decide(planner.space.root), [])]
    for draft in drafts:
        if draft.decision is None:
            continue
        space = draft.planner.space
        mass = space.mass(draft.node)
        for word, child in space.branches(draft.node, draft.decision.check):
            share = space.mass(child) / mass
            planner, node = draft.planner, child
            if space.size > WIDE_SIZE and child[0].bit_count() <= OPEN_SIZE:
                # The optimum's tables are small only for a small problem.
                planner = _Planner(planner.problem_at(child), planner.purse)
                node = planner.space.root
            draft.branches.append((word, share, len(drafts)))
            drafts.append(_Draft(planner, node, planner.decide(node), []))
            if len(drafts) > PLAN_STEPS:
                raise SequencingError(
                    f"the plan has more than {PLAN_STEPS} steps: ask for the next check alone, "
                    "or leave out checks whose results are chance"
                )
    return drafts


def _build(draft: _Draft, built: dict[int, Step | Group]) -> Step | Group:
    space = draft.planner.space
    if draft.decision is None:
        shares = space.shares(draft.node)
        return Group(hypotheses=tuple(shares), shares=tuple(shares.values()))
    number = draft.decision.check
    change_minutes, after = space.move(draft.node[1], number)
    check = space.checks[number].check
    branches = tuple(
        Branch(result=word, probability=share, node=built[index])
        for word, share, index in draft.branches
    )
    follow = sum(branch.probability * branch.node.expected_minutes for branch in branches)
    return Step(
        check=check,
        change_minutes=change_minutes,
        state=space.state(after),
        hypotheses=space.hypotheses(draft.node[0]),
        branches=branches,
        expected_minutes=change_minutes + check.minutes + follow,
        method=draft.decision.method,
    )
