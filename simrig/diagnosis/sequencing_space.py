"""The search space of a sequencing problem, in whole numbers.

Hypotheses that no check parts are merged into one class.  A node is what the
planner can know at a moment: the classes left (one bit each), the bench state,
and the results of chance that have shifted the weights.  An offer is one check
that may be done at a node: its minutes, bench change included, and the nodes
that can follow.

A check *parts* a set when some result is possible for one member and
impossible for another.  A check whose result is chance for a member of the set
is used at most once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager

import attrs

from simrig.diagnosis.sequencing_problem import Check, Problem, SequencingError, State

Node = tuple[int, int, int]  # classes left, bench state, evidence of chance
Offer = tuple[float, int, tuple[Node, ...]]  # minutes, check, nodes that can follow
Parts = tuple[int, ...]
Split = tuple[tuple[int, ...], Parts]  # checks alike in what they part, what they leave


class WorkSpentError(Exception):
    """The meter ran out: the caller falls back on what it has."""


class Meter:
    """Counts the offers looked at, some microseconds each; no clock bounds any effort."""

    def __init__(self) -> None:
        self.spent = 0
        self._limit: float = math.inf

    def spend(self, amount: int) -> None:
        """Raises WorkSpentError beyond the limit."""
        self.spent += amount
        if self.spent > self._limit:
            raise WorkSpentError

    @contextmanager
    def within(self, amount: float) -> Iterator[None]:
        """Work inside ends with WorkSpentError once it has spent this much."""
        outer = self._limit
        self._limit = min(outer, self.spent + amount)
        try:
            yield
        finally:
            self._limit = outer


def bits(mask: int) -> Iterable[int]:
    """The positions of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


@attrs.frozen
class CompiledCheck:
    """One check over classes.  ``supports[r]``: the classes that can give result r."""

    check: Check
    words: tuple[str, ...]
    supports: tuple[int, ...]
    chances: tuple[tuple[float, ...], ...]  # [result][class]; empty when nothing is chance
    chancy: int  # the classes whose result is chance
    entropy: tuple[float, ...]  # bits per class; empty when nothing is chance


def _compile(check: Check, members: Sequence[int]) -> CompiledCheck:
    words: dict[str, int] = {}
    supports: list[int] = []
    possible: dict[int, tuple[int, ...]] = {}
    chancy = 0
    for position, member in enumerate(members):
        mapping = check.results[member]
        numbers = possible.get(id(mapping))
        if numbers is None:
            for word, p in mapping.items():
                if p > 0 and word not in words:
                    words[word] = len(words)
                    supports.append(0)
            numbers = tuple(words[word] for word, p in mapping.items() if p > 0)
            possible[id(mapping)] = numbers
        bit = 1 << position
        for number in numbers:
            supports[number] |= bit
        if len(numbers) > 1:
            chancy |= bit
    chances: tuple[tuple[float, ...], ...] = ()
    entropy: tuple[float, ...] = ()
    if chancy:
        chances = tuple(
            tuple(check.results[member].get(word, 0.0) for member in members) for word in words
        )
        entropy = tuple(
            -sum(p * math.log2(p) for p in check.results[member].values() if p > 0)
            for member in members
        )
    return CompiledCheck(check, tuple(words), tuple(supports), chances, chancy, entropy)


def _merge(members: Sequence[int], checks: Iterable[CompiledCheck]) -> list[int]:
    """Masks of the members that every check answers alike, chances included."""
    blocks = [(1 << len(members)) - 1]
    for check in checks:
        if check.chances:
            alike: dict[tuple[float, ...], int] = {}
            for position, column in enumerate(zip(*check.chances, strict=True)):
                alike[column] = alike.get(column, 0) | 1 << position
            cuts: Iterable[int] = alike.values()
        else:
            cuts = check.supports
        blocks = [
            part
            for block in blocks
            for part in ((block & cut for cut in cuts) if block & (block - 1) else (block,))
            if part
        ]
    return sorted(blocks, key=lambda block: block & -block)


