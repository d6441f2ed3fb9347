"""The proven optimum: branch and bound over what can be left.

Problem: find the tree of checks with the least expected minutes until nothing
parts what is left.  The value of a node is the least over its offers of the
offer's minutes, weighted with the chance of coming here, plus the values of the
nodes that follow.  Nodes are remembered, with their value or the best lower
bound that was needed so far.

Lower bound: whatever the plan, the checks on the way to the group of hypothesis
i must set it apart from each other hypothesis that can surely be told from it.
So the way costs at least the cheapest set of checks that does so (its
certificate, an exact weighted set cover), with the least bench change that
gives access to all of the set.  Where checks cost much the same, a second bound
takes over: the cheapest check's minutes times the mean depth of the best tree
that any checks could give (Huffman: A method for the construction of
minimum-redundancy codes, Proc. IRE 40 (1952) 1098-1101; from memory).

Worked example: three suspects, checks a|bc for 1 minute and b|ac for 4.  The
certificate of a is {a|bc}, 1 minute; of b is {b|ac}, 4; of c both, 5.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable

from simrig.diagnosis.sequencing_space import Node, Offer, Space, bits

# Two sums of the same minutes in another order differ by less, relatively.
NEAR = 1 - 1e-11
TIE = 1 + 1e-10
# Bench states beyond this many are taken to be as cheap as the last one looked at.
STATES = 64
# The second bound is worked out only where it comes this near to the first.
WORTH = 0.7


def huffman(weights: Iterable[float], arity: int = 2) -> float:
    """Total weighted depth of the shallowest tree with these leaves, ``arity`` to a fork."""
    queue = sorted(weights)
    if len(queue) < 2:
        return 0.0
    queue = [0.0] * (-(len(queue) - 1) % (arity - 1)) + queue
    total = 0.0
    while len(queue) > 1:
        joined = sum(heapq.heappop(queue) for _ in range(arity))
        heapq.heappush(queue, joined)
        total += joined
    return total


class Bounds:
    """Lower bounds of nodes, for every bench state and whatever chance has shown."""

    def __init__(self, space: Space) -> None:
        self._space = space
        self._required: list[int] = []
        self._separates: list[list[tuple[int, int]]] = []
        # Every class of accessible checks has its own cover tables.
        self._by_access: dict[int, list[list[list[tuple[float, int]]]]] = {}
        self._covers: dict[int, list[dict[int, float]]] = {}
        self._steps: dict[int, list[tuple[float, int]]] = {}
        self._cheapest = min((check.check.minutes for check in space.checks), default=0.0)
        self._arity = max((len(check.words) for check in space.checks), default=2)
        self._shallow: bool | None = None

    @staticmethod
    def _separations(space: Space) -> tuple[list[int], list[list[tuple[int, int]]]]:
        """Per class: the classes surely told from it, and what each check parts from it.

        A pair is told apart only by checks up to the lowest tier that surely
        parts it, since a lower tier is always offered first.
        """
        sure = [0] * space.size
        tiers = sorted({check.check.tier for check in space.checks})
        parts: list[list[tuple[int, int]]] = [[] for _ in range(space.size)]
        for tier in tiers:
            below = list(sure)
            for number, check in enumerate(space.checks):
                if check.check.tier != tier:
                    continue
                for i in range(space.size):
                    shared = 0  # classes with a possible result in common with i
                    same = space.full  # classes with the same possible results as i
                    for support in check.supports:
                        if support >> i & 1:
                            shared |= support
                            same &= support
                        else:
                            same &= ~support
                    sure[i] |= space.full & ~shared
                    parted = space.full & ~same & ~below[i]
                    if parted:
                        parts[i].append((number, parted))
        return sure, [
            [(number, needed) for number, parted in parts[i] if (needed := parted & sure[i])]
            for i in range(space.size)
        ]

    def _access(self, state: int) -> list[tuple[float, int]]:
        """Least bench minutes, dearest last, each with all checks that they give access to."""
        found = self._steps.get(state)
        if found is not None:
            return found
        space = self._space
        least: dict[int, float] = {}
        queue = [(0.0, state)]
        settled: set[int] = set()
        while queue:
            spent, here = heapq.heappop(queue)
            if here in settled:
                continue
            settled.add(here)
            if len(settled) > STATES:
                least = {number: min(minutes, spent) for number, minutes in least.items()}
                break
            for number in range(len(space.checks)):
                minutes, after = space.move(here, number)
                reach = spent + minutes
                if reach < least.get(number, math.inf):
                    least[number] = reach
                if after not in settled:
                    heapq.heappush(queue, (reach, after))
        found = []
        access = 0
        for minutes, number in sorted((minutes, number) for number, minutes in least.items()):
            access |= 1 << number
            if found and found[-1][0] == minutes:
                found[-1] = (minutes, access)
            else:
                found.append((minutes, access))
        self._steps[state] = found
        return found

    def _options(self, access: int) -> list[list[list[tuple[float, int]]]]:
        """[class][class to be told from it]: minutes and parted set of each fit check."""
        found = self._by_access.get(access)
        if found is not None:
            return found
        space = self._space
        found = []
        for i in range(space.size):
            ranked = sorted(
                (space.checks[number].check.minutes, -parted.bit_count(), parted)
                for number, parted in self._separates[i]
                if access >> number & 1
            )
            kept: list[tuple[float, int]] = []
            for minutes, _, parted in ranked:
                if all(parted & ~other for _, other in kept):
                    kept.append((minutes, parted))
            found.append(
                [
                    [(minutes, parted) for minutes, parted in kept if parted >> j & 1]
                    for j in range(space.size)
                ]
            )
        self._by_access[access] = found
        self._covers[access] = [{0: 0.0} for _ in range(space.size)]
        return found

    def _cover(
        self, options: list[list[tuple[float, int]]], memo: dict[int, float], rest: int
    ) -> float:
        """The least minutes of checks that part all of ``rest``; infinite if none do."""
        found = memo.get(rest)
        if found is not None:
            return found
        low = (rest & -rest).bit_length() - 1
        best = math.inf
        for minutes, parted in options[low]:
            if minutes >= best:
                break
            remaining = rest & ~parted
            total = minutes + (self._cover(options, memo, remaining) if remaining else 0.0)
            if total < best:
                best = total
        memo[rest] = best
        return best

    def bound(self, node: Node) -> float:
        """Never more than the value of the node."""
        if self._shallow is None:
            self._required, self._separates = self._separations(self._space)
            certified, shallow = self._certified(node), self._shallowest(node)
            self._shallow = shallow > WORTH * certified
        if self._shallow:
            return max(self._certified(node), self._shallowest(node))
        return self._certified(node)

    def _certified(self, node: Node) -> float:
        left, state, evidence = node
        weights = self._space.evidence[evidence].weights
        steps = self._access(state)
        total = 0.0
        for i in bits(left):
            rest = left & self._required[i]
            if not rest:
                continue
            best = math.inf
            for minutes, access in steps:
                if minutes >= best:
                    break
                options = self._options(access)[i]
                cost = minutes + self._cover(options, self._covers[access][i], rest)
                if cost < best:
                    best = cost
            total += weights[i] * best
        return total

    def _shallowest(self, node: Node) -> float:
        left = node[0]
        weights = self._space.evidence[node[2]].weights
        if any(left & ~self._required[i] != 1 << i for i in bits(left)):
            return 0.0  # some of what is left may stay together
        return self._cheapest * huffman((weights[i] for i in bits(left)), self._arity)


class Optimum:
    """Exact values of nodes, by depth-first branch and bound with memory."""

    def __init__(self, space: Space) -> None:
        self._space = space
        self._bounds = Bounds(space)
        self._exact: dict[Node, float] = {}
        self._lower: dict[Node, float] = {}

    def _bound(self, node: Node) -> float:
        found = self._exact.get(node)
        if found is None:
            found = self._lower.get(node)
            if found is None:
                found = self._lower[node] = self._bounds.bound(node)
        return found

    def value(self, node: Node) -> float:
        """The least expected minutes from this node on, weighted with its mass."""
        self._solve(node, math.inf)
        return self._exact[node]

    def _solve(self, node: Node, budget: float) -> float:
        """The exact value, kept in ``_exact``, if below the budget; else a lower bound."""
        found = self._exact.get(node)
        if found is not None:
            return found
        low = self._bound(node)
        if low >= budget * NEAR:
            return low
        space = self._space
        mass = space.mass(node)
        bound = self._bound
        ranked = []
        offers = space.offers(node)
        space.meter.spend(len(offers))
        for minutes, number, follow in offers:
            step = estimate = mass * minutes
            for child in follow:
                estimate += bound(child)
            ranked.append((estimate, number, step, follow))
        ranked.sort()
        best = math.inf if ranked else 0.0
        missed = math.inf
        for estimate, _, step, follow in ranked:
            limit = min(best, budget)
            if estimate >= limit * NEAR:
                missed = min(missed, estimate)
                break
            total = self._follow(step, follow, limit)
            if total < limit * NEAR and all(child in self._exact for child in follow):
                best = total
            else:
                missed = min(missed, total)
        if best < budget * NEAR or not ranked:
            self._exact[node] = best
            return best
        low = max(low, min(best, missed))
        self._lower[node] = low
        return low

    def _follow(self, step: float, follow: tuple[Node, ...], limit: float) -> float:
        """The value of an offer, or a lower bound of it once that reaches the limit."""
        # Bounds rise while siblings are solved: sum them afresh, and each only once.
        order = sorted((child[0].bit_count(), self._bound(child), child) for child in follow)
        total = step + sum(low for _, low, _ in order)
        for _, low, child in order:
            total += self._solve(child, limit - (total - low)) - low
            if total >= limit * NEAR:
                break
        return total

    def choose(self, node: Node) -> tuple[float, Offer]:
        """The value of a node that is no leaf, and its first optimal offer by check."""
        value = self.value(node)
        mass = self._space.mass(node)
        limit = value * TIE
        for offer in self._space.offers(node):
            minutes, _, follow = offer
            total = self._follow(mass * minutes, follow, limit)
            if total < limit and all(child in self._exact for child in follow):
                return value, offer
        raise AssertionError("an exact value without an offer that attains it")
