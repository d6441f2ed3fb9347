"""The matrix as it is wired: which addresses read closed, sneak paths included.

Every column is strobed in turn; an address reads closed when its row can be reached from
its column through closed switches, back from a row only where no diode is fitted.  Many
patterns of closed switches are asked at once: simrig lays them side by side as the bits of
whole numbers.  networkx walks a directed graph a pattern.  scipy, where no diode is
fitted, sorts all patterns' wires into connected components in one call; where some are,
connectedness is not enough, and it measures the way from each column, in one call a
pattern.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Iterator
from itertools import product

import attrs
import networkx
import numpy
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, shortest_path

from simrig.scan.circuit import Circuit, Crossing, conduct
from simrig.world.worlds import Value
from tests.bench.measuring import Effort, alternating, equal
from tests.bench.program import alone
from tests.bench.rows import Claim, Found

TITLE = "Matrix scan: 2,048 patterns of closed switches, some diodes missing"
NETWORKX_SMALL = Claim(
    done="8 by 8, 1 in 4 without diode", peer="networkx", package="networkx",
    measure="faster", goal=100,
)  # fmt: skip
NETWORKX = attrs.evolve(NETWORKX_SMALL, done="16 by 16, 1 in 4 without diode", goal=50)
SCIPY = Claim(
    done="16 by 16, 1 in 4 without diode", peer="scipy", package="scipy", measure="faster", goal=50
)
COMPONENTS = attrs.evolve(SCIPY, done="16 by 16, no diode at all", goal=1)
CLAIMS = (NETWORKX_SMALL, NETWORKX, SCIPY, COMPONENTS)

PATTERNS = 2048
"""About as many as the balls of a machine can lie in."""
CLOSED = 0.1
"""The share of switches that are closed: a few on each column, as on a machine in play."""
Address = tuple[int, int]
Pattern = frozenset[Address]
Reads = list[set[Address]]


@attrs.frozen(kw_only=True)
class Wiring:
    """A square matrix with a switch at every crossing, and what is closed on it, by pattern."""

    lines: int
    without_diode: frozenset[Address]
    patterns: tuple[Pattern, ...]

    @classmethod
    def drawn(cls, lines: int, share_without: float, patterns: int, seed: int = 5) -> Wiring:
        """Draw one: the same seed gives the same."""
        chance = random.Random(f"{seed} {lines} {share_without}")
        every = list(product(range(1, lines + 1), repeat=2))
        return cls(
            lines=lines,
            without_diode=frozenset(one for one in every if chance.random() < share_without),
            patterns=tuple(
                frozenset(one for one in every if chance.random() < CLOSED) for _ in range(patterns)
            ),
        )

    @property
    def addresses(self) -> list[Address]:
        """Every column and row."""
        return list(product(range(1, self.lines + 1), repeat=2))

    def circuit(self) -> Circuit:
        """The same as simrig's table of crossings."""
        return Circuit(
            crossings=tuple(
                Crossing(
                    sensor=f"{column} {row}",
                    column=(column, 0),
                    row=(row, 0),
                    backward=Value(-1, -1) if (column, row) in self.without_diode else None,
                )
                for column, row in self.addresses
            ),
            strobes={n: frozenset({(n, 0)}) for n in range(1, self.lines + 1)},
            reads={n: frozenset({(n, 0)}) for n in range(1, self.lines + 1)},
        )


def by_simrig(wiring: Wiring) -> Callable[[], dict[Address, Value]]:
    """Return the question: all patterns at once, a bit for each."""
    circuit, asked = wiring.circuit(), wiring.addresses
    closed = {}
    for column, row in asked:
        bits = sum(((column, row) in one) << n for n, one in enumerate(wiring.patterns))
        closed[f"{column} {row}"] = Value(bits, bits)
    everything = (1 << len(wiring.patterns)) - 1
    return lambda: conduct(circuit, closed, asked, everything)


