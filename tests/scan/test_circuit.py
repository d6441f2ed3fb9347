"""The matrix as it is wired, held against graphs and a resistor network."""

from __future__ import annotations

import random

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import solve

from simrig.scan.circuit import (
    Circuit,
    Crossing,
    Node,
    conduct,
    on_lines,
    one_name_each,
    sneaking,
    spread,
)
from simrig.world.worlds import Value
from tests.scan.circuits import broken_and_bridged

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


def test_all_columns_at_once_read_as_each_strobed_by_itself() -> None:
    """The closure over all columns and the walk from one agree, in every world: 300 circuits."""
    chance = random.Random(11)
    for _ in range(300):
        everything = (1 << 16) - 1
        circuit = broken_and_bridged(chance, 16)
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


def _crossings(*names: str, **changes: object) -> tuple[Crossing, ...]:
    """Crossings with diodes, each named by its column and row."""
    return tuple(
        Crossing(sensor=name, column=(int(name[0]), 0), row=(int(name[1]), 0), **changes)
        for name in names
    )


def _circuit(crossings: tuple[Crossing, ...], **changes: object) -> Circuit:
    lines = {n: frozenset(((n, 0),)) for n in range(1, 5)}
    return Circuit(**{"crossings": crossings, "strobes": lines, "reads": lines, **changes})


def test_what_may_conduct_makes_a_reading_that_may_be_closed() -> None:
    """In two worlds: one switch surely closed, one perhaps; each reads as it is."""
    closed = {"11": Value(0b11, 0b11), "12": Value(0b01, 0b11), "22": Value(0, 0b10)}
    asked = [(1, 1), (1, 2), (2, 2), (2, 1)]
    found = conduct(_circuit(_crossings("11", "12", "22")), closed, asked, 0b11)
    assert found == {
        (1, 1): Value(0b11, 0b11),
        (1, 2): Value(0b01, 0b11),
        (2, 2): Value(0, 0b10),
        (2, 1): Value(0, 0),
    }


def test_an_unknown_diode_makes_a_phantom_that_may_be() -> None:
    """Three corners closed, the diode at one of them not known: the fourth may read closed,
    and the corners read closed for certain."""
    closed = dict.fromkeys(("11", "21", "22"), CLOSED)
    crossings = (*_crossings("11", "22"), *_crossings("21", backward=Value(0, -1)))
    asked = [(1, 1), (2, 1), (2, 2), (1, 2)]
    found = conduct(_circuit(crossings), closed, asked, 1)
    assert [found[cell] for cell in asked] == [CLOSED, CLOSED, CLOSED, Value(0, 1)]


def test_a_crossing_that_does_not_pass() -> None:
    """What passes neither way reads open, whatever its switch does."""
    circuit = _circuit(_crossings("11", forward=False))
    assert conduct(circuit, {"11": CLOSED}, [(1, 1)], 1) == {(1, 1): Value(0, 0)}


def test_a_held_row_reads_closed() -> None:
    """A row held by a short reads closed in every world and column, another as it is."""
    circuit = _circuit(_crossings("11", "12"), held=frozenset({2}))
    found = conduct(circuit, {"11": Value(0, 0), "12": Value(0, 0)}, [(1, 2), (3, 2), (1, 1)], 0b11)
    assert found == {
        (1, 2): Value(0b11, 0b11),
        (3, 2): Value(0b11, 0b11),
        (1, 1): Value(0, 0),
    }


def test_a_row_that_no_input_sees_reads_open() -> None:
    """A broken wire leaves an input without nodes."""
    circuit = _circuit(_crossings("11"), reads={})
    assert conduct(circuit, {"11": CLOSED}, [(1, 1)], 1) == {(1, 1): Value(0, 0)}


def test_bridged_rows_read_alike() -> None:
    """With rows 1 and 2 bridged a switch on either reads closed on both, on row 3 not."""
    circuit = _circuit(_crossings("11", "13"), joined=(("row", 1, 2),))
    asked = [(1, 1), (1, 2), (1, 3), (2, 2)]
    found = conduct(circuit, {"11": CLOSED, "13": Value(0, 0)}, asked, 1)
    assert [found[cell].surely for cell in asked] == [1, 1, 0, 0]


def test_bridged_columns_are_strobed_together() -> None:
    """With columns 1 and 2 bridged a switch on one reads closed under both, not under 3."""
    circuit = _circuit(_crossings("11", "31"), joined=(("column", 1, 2),))
    asked = [(1, 1), (2, 1), (3, 1)]
    found = conduct(circuit, {"11": CLOSED, "31": Value(0, 0)}, asked, 1)
    assert [found[cell].surely for cell in asked] == [1, 1, 0]


