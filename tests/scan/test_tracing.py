"""The way to a row, switch by switch: by hand, and held against shortest paths in a graph."""

from __future__ import annotations

import random

import networkx as nx

from simrig.scan.circuit import Circuit, Crossing, conduct, one_name_each
from simrig.scan.tracing import Hop, trace
from simrig.world.worlds import Value
from tests.scan.circuits import broken_and_bridged

CLOSED = Value(1, 1)
OPEN = Value(0, 0)
ALWAYS = Value(-1, -1)
CELLS = ("11", "12", "21", "22")
ROUND = (Hop("11", False, 1), Hop("21", True, 2), Hop("22", False, 2))
"""Down column 1, back past the switch at column 2 row 1, down column 2 to row 2."""


def square(*backward: str, how: Value = ALWAYS, **changes: object) -> Circuit:
    """Two columns by two rows, named by column and row; the crossings named pass back too."""
    lines = {n: frozenset(((n, 0),)) for n in (1, 2)}
    crossings = tuple(
        Crossing(
            sensor=name,
            column=(int(name[0]), 0),
            row=(int(name[1]), 0),
            backward=how if name in backward else None,
        )
        for name in CELLS
    )
    return Circuit(**{"crossings": crossings, "strobes": lines, "reads": lines, **changes})


def closed(*names: str, how: Value = CLOSED) -> dict[str, Value]:
    """The switches, those named closed."""
    return {name: how if name in names else OPEN for name in CELLS}


def test_a_closed_switch_is_its_own_way() -> None:
    """Over it from its column to its row; from another column, or to another row, there is none."""
    circuit = square()
    assert trace(circuit, closed("12"), 1, 2, 0) == (Hop("12", False, 2),)
    assert trace(circuit, closed("12"), 2, 2, 0) is None
    assert trace(circuit, closed("12"), 1, 1, 0) is None
    assert trace(circuit, closed(), 1, 2, 0) is None


def test_a_phantom_comes_round_by_the_three_other_corners() -> None:
    """Over one, back past the one without diode, over the third; with its diode, not at all."""
    corners = closed("11", "21", "22")
    assert trace(square("21"), corners, 1, 2, 0) == ROUND
    assert trace(square(), corners, 1, 2, 0) is None
    assert trace(square("11", "22"), corners, 1, 2, 0) is None


def test_a_signal_that_comes_back_to_where_it_was_leads_nowhere() -> None:
    """With one switch closed, without diode, the search ends."""
    assert trace(square("11"), closed("11"), 1, 2, 0) is None


def test_what_may_conduct_is_taken_to() -> None:
    """A diode that may be missing, and a switch that may be closed, make a way."""
    perhaps = Value(0, 1)
    assert trace(square("21", how=perhaps), closed("11", "21", "22"), 1, 2, 0) == ROUND
    assert trace(square(), closed("12", how=perhaps), 1, 2, 0) == (Hop("12", False, 2),)


def test_each_world_has_its_own_way() -> None:
    """In world 1 all corners are closed, in worlds 0 and 2 not; the diode is missing in 1 and 2."""
    corners = closed("11", "21", how=Value(0b010, 0b010)) | {"22": Value(0b111, 0b111)}
    circuit = square("21", how=Value(0b110, 0b110))
    assert [trace(circuit, corners, 1, 2, world) for world in range(3)] == [None, ROUND, None]
    whole = closed("11", "21", "22", how=Value(0b111, 0b111))
    assert [trace(circuit, whole, 1, 2, world) for world in range(3)] == [None, ROUND, ROUND]


def test_the_shortest_way_is_told() -> None:
    """With the fourth corner closed too the way is over it alone."""
    assert trace(square("21"), closed(*CELLS), 1, 2, 0) == (Hop("12", False, 2),)


def test_a_diode_the_wrong_way_round_passes_back_alone() -> None:
    """No way leads over it to its row, one leads back past it."""
    whole = square("21")
    (one,) = [crossing for crossing in whole.crossings if crossing.sensor == "21"]
    turned = Crossing(
        sensor="21", column=one.column, row=one.row, forward=False, backward=one.backward
    )
    circuit = square(
        crossings=tuple(turned if crossing is one else crossing for crossing in whole.crossings)
    )
    assert trace(circuit, closed("11", "21", "22"), 1, 2, 0) == ROUND
    assert trace(circuit, closed("21"), 2, 1, 0) is None


def test_a_line_without_its_wire_has_no_way() -> None:
    """A column that is not driven leads nowhere, a row that no input sees is never reached."""
    assert trace(square(strobes={}), closed("11"), 1, 1, 0) is None
    assert trace(square(reads={}), closed("11"), 1, 1, 0) is None


def test_bridged_lines_are_one_and_each_switch_keeps_its_own_number() -> None:
    """With rows 1 and 2 bridged a switch on one is a way to the other; columns alike."""
    rows, columns = square(joined=(("row", 1, 2),)), square(joined=(("column", 1, 2),))
    assert trace(rows, closed("11"), 1, 2, 0) == (Hop("11", False, 1),)
    assert trace(rows, closed("12"), 1, 1, 0) == (Hop("12", False, 2),)
    assert trace(rows, closed("12"), 1, 2, 0) == (Hop("12", False, 2),)
    assert trace(rows, closed("12"), 2, 1, 0) is None
    assert trace(columns, closed("11"), 2, 1, 0) == (Hop("11", False, 1),)
    assert trace(columns, closed("21"), 1, 1, 0) == (Hop("21", False, 1),)
    assert trace(columns, closed("21"), 1, 2, 0) is None


def test_ways_are_as_long_as_shortest_paths_of_a_graph() -> None:
    """In 200 random circuits there is a way where the scan reads closed, and networkx finds
    none with fewer switches; each hop begins where the one before it ended."""
    chance = random.Random(5)
    told = 0
    for _ in range(200):
        circuit = broken_and_bridged(chance, 2)
        switches = {
            one.sensor: Value(low := chance.getrandbits(2), low | chance.getrandbits(2))
            for one in circuit.crossings
        }
        asked = [(c, r) for c in circuit.strobes for r in circuit.reads]
        read = conduct(circuit, switches, asked, 0b11)
        columns, rows = (one_name_each(circuit.joined, axis) for axis in ("column", "row"))
        for world in (0, 1):
            graph = nx.DiGraph()
            passes = set()
            for one in circuit.crossings:
                if not switches[one.sensor].maybe >> world & 1:
                    continue
                above = "column", columns.get(one.column, one.column)
                below = "row", rows.get(one.row, one.row)
                if one.forward:
                    passes.add((Hop(one.sensor, False, one.row[0]), above, below))
                if one.backward is not None and one.backward.maybe >> world & 1:
                    passes.add((Hop(one.sensor, True, one.column[0]), below, above))
            graph.add_edges_from((begin, end) for _, begin, end in passes)
            for column, driven in circuit.strobes.items():
                graph.add_edges_from(
                    (("strobe", column), ("column", columns.get(node, node))) for node in driven
                )
            for column, row in asked:
                wanted = "row", rows.get((row, 0), (row, 0))
                way = trace(circuit, switches, column, row, world)
                assert (way is not None) == bool(read[column, row].maybe >> world & 1)
                if way is None:
                    continue
                told += len(way) > 1
                shortest = nx.shortest_path_length(graph, ("strobe", column), wanted)
                assert len(way) == shortest - 1
                here = {("column", columns.get(node, node)) for node in circuit.strobes[column]}
                for hop in way:
                    here = {end for one, begin, end in passes if one == hop and begin in here}
                assert wanted in here
    assert told > 100
