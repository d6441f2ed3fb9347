"""The way by which a phantom comes about: from a column over closed switches to the row it is read at.

A signal passes from a column to a row over any closed switch, and back from a row to a
column where the crossing lets it.  The shortest such way is found breadth first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from simrig.scan.circuit import Circuit, Node


def way_to(circuit: Circuit, closed: Callable[[str], bool], column: int, row: int) -> str:
    """Say over which switches a signal comes from a column to a row in more than one step.

    Empty where it comes over one switch, or not at all, and where lines are bridged.
    """
    if circuit.joined:
        return ""
    wanted = circuit.reads.get(row, frozenset())
    start = circuit.strobes.get(column, frozenset())
    came: dict[tuple[str, Node], tuple[tuple[str, Node] | None, str]] = {
        ("column", node): (None, "") for node in start
    }
    waiting = list(came)
    for place in waiting:
        if place[0] == "row" and place[1] in wanted:
            return _said(came, place)
        for after, switch in _steps(circuit, closed, place):
            if after not in came:
                came[after] = (place, switch)
                waiting.append(after)
    return ""


def _steps(
    circuit: Circuit, closed: Callable[[str], bool], place: tuple[str, Node]
) -> Iterator[tuple[tuple[str, Node], str]]:
    axis, node = place
    for one in circuit.crossings:
        if axis == "column" and one.column == node and one.forward and closed(one.sensor):
            yield ("row", one.row), one.sensor
        back = one.backward is not None and one.backward.surely
        if axis == "row" and one.row == node and back and closed(one.sensor):
            yield ("column", one.column), one.sensor


def _said(
    came: dict[tuple[str, Node], tuple[tuple[str, Node] | None, str]], place: tuple[str, Node]
) -> str:
    steps: list[str] = []
    while (before := came[place])[0] is not None:
        axis, node = place
        steps.append(f"{'back ' if axis == 'column' else ''}over {before[1]} to {axis} {node[0]}")
        place = before[0]
    return ", ".join(reversed(steps)) if len(steps) > 1 else ""