class Evidence:
    """What results of chance were seen, and the joint weights that follow."""

    def __init__(self, weights: tuple[float, ...], seen: tuple[tuple[int, int], ...]) -> None:
        self.weights = weights
        self.seen = seen
        self.used = sum(1 << check for check, _ in seen)
        self._width = (len(weights) + 7) // 8
        self._tables = [self._table(weights[8 * i : 8 * i + 8]) for i in range(self._width)]
        self._mass: dict[int, float] = {}

    @staticmethod
    def _table(weights: Sequence[float]) -> list[float]:
        sums = [0.0]
        for weight in weights:
            sums += [total + weight for total in sums]
        return sums

    def mass(self, mask: int) -> float:
        """The joint weight of a set of classes."""
        found = self._mass.get(mask)
        if found is None:
            found = 0.0
            for table, byte in zip(self._tables, mask.to_bytes(self._width, "little"), strict=True):
                if byte:
                    found += table[byte]
            self._mass[mask] = found
        return found


class Space:
    """Nodes and offers of one problem, computed when asked for and kept."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.meter = Meter()
        self._states: list[State] = [problem.start]
        self._state_number: dict[State, int] = {problem.start: 0}
        self._moves: list[dict[int, tuple[float, int]]] = [{}]
        candidates = sorted(
            (check for check in problem.checks if check.id not in problem.done),
            key=lambda check: (check.tier, check.id),
        )
        allowed = [check for check in candidates if self._ask(0, check) is not None]
        members = problem.live()
        compiled = [_compile(check, members) for check in allowed]
        blocks = _merge(members, compiled)
        self.groups = tuple(tuple(members[i] for i in bits(block)) for block in blocks)
        if len(self.groups) < len(members):
            firsts = [group[0] for group in self.groups]
            compiled = [_compile(check, firsts) for check in allowed]
        self.size = len(self.groups)
        self.full = (1 << self.size) - 1
        total = sum(problem.weights)
        weights = tuple(sum(problem.weights[i] for i in group) / total for group in self.groups)
        self.checks = tuple(
            check for check in compiled if any(s != self.full for s in check.supports)
        )
        self.evidence: list[Evidence] = [Evidence(weights, ())]
        self._evidence_number: dict[tuple[tuple[int, int], ...], int] = {(): 0}
        self._splits: dict[tuple[int, int], list[Split]] = {}
        self._offers: dict[Node, list[Offer]] = {}
        self.root: Node = (self.full, 0, 0)

    # The bench

    def _ask(self, state: int, check: Check) -> tuple[float, State] | None:
        move = self.problem.change(self._states[state], check)
        if move is not None and not (move[0] >= 0 and math.isfinite(move[0])):
            raise SequencingError(
                f"the bench change from {self._states[state]!r} to check {check.id} costs "
                f"{move[0]} minutes: a finite number from 0 up is wanted"
            )
        return move

    def move(self, state: int, check: int) -> tuple[float, int]:
        """Minutes of the bench change before a check, and the state after it."""
        known = self._moves[state].get(check)
        if known is None:
            asked = self._ask(state, self.checks[check].check)
            if asked is None:
                raise SequencingError(
                    f"check {self.checks[check].check.id} can be done from bench state "
                    f"{self._states[0]!r} but not from {self._states[state]!r}, which a plan can "
                    "come to: let the bench change name the way back"
                )
            minutes, after = asked
            number = self._state_number.get(after)
            if number is None:
                number = self._state_number[after] = len(self._states)
                self._states.append(after)
                self._moves.append({})
            known = self._moves[state][check] = (float(minutes), number)
        return known

    def state(self, number: int) -> State:
        """The caller's bench state of that number."""
        return self._states[number]

    # What chance has shown

    def observe(self, evidence: int, check: int, result: int) -> int:
        """The evidence after one more result of chance."""
        seen = tuple(sorted((*self.evidence[evidence].seen, (check, result))))
        number = self._evidence_number.get(seen)
        if number is None:
            self.meter.spend(self.size)
            weights = list(self.evidence[0].weights)
            for k, r in seen:
                chances = self.checks[k].chances[r]
                weights = [weight * p for weight, p in zip(weights, chances, strict=True)]
            number = self._evidence_number[seen] = len(self.evidence)
            self.evidence.append(Evidence(tuple(weights), seen))
        return number

    def mass(self, node: Node) -> float:
        """The joint weight of what is left at a node and of what was seen on the way."""
        return self.evidence[node[2]].mass(node[0])

    # What can be done

    def splits(self, left: int, used: int) -> list[Split]:
        """The checks of the lowest tier that part what is left, those alike together."""
        key = (left, used)
        found = self._splits.get(key)
        if found is not None:
            return found
        grouped: dict[Parts, list[int]] = {}
        found = []
        tier = None
        number = 0
        for number, check in enumerate(self.checks):
            if tier is not None and check.check.tier > tier:
                break
            parts = tuple([part for support in check.supports if (part := left & support)])
            if len(parts) < 2:
                continue
            if left & check.chancy:
                if used >> number & 1 or all(part == left for part in parts):
                    continue
                found.append(((number,), parts))
            else:
                grouped.setdefault(tuple(sorted(parts)), []).append(number)
            tier = check.check.tier
        self.meter.spend(number // 8 + len(grouped) + len(found) + 1)
        found += [(tuple(numbers), parts) for parts, numbers in grouped.items()]
        found.sort()
        self._splits[key] = found
        return found

    def offers(self, node: Node) -> list[Offer]:
        """What may be done at a node, dominated checks left out, in order of check."""
        found = self._offers.get(node)
        if found is not None:
            return found
        left, state, evidence = node
        found = []
        for numbers, parts in self.splits(left, self.evidence[evidence].used):
            best: dict[int, tuple[float, int]] = {}
            for number in numbers:
                minutes, after = self.cost(state, number)
                if after not in best or minutes < best[after][0]:
                    best[after] = (minutes, number)
            for after, (minutes, number) in best.items():
                if left & self.checks[number].chancy:
                    found.append(self.offer(node, number))
                else:
                    follow = tuple([(part, after, evidence) for part in parts if part & (part - 1)])
                    found.append((minutes, number, follow))
        self.meter.spend(len(found))
        found.sort(key=lambda offer: offer[1])
        self._offers[node] = found
        return found

    def cost(self, state: int, check: int) -> tuple[float, int]:
        """Minutes of a check, bench change included, and the state after it."""
        minutes, after = self.move(state, check)
        return minutes + self.checks[check].check.minutes, after

    def offer(self, node: Node, number: int) -> Offer:
        """The offer that one check makes at a node."""
        minutes, _ = self.cost(node[1], number)
        follow = [child for _, child in self.branches(node, number)]
        return minutes, number, tuple([child for child in follow if child[0] & (child[0] - 1)])

    def branches(self, node: Node, number: int) -> list[tuple[str, Node]]:
        """Every result of a check that can come at a node, with the node it leads to."""
        left, state, evidence = node
        check = self.checks[number]
        _, after = self.move(state, number)
        chancy = left & check.chancy
        return [
            (word, (part, after, self.observe(evidence, number, result) if chancy else evidence))
            for result, (word, support) in enumerate(zip(check.words, check.supports, strict=True))
            if (part := left & support)
        ]

    def hypotheses(self, left: int) -> tuple[int, ...]:
        """The hypotheses behind a set of classes."""
        return tuple(sorted(i for position in bits(left) for i in self.groups[position]))

    def shares(self, node: Node) -> Mapping[int, float]:
        """How likely each hypothesis left at a node is; they sum to 1."""
        joint: dict[int, float] = {}
        weights = self.evidence[node[2]].weights
        for position in bits(node[0]):
            group = self.groups[position]
            total = sum(self.problem.weights[i] for i in group)
            for i in group:
                joint[i] = weights[position] * self.problem.weights[i] / total
        mass = sum(joint.values())
        return {i: joint[i] / mass for i in sorted(joint)}
