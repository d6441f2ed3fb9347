"""A fault as an edit of the table of links.

Each concerns its own part; they are made in one order, whatever order
they are named in.  The floors below never hear of faults; they see a table
with other links.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

import attrs

from simrig.faults.candidates import Fault, lines_through
from simrig.profile.machine import Profile
from simrig.scan.circuit import Circuit, Crossing, Node
from simrig.scan.scanner import Links
from simrig.sensing.chain import Chain, Link
from simrig.world.worlds import Value

ALWAYS: Final = Value(-1, -1)
_OPPOSITE: Final = {"makes": "breaks", "breaks": "makes"}
LOOSE_END: Final = 1
"""The piece of a wire beyond a break."""


def inject(profile: Profile, table: Links, faults: Iterable[Fault]) -> Links:
    """Return the table of links of a machine with these faults.

    Faults of coils and of balls leave the links as they are.  Raises ValueError
    when one part is given two modes.
    """
    chosen = list(faults)
    parts = [fault.component for fault in chosen]
    if len(set(parts)) != len(parts):
        raise ValueError("a part fails in one way at a time")
    edits = [(_ORDER.index(fault.kind.effect), fault, EDITS[fault.kind.effect]) for fault in chosen]
    edits += [(_LINES, fault, _open_lines) for fault in chosen if lines_of(profile, fault)]
    for _, fault, edit in sorted(edits, key=lambda one: (one[0], one[1].name)):
        table = edit(profile, table, fault)
    return table


def lines_of(profile: Profile, fault: Fault) -> tuple[tuple[str, int], ...]:
    """Return the lines of the matrix that a plug which does not make takes along."""
    if fault.kind.part != "connector" or fault.kind.effect != "breaks":
        return ()
    return lines_through(profile, fault.part)


def _on_chains(action: Callable[[Link], str]) -> Callable[[Profile, Links, Fault], Links]:
    def edit(profile: Profile, table: Links, fault: Fault) -> Links:
        part = fault.component
        changed: dict[str, Chain] = {}
        for name, links in table.chains.items():
            if any(link.part == part for link in links):
                changed[name] = tuple(
                    attrs.evolve(link, action=action(link)) if link.part == part else link
                    for link in links
                )
        return attrs.evolve(table, chains={**table.chains, **changed})

    return edit


def _exchange_leads(profile: Profile, table: Links, fault: Fault) -> Links:
    one, other = fault.part.split("+")
    leads = dict(table.leads)
    first, second = leads.get(one, one), leads.get(other, other)
    return attrs.evolve(table, leads={**leads, one: second, other: first})


def plug_pairs(profile: Profile, one: str, other: str) -> tuple[tuple[str, str], ...]:
    """Return the sensors that change places when two plugs are exchanged, pin by pin."""

    def by_pin(plug: str) -> dict[int, str]:
        found = {}
        for sensor in profile.sensor:
            board = profile.row("board", sensor.board)
            if sensor.connector == plug and sensor.pin is not None:
                found[sensor.pin] = sensor.id
            elif board is not None and board.output_plug == plug and sensor.channel is not None:
                found[sensor.channel] = sensor.id
        return found

    first, second = by_pin(one), by_pin(other)
    return tuple((first[pin], second[pin]) for pin in first if pin in second)


def _exchange_plugs(profile: Profile, table: Links, fault: Fault) -> Links:
    one, other = fault.part.split("+")
    leads = dict(table.leads)
    for first, second in plug_pairs(profile, one, other):
        leads[first], leads[second] = leads.get(second, second), leads.get(first, first)
    return attrs.evolve(table, leads=leads)


def _on_crossing(edit: Callable[[Crossing], Crossing]) -> Callable[[Profile, Links, Fault], Links]:
    def change(profile: Profile, table: Links, fault: Fault) -> Links:
        crossings = tuple(
            edit(crossing) if crossing.sensor == fault.part else crossing
            for crossing in table.circuit.crossings
        )
        return attrs.evolve(table, circuit=attrs.evolve(table.circuit, crossings=crossings))

    return change


def _open_diode(crossing: Crossing) -> Crossing:
    return attrs.evolve(crossing, forward=False, backward=None)


def _shorted_diode(crossing: Crossing) -> Crossing:
    # An open diode that is wired past conducts all the same.
    return attrs.evolve(crossing, forward=True, backward=ALWAYS)


def _backward_diode(crossing: Crossing) -> Crossing:
    return attrs.evolve(crossing, forward=False, backward=ALWAYS)


def _axis(fault: Fault) -> str:
    return "row" if fault.kind.part.startswith("row") else "column"


def _with_lines(circuit: Circuit, axis: str, lines: dict[int, frozenset[Node]]) -> Circuit:
    if axis == "row":
        return attrs.evolve(circuit, reads={**circuit.reads, **lines})
    return attrs.evolve(circuit, strobes={**circuit.strobes, **lines})


def _open_line(profile: Profile, table: Links, fault: Fault) -> Links:
    circuit = _with_lines(table.circuit, _axis(fault), {int(fault.part): frozenset()})
    return attrs.evolve(table, circuit=circuit)


def _open_lines(profile: Profile, table: Links, fault: Fault) -> Links:
    circuit = table.circuit
    for axis, number in lines_of(profile, fault):
        circuit = _with_lines(circuit, axis, {number: frozenset()})
    return attrs.evolve(table, circuit=circuit)


def _cut_line(profile: Profile, table: Links, fault: Fault) -> Links:
    axis = _axis(fault)
    number, place = (int(word) for word in fault.part.split("@"))
    line = next(line for line in getattr(profile.matrix, axis) if line.number == number)
    beyond = frozenset((line.order or ())[place:])
    crossings = []
    for crossing in table.circuit.crossings:
        if crossing.sensor in beyond:
            node: Node = getattr(crossing, axis)
            # A second break further on leaves yet another loose piece.
            piece = (node[0], node[1] + (LOOSE_END << place))
            if axis == "row":
                crossing = attrs.evolve(crossing, row=piece)
            else:
                crossing = attrs.evolve(crossing, column=piece)
        crossings.append(crossing)
    return attrs.evolve(table, circuit=attrs.evolve(table.circuit, crossings=tuple(crossings)))


def _hold_line(profile: Profile, table: Links, fault: Fault) -> Links:
    number = int(fault.part)
    circuit = table.circuit
    if _axis(fault) == "row":
        circuit = attrs.evolve(circuit, held=circuit.held | {number})
    else:
        driven = circuit.strobes[number]
        strobes = {column: nodes | driven for column, nodes in circuit.strobes.items()}
        circuit = attrs.evolve(circuit, strobes=strobes)
    return attrs.evolve(table, circuit=circuit)


def _lines(table: Links, fault: Fault) -> tuple[str, int, int, dict[int, frozenset[Node]]]:
    axis = _axis(fault)
    one, other = (int(word) for word in fault.part.split("+"))
    lines = table.circuit.reads if axis == "row" else table.circuit.strobes
    return axis, one, other, dict(lines)


def _bridge_lines(profile: Profile, table: Links, fault: Fault) -> Links:
    axis, one, other, _ = _lines(table, fault)
    circuit = attrs.evolve(table.circuit, joined=(*table.circuit.joined, (axis, one, other)))
    return attrs.evolve(table, circuit=circuit)


def _exchange_lines(profile: Profile, table: Links, fault: Fault) -> Links:
    axis, one, other, lines = _lines(table, fault)
    circuit = _with_lines(table.circuit, axis, {one: lines[other], other: lines[one]})
    return attrs.evolve(table, circuit=circuit)


def _unchanged(profile: Profile, table: Links, fault: Fault) -> Links:
    return table


EDITS: Final[dict[str, Callable[[Profile, Links, Fault], Links]]] = {
    "opens diode": _on_crossing(_open_diode),
    "reverses diode": _on_crossing(_backward_diode),
    "shorts diode": _on_crossing(_shorted_diode),
    "cuts line": _cut_line,
    "exchanges lines": _exchange_lines,
    "opens line": _open_line,
    "bridges lines": _bridge_lines,
    "holds line": _hold_line,
    "breaks": _on_chains(lambda link: link.broken),
    "opens": _on_chains(lambda link: "cuts"),
    "forces": _on_chains(lambda link: "forces"),
    "inverts": _on_chains(lambda link: _OPPOSITE.get(link.action, link.action)),
    "exchanges leads": _exchange_leads,
    "exchanges plugs": _exchange_plugs,
    "kicks nothing": _unchanged,
    "moves balls": _unchanged,
}
"""What each effect does, in the order in which edits of one line are made."""

_ORDER: Final = tuple(EDITS)
_LINES: Final = _ORDER.index("opens line")
