"""The matrix as it is wired: conduction through switches and diodes, sneak paths included.

Column and row wires are nodes; a closed switch joins the two nodes of its
crossing.  With a diode at the crossing the signal of the scan passes from the
column to the row only; without one it also passes back, and so reaches other
columns and, through their switches, other rows: phantoms.

A crossing reads closed when its row can be reached from its column while that
column alone is strobed, idle columns floating.  Without any diode this is
connectedness in the graph of closed switches.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from simrig.world.worlds import Value

Node = tuple[int, int]
"""A wire and the piece of it: (number, 0) is the piece at the controller."""


@attrs.frozen(kw_only=True)
class Crossing:
    """One position of the matrix: which nodes it joins, and which way the signal passes."""

    sensor: str
    column: Node
    row: Node
    forward: bool = True
    backward: Value | None = None
    """Worlds in which the signal also passes back; None: in no world."""


@attrs.frozen(kw_only=True)
class Circuit:
    """The crossings, and how the controller's drivers and inputs meet the wires.

    ``strobes`` gives for each column number the nodes that are driven while it
    is strobed; ``reads`` for each row number the nodes that its input sees.  A
    row in ``held`` reads closed always.
    """

    crossings: tuple[Crossing, ...]
    strobes: Mapping[int, frozenset[Node]]
    reads: Mapping[int, frozenset[Node]]
    held: frozenset[int] = frozenset()
    joined: tuple[tuple[str, int, int], ...] = ()
    """Bridges: the axis (column or row) and the numbers of the two lines."""


def conduct(
    circuit: Circuit,
    closed: Mapping[str, Value],
    asked: Iterable[tuple[int, int]],
    everything: int,
) -> dict[tuple[int, int], Value]:
    """Return the reading of each asked (column, row) as the worlds in which it is closed.

    ``closed`` is the state of the switch at each crossing.  A path that may
    conduct makes a reading that may be closed.
    """
    surely = _reach(circuit, {name: value.surely for name, value in closed.items()}, 0, everything)
    certain = all(value.surely == value.maybe for value in closed.values()) and all(
        crossing.backward is None or crossing.backward.surely == crossing.backward.maybe
        for crossing in circuit.crossings
    )
    maybe = (
        surely
        if certain
        else _reach(circuit, {name: value.maybe for name, value in closed.items()}, 1, everything)
    )
    rows = one_name_each(circuit.joined, "row")
    found = {}
    for column, row in asked:
        if row in circuit.held:
            found[column, row] = Value(everything, everything)
            continue
        low = high = 0
        for node in {rows.get(node, node) for node in circuit.reads.get(row, ())}:
            low |= surely.get((column, node), 0)
            high |= maybe.get((column, node), 0)
        found[column, row] = Value(low, high)
    return found


_Ways = dict[Node, dict[Node, int]]
"""From each node the nodes that a signal passes to, and in which worlds."""


def _reach(
    circuit: Circuit, closed: Mapping[str, int], bound: int, everything: int
) -> dict[tuple[int, Node], int]:
    columns = one_name_each(circuit.joined, "column")
    rows_of = one_name_each(circuit.joined, "row")
    forward: _Ways = {}
    back: _Ways = {}
    for crossing in circuit.crossings:
        value = closed.get(crossing.sensor, 0) & everything
        if not value:
            continue
        column = columns.get(crossing.column, crossing.column)
        row = rows_of.get(crossing.row, crossing.row)
        if crossing.forward:
            _pass(forward.setdefault(column, {}), {row: value})
        if crossing.backward is not None and (way := value & crossing.backward[bound]):
            _pass(back.setdefault(row, {}), {column: way})
    across = _across(forward, back)
    reached: dict[tuple[int, Node], int] = {}
    for number, nodes in circuit.strobes.items():
        rows: dict[Node, int] = {}
        for column in {columns.get(node, node) for node in nodes}:
            _pass(rows, forward.get(column, {}))
            for other, worlds in across.get(column, {}).items():
                _pass(rows, forward.get(other, {}), worlds)
        for row, worlds in rows.items():
            reached[number, row] = worlds
    return reached


def _across(forward: _Ways, back: _Ways) -> _Ways:
    """Return the columns that each column reaches through rows: Warshall, world by world."""
    across: _Ways = {}
    for column, rows in forward.items():
        ways: dict[Node, int] = {}
        for row, worlds in rows.items():
            if row in back:
                _pass(ways, back[row], worlds)
        if ways:
            across[column] = ways
    for through, onward in across.items():
        for ways in across.values():
            if through in ways:
                _pass(ways, onward, ways[through])
    return across


def _pass(reached: dict[Node, int], ways: Mapping[Node, int], worlds: int = -1) -> None:
    """Add what ways lead to in some worlds."""
    for node, value in ways.items():
        if both := value & worlds:
            reached[node] = reached.get(node, 0) | both


def spread(
    forward: Mapping[Node, Mapping[str, tuple[Node, int]]],
    back: Iterable[tuple[Node, Node, int]],
    driven: Iterable[Node],
    everything: int,
) -> dict[Node, int]:
    """Return the row nodes that a signal from the driven column nodes reaches, with the worlds.

    ``forward`` gives for each column node and each sensor at it the row to which
    it passes, and in which worlds; ``back`` the ways from a row to a column.
    """
    live = dict.fromkeys(driven, everything)
    rows: dict[Node, int] = {}
    fresh = live
    while fresh:
        for node, worlds in fresh.items():
            for row, value in forward[node].values() if node in forward else ():
                if value & worlds:
                    rows[row] = rows.get(row, 0) | value & worlds
        fresh = {}
        for row, node, value in back:
            if row in rows:
                gained = rows[row] & value & ~live.get(node, 0)
                if gained:
                    fresh[node] = fresh.get(node, 0) | gained
        for node, gained in fresh.items():
            live[node] = live.get(node, 0) | gained
    return rows


def one_name_each(joined: Iterable[tuple[str, int, int]], axis: str) -> dict[Node, Node]:
    """Return one name for all lines of an axis that bridges join."""
    names: dict[Node, Node] = {}
    for line, one, other in joined:
        if line == axis:
            first = names.get((one, 0), (one, 0))
            second = names.get((other, 0), (other, 0))
            for node in [node for node, name in names.items() if name == second]:
                names[node] = first
            names[second] = first
    return names


def sneaking(circuit: Circuit) -> frozenset[str]:
    """Return the sensors that can lie on a sneak path: on a line with a crossing without diode."""
    open_ended = [crossing for crossing in circuit.crossings if crossing.backward is not None]
    columns = {crossing.column for crossing in open_ended}
    rows = {crossing.row for crossing in open_ended}
    return frozenset(
        crossing.sensor
        for crossing in circuit.crossings
        if crossing.column in columns or crossing.row in rows
    )


def on_lines(crossing: Crossing, lines: Iterable[tuple[str, int]]) -> bool:
    """Tell whether a crossing is on one of some lines, given as axis and number."""
    here = {("column", crossing.column[0]), ("row", crossing.row[0])}
    return not here.isdisjoint(lines)