def test_bridges_of_bridges_join_all_lines() -> None:
    """1-2, 3-4, then 2-3: all four lines have one name, the other axis none."""
    joined = (("row", 1, 2), ("row", 3, 4), ("row", 2, 3), ("column", 7, 8))

    def named(axis: str, *lines: int) -> list[Node]:
        names = one_name_each(joined, axis)
        return [names.get((line, 0), (line, 0)) for line in lines]

    assert named("row", 1, 2, 3, 4, 5) == [(1, 0)] * 4 + [(5, 0)]
    assert named("column", 7, 8, 1) == [(7, 0), (7, 0), (1, 0)]
    joined = (("row", 1, 2), ("row", 2, 1))
    assert named("row", 1, 2) == [(1, 0), (1, 0)]
    joined = (("row", 1, 2), ("row", 3, 4), ("row", 1, 4))
    assert named("row", 1, 2, 3, 4) == [(1, 0)] * 4
    joined = (("row", 1, 2), ("row", 3, 4), ("row", 4, 2))
    assert len(set(named("row", 1, 2, 3, 4))) == 1
    assert one_name_each((), "row") == {}


def test_a_signal_goes_back_and_forth_through_many_lines() -> None:
    """A staircase of closed switches without diodes reads closed from end to end."""
    names = ("11", "21", "22", "32", "33", "43", "44")
    circuit = _circuit(_crossings(*names, backward=Value(-1, -1)))
    closed = dict.fromkeys(names, Value(0b1, 0b1)) | {"33": Value(0b0, 0b0)}
    found = conduct(circuit, closed, [(1, 2), (1, 3), (4, 3)], 1)
    assert [value.surely for value in found.values()] == [1, 0, 1]
    found = conduct(circuit, dict.fromkeys(names, CLOSED), [(1, 4), (4, 1)], 1)
    assert [value.surely for value in found.values()] == [1, 1]


def test_where_a_sneak_path_can_lie() -> None:
    """On a line with a crossing without diode: its row and its column, and nothing else."""
    crossings = (*_crossings("11", backward=Value(0, -1)), *_crossings("12", "21", "22"))
    assert sneaking(_circuit(crossings)) == {"11", "12", "21"}
    assert sneaking(_circuit(_crossings("11", "22"))) == frozenset()


def test_a_crossing_is_on_its_column_and_its_row_whichever_piece_of_them() -> None:
    """Behind a break a wire keeps its number; a column and a row of one number are two lines."""
    crossing = Crossing(sensor="23", column=(2, 1), row=(3, 1))
    assert on_lines(crossing, [("column", 2)])
    assert on_lines(crossing, [("column", 1), ("row", 3)])
    assert not on_lines(crossing, [("column", 3), ("row", 2), ("column", 1), ("row", 1)])
    assert not on_lines(crossing, ())


def test_switches_that_may_all_be_either() -> None:
    """Where no switch is certain no reading is; a crossing whose switch nobody states is open."""
    circuit = _circuit(_crossings("11", "12"))
    found = conduct(circuit, {"11": Value(0, 1)}, [(1, 1), (1, 2)], 1)
    assert found == {(1, 1): Value(0, 1), (1, 2): Value(0, 0)}


def test_a_switch_on_the_second_of_two_bridged_lines() -> None:
    """It reads closed on both, whichever of them is named first."""
    circuit = _circuit(_crossings("12"), joined=(("row", 1, 2),))
    found = conduct(circuit, {"12": CLOSED}, [(1, 1), (1, 2), (1, 3)], 1)
    assert [value.surely for value in found.values()] == [1, 1, 0]
    circuit = _circuit(_crossings("21"), joined=(("column", 1, 2),))
    found = conduct(circuit, {"21": CLOSED}, [(1, 1), (2, 1), (3, 1)], 1)
    assert [value.surely for value in found.values()] == [1, 1, 0]


CELLS = [f"{c}{r}" for c in range(1, 5) for r in range(1, 5)]
MASKS = st.integers(0, 0b1111)
VALUES = st.tuples(MASKS, MASKS).map(lambda two: Value(two[0] & two[1], two[0]))


@given(
    closed=st.dictionaries(st.sampled_from(CELLS), VALUES, min_size=4),
    backward=st.dictionaries(st.sampled_from(CELLS), VALUES),
    held=st.frozensets(st.integers(1, 4), max_size=1),
    joined=st.lists(
        st.tuples(st.sampled_from(("row", "column")), st.integers(1, 4), st.integers(1, 4)),
        max_size=2,
    ),
)
def test_many_worlds_at_once_read_as_each_alone(closed, backward, held, joined) -> None:
    """Four worlds, diodes left out in some of them, bridges and shorts: bit for bit as one
    world after the other."""
    asked = [(c, r) for c in range(1, 5) for r in range(1, 5)]

    def read(alone: int | None) -> dict[tuple[int, int], Value]:
        def seen(value: Value) -> Value:
            if alone is None:
                return value
            return Value(value.surely >> alone & 1, value.maybe >> alone & 1)

        crossings = tuple(
            Crossing(
                sensor=name,
                column=(int(name[0]), 0),
                row=(int(name[1]), 0),
                backward=seen(backward[name]) if name in backward else None,
            )
            for name in closed
        )
        circuit = _circuit(crossings, held=held, joined=tuple(joined))
        worlds = 0b1111 if alone is None else 1
        return conduct(circuit, {name: seen(one) for name, one in closed.items()}, asked, worlds)

    together = read(None)
    for world in range(4):
        assert read(world) == {
            cell: Value(one.surely >> world & 1, one.maybe >> world & 1)
            for cell, one in together.items()
        }
