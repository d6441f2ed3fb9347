"""Which faults influence each other, and which cells they can change, without trying them.

The problem.  Two faults that concern different cells need not be worked out
together: what each changes stands beside what the other changes.  In a matrix this
takes care, since a signal that passes back at a crossing makes cells depend on
switches elsewhere.

How.  A cell reads closed if a path of closed switches leads from its column to its
row.  Without a way back each path is one switch.  A way back is open where a
crossing without diode has a switch that is closed in some world, or where a
fault makes one.  As long as no fault makes one, only these are to be followed, and a
switch matters beyond its own cell only in a row from which one of them leads back
(as the way in), or in a column into which one leads (as the way out).  A fault that
makes a way back is taken to concern all cells of the matrix, but for the shorted
diode in a matrix full of diodes, the commonest by far, whose paths are written out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from typing import Final

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.contents import Change
from simrig.scan.circuit import Crossing
from simrig.scan.scanner import Links
from simrig.world.worlds import Value


@attrs.frozen(kw_only=True)
class Interaction:
    """Where a fault meets others, and what it can change.

    Faults that share a cell of ``meets`` influence each other; and one with
    ``lacks`` influences one that changes ``several`` contacts, some of each of two
    sets.  Others do not.  ``meets`` holds every cell that the fault changes by
    itself, ``reaches`` also those that it changes together with what it meets.
    One that ``carries`` brings what others do at one cell to another.  It ``opens`` if
    it can make a cell read open that without it would read closed, in any company; and
    ``closes`` if the other way round.
    """

    meets: frozenset[str] = frozenset()
    reaches: frozenset[str] = frozenset()
    several: frozenset[str] = frozenset()
    lacks: tuple[frozenset[str], frozenset[str]] | None = None
    carries: bool = False
    opens: bool = True
    closes: bool = True

    def supplied_by(self, other: Interaction) -> bool:
        """Tell whether another fault supplies both of what this one lacks."""
        return self.lacks is not None and all(other.several & one for one in self.lacks)


_DOES: Final = {
    "opens diode": (True, False),
    "opens line": (True, False),
    "cuts line": (True, False),
    "shorts diode": (False, True),
    "holds line": (False, True),
    "bridges lines": (False, True),
}
"""Whether an effect opens and whether it closes: a way taken out closes nothing, one more
opens nothing, whatever else is wrong."""


class Reach:
    """The reach of changes of one machine over some worlds."""

    def __init__(self, table: Links, contacts: Mapping[str, Value], lost: frozenset[str]) -> None:
        self._crossing = {one.sensor: one for one in table.circuit.crossings}
        self._crossings = frozenset(self._crossing)
        self._closed = {
            name: contacts[table.leads.get(name, name)].maybe for name in self._crossing
        }
        self._lost = lost
        # A machine that is rewired to begin with is not looked into.
        self._odd = bool(table.leads or table.circuit.joined or table.circuit.held)

    @cached_property
    def _ways_back(self) -> tuple[Crossing, ...]:
        """The ways back of the sound machine that are open in some world."""
        return tuple(
            [
                one
                for one in self._crossing.values()
                if one.backward is not None and one.backward.maybe & self._closed[one.sensor]
            ]
        )

    @cached_property
    def _diodes_everywhere(self) -> bool:
        return all(one.backward is None for one in self._crossing.values())

    def everywhere(self, names: Iterable[str] = ()) -> Interaction:
        """Return the interaction of what can concern any cell of the matrix."""
        cells = self._crossings | frozenset(names)
        return Interaction(meets=cells, reaches=cells, carries=True)

    def of_contacts(self, change: Change) -> Interaction:
        """Return the interaction of a change of chains and of leads.

        A contact that stays as it is in every world concerns its own cell only:
        it matters beside what else is done to its chain.  With exchanged leads
        what arrives can be anything.
        """
        names = frozenset(change.delta.chains) | frozenset(change.delta.leads)
        moved = frozenset(change.delta.leads)
        changed = frozenset(change.content.contacts) | moved
        if self._odd or changed & self._lost:
            return self.everywhere(names)
        for name in changed & self._crossings:
            one = self._crossing[name]
            if one.backward is not None and not one.backward.maybe & self._closed[name]:
                value = change.content.contacts.get(name)
                if name in moved or (value is not None and value.maybe):
                    return self.everywhere(names)
        cells = names | self._region(changed)
        # What is done to its own chain besides shows wherever the contact shows.
        return Interaction(
            meets=cells,
            reaches=cells,
            several=changed & self._crossings,
            carries=bool(moved) or cells != names,
        )

    def _region(self, names: frozenset[str]) -> frozenset[str]:
        """Return the cells that depend on some switches, if no fault makes a way back."""
        ways = self._ways_back
        if not ways:
            return names
        ways_in = {one.row for one in ways}
        ways_out = {one.column for one in ways}
        every = self._crossing.values()
        columns = {one.column for one in every if one.row in ways_in}
        rows = {one.row for one in every if one.column in ways_out}
        found = set(names)
        for name in names & self._crossings:
            here = self._crossing[name]
            into, out = here.row in ways_in, here.column in ways_out
            if into or out:
                found |= {
                    one.sensor
                    for one in every
                    if (one.column in columns if out else one.column == here.column)
                    and (one.row in rows if into else one.row == here.row)
                }
        return frozenset(found)

    def of_circuit(self, change: Change, fault: Fault, limit: int) -> Interaction:
        """Return the interaction of a change of crossings or lines."""
        if fault.kind.effect == "breaks":
            return self._of_plug(change)
        opens, closes = _DOES.get(fault.kind.effect, (True, True))
        found = self._of_circuit(change, fault, limit)
        return attrs.evolve(found, opens=opens, closes=closes)

    def _of_plug(self, change: Change) -> Interaction:
        """Return the interaction of a plug that carries lines, and perhaps wires besides."""
        if self._odd:
            return self.everywhere(change.delta.chains)
        lines = self._on_lines(change.delta.strobes, change.delta.reads)
        wires = self.of_contacts(change)
        return Interaction(
            meets=lines | wires.meets,
            reaches=lines | wires.reaches,
            several=wires.several,
            carries=True,
            closes=bool(change.delta.chains),
        )

    def _of_circuit(self, change: Change, fault: Fault, limit: int) -> Interaction:
        effect, delta = fault.kind.effect, change.delta
        if self._odd:
            return self.everywhere()
        if effect == "opens diode":
            cells = self._opened(frozenset(delta.crossings))
        elif effect == "cuts line":
            cells = frozenset(delta.crossings)
            if cells & {one.sensor for one in self._ways_back}:
                return self.everywhere()
            # What lies beyond is as open, since nothing there passes back.
            cells = self._opened(cells)
        elif effect == "opens line" or delta.held:
            cells = self._on_lines(delta.strobes, {*delta.reads, *delta.held})
        elif effect in ("shorts diode", "reverses diode"):
            return self._passing_back(fault.part, limit)
        else:
            return self._on_many_lines(change, fault, limit)
        return Interaction(meets=cells, reaches=cells, carries=cells != frozenset(delta.crossings))

    def _opened(self, names: frozenset[str]) -> frozenset[str]:
        return names | self._region(frozenset([name for name in names if self._closed[name]]))

    def _on_many_lines(self, change: Change, fault: Fault, limit: int) -> Interaction:
        """Return the interaction of lines that are driven, read or joined otherwise."""
        effect, delta = fault.kind.effect, change.delta
        if effect == "exchanges lines" and limit < 3:
            cells = self._on_lines(delta.strobes, delta.reads)
        elif limit > 2 or not self._diodes_everywhere:
            return self.everywhere()
        elif effect == "bridges lines":
            ((axis, *lines),) = delta.joined
            cells = self._on_lines(lines, ()) if axis == "column" else self._on_lines((), lines)
        elif effect == "holds line":
            # A column that is driven always reaches every row of a switch that is closed in it.
            cells = self._on_lines((int(fault.part),), ())
            rows = [self._crossing[name].row[0] for name in cells if self._closed[name]]
            cells |= self._on_lines((), rows)
        else:
            return self.everywhere()
        return Interaction(meets=cells, reaches=self._crossings, carries=True)

    def _on_lines(self, columns: Iterable[int], rows: Iterable[int]) -> frozenset[str]:
        some_columns, some_rows = set(columns), set(rows)
        return frozenset(
            [
                name
                for name, one in self._crossing.items()
                if one.column[0] in some_columns or one.row[0] in some_rows
            ]
        )

    def _passing_back(self, name: str, limit: int) -> Interaction:
        """Return the interaction of a crossing at which the signal passes back.

        It comes from another column over a switch closed in the same row, and
        goes on over one closed in the same column.  A switch that no position
        of the balls closes is closed by another fault, which it then meets.
        """
        own = self._closed[name]
        if limit > 2 or (own and not self._diodes_everywhere):
            return self.everywhere()
        if not own:
            return Interaction(meets=frozenset((name,)), reaches=self._crossings, carries=True)
        here = self._crossing[name]
        row, column = set(), set()
        comes, goes = {}, {}
        for one in self._crossing.values():
            closed = self._closed[one.sensor] & own
            if one is not here and one.row == here.row:
                row.add(one.sensor)
                comes[one.column] = closed
            elif one is not here and one.column == here.column:
                column.add(one.sensor)
                goes[one.row] = closed
        meets = {name}
        if any(goes.values()):
            meets |= row
        if any(comes.values()):
            meets |= column
        for one in self._crossing.values():
            if comes.get(one.column, 0) & goes.get(one.row, 0):
                meets.add(one.sensor)
        return Interaction(
            meets=frozenset(meets),
            reaches=self._crossings,
            lacks=(frozenset(row), frozenset(column)),
            carries=True,
        )
