"""The matrix as it is wired, held against graphs and a resistor network."""

from __future__ import annotations

import random

import networkx as nx
import numpy as np
import pytest
from scipy.linalg import solve

from simrig.scan.circuit import Circuit, Crossing, conduct, one_name_each, spread
from simrig.world.worlds import Value

CLOSED = Value(1, 1)


def _matrix(size: int, diode: bool) -> Circuit:
    crossings = tuple(
        Crossing(
            sensor=f"{c},{r}", column=(c, 0), row=(r, 0), backward=None if diode else Value(-1, -1)
        )
        for c in range(size)
        for r in range(size)
    )
    lines = {n: frozenset(((n, 0),)) for n in range(size)}
    return Circuit(crossings=crossings, strobes=lines, reads=lines)


def _read(size: int, closed: set[tuple[int, int]], *, diode: bool) -> set[tuple[int, int]]:
    asked = [(c, r) for c in range(size) for r in range(size)]
    switches = {f"{c},{r}": CLOSED if (c, r) in closed else Value(0, 0) for c, r in asked}
    found = conduct(_matrix(size, diode), switches, asked, 1)
    return {cell for cell, value in found.items() if value.surely}


@pytest.mark.parametrize(("diode", "extra"), [(False, {(1, 2)}), (True, set())])
def test_three_corners(diode: bool, extra: set[tuple[int, int]]) -> None:
    """Three closed corners make the fourth read closed without diodes, and not with them.

    Source: DRI, PHK (MAT-01)."""
    closed = {(1, 1), (2, 1), (2, 2)}
    assert _read(3, closed, diode=diode) - closed == extra


def test_two_closures_make_no_phantom() -> None:
    """Any two closures of a 4 by 4 matrix without diodes read as they are: 120 pairs.

    Source: PHK, derived (MAT-02)."""
    cells = [(c, r) for c in range(4) for r in range(4)]
    pairs = [{a, b} for i, a in enumerate(cells) for b in cells[i + 1 :]]
    assert len(pairs) == 120
    assert all(_read(4, pair, diode=False) == pair for pair in pairs)


def _nodal(size: int, closed: set[tuple[int, int]], column: int) -> set[tuple[int, int]]:
    """Solve the resistor network: 10 kohm pull-ups on rows, 1 ohm switches, column at 0 V."""
    count = 2 * size
    conductance = np.zeros((count, count))
    current = np.zeros(count)

    def join(a: int, b: int, g: float) -> None:
        conductance[a, a] += g
        conductance[b, b] += g
        conductance[a, b] -= g
        conductance[b, a] -= g

    for c, r in closed:
        join(c, size + r, 1.0)
    for r in range(size):
        conductance[size + r, size + r] += 1e-4
        current[size + r] += 5 * 1e-4
    for c in range(size):
        conductance[c, c] += 1e3 if c == column else 1e-7
    volts = solve(conductance, current)
    return {(column, r) for r in range(size) if volts[size + r] < 2.5}


def test_without_diodes_reading_is_connectedness() -> None:
    """400 random matrices without diodes read as the graph and the resistor network say.

    Source: derived (MAT-03); networkx and scipy as peers."""
    random.seed(7)
    for _ in range(400):
        size = random.randint(2, 8)
        closed = {(c, r) for c in range(size) for r in range(size) if random.random() < 0.2}
        graph = nx.Graph()
        graph.add_nodes_from([("c", n) for n in range(size)] + [("r", n) for n in range(size)])
        graph.add_edges_from((("c", c), ("r", r)) for c, r in closed)
        by_graph = {
            (c, r)
            for c in range(size)
            for r in range(size)
            if nx.has_path(graph, ("c", c), ("r", r))
        }
        by_volts = {cell for c in range(size) for cell in _nodal(size, closed, c)}
        assert _read(size, closed, diode=False) == by_graph == by_volts


def test_worked_five_by_five() -> None:
    """The worked 5 by 5 case has one phantom. Source: derived (MAT-04)."""
    closed = {(0, 0), (0, 1), (1, 1), (3, 3), (2, 4)}
    assert _read(5, closed, diode=False) - closed == {(1, 0)}


def _broken_and_bridged(chance: random.Random, worlds: int) -> Circuit:
    """Any way of passing at each crossing, wires in two pieces, bridged lines, odd strobes."""
    size = chance.randint(2, 5)
    numbers = range(1, size + 1)
    crossings = tuple(
        Crossing(
            sensor=f"{c},{r}",
            column=(c, chance.choice((0, 0, 1))),
            row=(r, chance.choice((0, 0, 1))),
            forward=chance.random() < 0.8,
            backward=None
            if chance.random() < 0.4
            else Value(low := chance.getrandbits(worlds), low | chance.getrandbits(worlds)),
        )
        for c in numbers
        for r in numbers
    )
    return Circuit(
        crossings=crossings,
        strobes={n: frozenset({(n, 0), (chance.choice(numbers), 0)}) for n in numbers},
        reads={n: frozenset({(n, 0)}) for n in numbers},
        joined=tuple(
            (chance.choice(("row", "column")), *chance.sample(numbers, 2))
            for _ in range(chance.randint(0, 2))
        ),
    )


def test_all_columns_at_once_read_as_each_strobed_by_itself() -> None:
    """The closure over all columns and the walk from one agree, in every world: 300 circuits."""
    chance = random.Random(11)
    for _ in range(300):
        everything = (1 << 16) - 1
        circuit = _broken_and_bridged(chance, 16)
        closed = {}
        for one in circuit.crossings:
            low = chance.getrandbits(16) & chance.getrandbits(16)
            closed[one.sensor] = Value(low, low | chance.getrandbits(16) & chance.getrandbits(16))
            if chance.random() < 0.1:
                closed[one.sensor] = Value(-1, -1)
        asked = [(c, r) for c in circuit.strobes for r in circuit.reads]
        found = conduct(circuit, closed, asked, everything)
        columns, rows = (one_name_each(circuit.joined, axis) for axis in ("column", "row"))
        for bound in (0, 1):
            forward: dict = {}
            back = []
            for one in circuit.crossings:
                value = closed[one.sensor][bound]
                column, row = columns.get(one.column, one.column), rows.get(one.row, one.row)
                if one.forward:
                    forward.setdefault(column, {})[one.sensor] = row, value
                if one.backward is not None:
                    back.append((row, column, value & one.backward[bound]))
            for c, driven in circuit.strobes.items():
                names = {columns.get(node, node) for node in driven}
                reached = spread(forward, back, names, everything)
                for r in circuit.reads:
                    assert found[c, r][bound] == reached.get(rows.get((r, 0), (r, 0)), 0)
