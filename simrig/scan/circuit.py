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
    rows = _alias(circuit, "row")
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


def _reach(
    circuit: Circuit, closed: Mapping[str, int], bound: int, everything: int
) -> dict[tuple[int, Node], int]:
    columns, rows_of = _alias(circuit, "column"), _alias(circuit, "row")
    by_column: dict[Node, list[tuple[Node, int]]] = {}
    back: list[tuple[Node, Node, int]] = []
    for crossing in circuit.crossings:
        value = closed.get(crossing.sensor, 0)
        if not value:
            continue
        column = columns.get(crossing.column, crossing.column)
        row = rows_of.get(crossing.row, crossing.row)
        if crossing.forward:
            by_column.setdefault(column, []).append((row, value))
        if crossing.backward is not None and (way := value & crossing.backward[bound]):
            back.append((row, column, way))
    reached: dict[tuple[int, Node], int] = {}
    for number, driven in circuit.strobes.items():
        live = dict.fromkeys((columns.get(node, node) for node in driven), everything)
        rows: dict[Node, int] = {}
        fresh = dict(live)
        while fresh:
            for node, worlds in fresh.items():
                for row, value in by_column.get(node, ()):
                    if value & worlds:
                        rows[row] = rows.get(row, 0) | value & worlds
            fresh = {}
            for row, node, value in back:
                gained = rows.get(row, 0) & value & ~live.get(node, 0)
                if gained:
                    live[node] = live.get(node, 0) | gained
                    fresh[node] = fresh.get(node, 0) | gained
        for row, worlds in rows.items():
            reached[number, row] = worlds
    return reached


def _alias(circuit: Circuit, axis: str) -> dict[Node, Node]:
    """Return one name for all lines of an axis that bridges join."""
    names: dict[Node, Node] = {}
    for line, one, other in circuit.joined:
        if line == axis:
            first = names.get((one, 0), (one, 0))
            second = names.get((other, 0), (other, 0))
            for node in [node for node, name in names.items() if name == second]:
                names[node] = first
            names[second] = names[other, 0] = first
    return names
