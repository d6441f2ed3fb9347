"""The way along which a crossing of the matrix comes to read closed, switch by switch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from simrig.scan.circuit import Circuit, Node, one_name_each
from simrig.world.worlds import Value


class Hop(NamedTuple):
    """One switch on the way: over it to its row, or back past it to its column."""

    sensor: str
    back: bool
    line: int


def trace(
    circuit: Circuit, closed: Mapping[str, Value], column: int, row: int, world: int
) -> tuple[Hop, ...] | None:
    """Return the shortest way from a strobed column to a row in one world; None: there is none.

    What may conduct is taken to.
    """
    columns, rows = one_name_each(circuit.joined, "column"), one_name_each(circuit.joined, "row")
    bit = 1 << world
    wanted = {rows.get(node, node) for node in circuit.reads.get(row, ())}
    fresh: dict[tuple[str, Node], tuple[Hop, ...]] = {
        ("column", columns.get(node, node)): () for node in circuit.strobes.get(column, ())
    }
    seen = set(fresh)
    while fresh:
        found: dict[tuple[str, Node], tuple[Hop, ...]] = {}
        for (axis, node), way in fresh.items():
            for one in circuit.crossings:
                if not closed[one.sensor].maybe & bit:
                    continue
                above = columns.get(one.column, one.column)
                below = rows.get(one.row, one.row)
                if axis == "column" and above == node and one.forward:
                    there, hop = ("row", below), Hop(one.sensor, False, one.row[0])
                elif axis == "row" and below == node and one.backward and one.backward.maybe & bit:
                    there, hop = ("column", above), Hop(one.sensor, True, one.column[0])
                else:
                    continue
                if there not in seen:
                    seen.add(there)
                    found[there] = (*way, hop)
                    if there[0] == "row" and there[1] in wanted:
                        return found[there]
        fresh = found
    return None