def by_networkx(wiring: Wiring) -> Reads:
    """What reads closed, pattern by pattern."""
    found = []
    for pattern in wiring.patterns:
        graph = networkx.DiGraph()
        graph.add_nodes_from(("column", n) for n in range(1, wiring.lines + 1))
        for column, row in pattern:
            graph.add_edge(("column", column), ("row", row))
            if (column, row) in wiring.without_diode:
                graph.add_edge(("row", row), ("column", column))
        found.append(
            {
                (column, number)
                for column in range(1, wiring.lines + 1)
                for axis, number in networkx.descendants(graph, ("column", column))
                if axis == "row"
            }
        )
    return found


def _edges(wiring: Wiring) -> list[tuple[numpy.ndarray, numpy.ndarray]]:
    """Both ends of each way in a pattern: columns are numbered first, then rows."""
    found = []
    for pattern in wiring.patterns:
        ahead = numpy.array(sorted(pattern), dtype=numpy.int32).reshape(-1, 2) - 1
        back = numpy.array(
            sorted(pattern & wiring.without_diode), dtype=numpy.int32
        ).reshape(-1, 2) - 1  # fmt: skip
        found.append(
            (
                numpy.concatenate([ahead[:, 0], back[:, 1] + wiring.lines]),
                numpy.concatenate([ahead[:, 1] + wiring.lines, back[:, 0]]),
            )
        )
    return found


def by_scipy(wiring: Wiring) -> Callable[[], numpy.ndarray]:
    """Return the question: pattern, column and row, reached or not; a call a pattern."""
    edges, lines = _edges(wiring), wiring.lines

    def reach() -> numpy.ndarray:
        found = numpy.empty((len(edges), lines, lines), dtype=bool)
        for number, (tails, heads) in enumerate(edges):
            graph = csr_array((numpy.ones(len(tails)), (tails, heads)), (2 * lines, 2 * lines))
            way = shortest_path(graph, method="D", unweighted=True, indices=range(lines))
            found[number] = numpy.isfinite(way[:, lines:])
        return found

    return reach


def by_components(wiring: Wiring) -> Callable[[], numpy.ndarray]:
    """Return the same question where no diode is fitted: one call for all patterns."""
    edges, lines = _edges(wiring), wiring.lines
    tails = numpy.concatenate([2 * lines * n + one for n, (one, _) in enumerate(edges)])
    heads = numpy.concatenate([2 * lines * n + one for n, (_, one) in enumerate(edges)])
    nodes = 2 * lines * len(edges)

    def sort() -> numpy.ndarray:
        graph = csr_array((numpy.ones(len(tails), dtype=bool), (tails, heads)), (nodes, nodes))
        _, names = connected_components(graph, directed=False)
        names = names.reshape(len(edges), 2 * lines)
        return names[:, :lines, None] == names[:, None, lines:]

    return sort


def _as_sets(reached: numpy.ndarray) -> Reads:
    return [{(int(c) + 1, int(r) + 1) for c, r in numpy.argwhere(one)} for one in reached]


def _closed(read: dict[Address, Value], patterns: int) -> Reads:
    return [
        {address for address, value in read.items() if value.surely >> number & 1}
        for number in range(patterns)
    ]


def run(effort: Effort) -> Iterator[Found]:
    """Compare, then measure in turn."""
    rounds, patterns = effort.of(9, 1), effort.of(PATTERNS, 8)
    small = Wiring.drawn(8, 0.25, patterns)
    large = Wiring.drawn(16, 0.25, patterns)
    bare = Wiring.drawn(16, 1.0, patterns)
    for claim, wiring, peer in (
        (NETWORKX_SMALL, small, lambda: by_networkx(small)),
        (NETWORKX, large, lambda: by_networkx(large)),
        (SCIPY, large, by_scipy(large)),
        (COMPONENTS, bare, by_components(bare)),
    ):
        ours = by_simrig(wiring)
        theirs = peer()
        reads = _closed(ours(), patterns)
        equal(claim.done, reads, theirs if isinstance(theirs, list) else _as_sets(theirs))
        ghosts = sum(
            len(one - pattern) for one, pattern in zip(reads, wiring.patterns, strict=True)
        )
        timed = alternating(ours, peer, rounds=rounds)
        yield claim.row(timed.faster, **timed.details, ghosts=ghosts)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
