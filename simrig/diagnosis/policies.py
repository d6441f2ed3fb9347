"""Good plans where a proven one is out of reach: greedy, and rollout on it.

Greedy takes the check with the most information per minute, bench change
included.  Rollout prices every check by what a base policy would cost after
it and takes the cheapest, which on the mean is never dearer than its base
(Bertsekas, Tsitsiklis, Wu: Rollout algorithms for combinatorial optimization,
Journal of Heuristics 3 (1997) 245-262; from memory).  Applied twice, rollout is
its own base.  What is left small is priced exactly.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence

from simrig.diagnosis.optimal import Optimum
from simrig.diagnosis.sequencing_space import Node, Offer, Space, bits

CLOSE = 1e-12

Priced = tuple[float, int]  # price and check


def cheapest(priced: Sequence[Priced]) -> int:
    """The check of the lowest price; the first by id among equal ones."""
    low = min(priced)[0]
    level = low + abs(low) * CLOSE
    return min(number for price, number in priced if price <= level)


class Policy(ABC):
    """Prices the offers at every node and takes the cheapest.

    Nodes of at most ``exact_size`` classes are valued by the optimum.
    """

    def __init__(self, space: Space, optimum: Optimum, exact_size: int) -> None:
        self.space = space
        self.optimum = optimum
        self.exact_size = exact_size
        self._values: dict[Node, float] = {}

    @abstractmethod
    def priced(self, node: Node) -> Iterator[Priced]:
        """Price and check of each offer worth a look; nothing at a leaf."""

    def value(self, node: Node) -> float:
        """Expected minutes from the node on under this policy, weighted with its mass.

        Walks the tree without recursion: plans can be deeper than the stack.
        """
        values = self._values
        found = values.get(node)
        if found is not None:
            return found
        space = self.space
        order: list[tuple[Node, Offer]] = []
        waiting = [node]
        while waiting:
            here = waiting.pop()
            if here in values:
                continue
            if here[0].bit_count() <= self.exact_size:
                values[here] = self.optimum.value(here)
                continue
            priced = list(self.priced(here))
            if not priced:
                values[here] = 0.0
                continue
            offer = space.offer(here, cheapest(priced))
            order.append((here, offer))
            waiting.extend(offer[2])
        for here, (minutes, _, follow) in reversed(order):
            values[here] = space.mass(here) * minutes + sum(values[after] for after in follow)
        return values[node]


class Greedy(Policy):
    """Most information per minute, bench change included."""

    def priced(self, node: Node) -> Iterator[Priced]:
        """Minus the information per minute of each check, weighted with the node's mass."""
        space = self.space
        left, state, number = node
        evidence = space.evidence[number]
        mass = evidence.mass
        whole = mass(left) * math.log2(mass(left))
        splits = space.splits(left, evidence.used)
        space.meter.spend(len(splits))
        for checks, parts in splits:
            minutes, check = min((space.cost(state, check)[0], check) for check in checks)
            if left & space.checks[check].chancy:
                rest = self._chance_rest(node, check)
            else:
                rest = 0.0
                for part in parts:
                    weight = mass(part)
                    rest += weight * math.log2(weight)
            yield (rest - whole) / minutes, check

    def _chance_rest(self, node: Node, number: int) -> float:
        """What a result of chance takes from the information it would give if certain."""
        weights = self.space.evidence[node[2]].weights
        check = self.space.checks[number]
        left = tuple(bits(node[0]))
        rest = sum(weights[i] * check.entropy[i] for i in left)
        for chances in check.chances:
            weight = sum(weights[i] * chances[i] for i in left)
            if weight > 0:
                rest += weight * math.log2(weight)
        return rest


class Rollout(Policy):
    """Prices each offer by what the base policy would cost after it.

    Looks at the ``width`` offers that the base ranks first, its choice among
    them, so that the price taken is never above the base's own.
    """

    def __init__(self, base: Policy, width: int) -> None:
        super().__init__(base.space, base.optimum, base.exact_size)
        self.base = base
        self.width = width

    def priced(self, node: Node) -> Iterator[Priced]:
        """Expected minutes after taking each offer and then following the base."""
        space = self.space
        mass = space.mass(node)
        ranked = list(self.base.priced(node))
        if not ranked:
            return
        first = cheapest(ranked)
        ranked.sort(key=lambda priced: (priced[1] != first, priced))
        for _, number in ranked[: self.width]:
            minutes, _, follow = space.offer(node, number)
            yield mass * minutes + sum(self.base.value(after) for after in follow), number
