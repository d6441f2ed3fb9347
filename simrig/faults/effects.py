"""What faults change at the addresses, over many worlds, with only what they touch worked out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.deltas import Rewiring, apart, delta, together
from simrig.faults.injection import plug_pairs
from simrig.faults.resolving import Change, Resolver, merged
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value, Worlds


@attrs.frozen(kw_only=True)
class Interaction:
    """Where a fault meets others, and what it can change.

    Faults that share a cell of ``meets``, or are both ``wide``, influence each
    other; others do not.  ``meets`` holds every cell that the fault changes by
    itself, ``reaches`` also those that it changes together with what it meets.
    """

    meets: frozenset[str] = frozenset()
    reaches: frozenset[str] = frozenset()
    wide: bool = False


@attrs.frozen(kw_only=True, eq=False)
class Effects:
    """A sound machine over many worlds, and what faults make of its readings."""

    profile: Profile
    many: Worlds
    table: Links
    contacts: Mapping[str, Value] = attrs.field(repr=False)
    healthy: Frame = attrs.field(repr=False)
    sneaking: frozenset[str]
    """Sensors of the matrix whose switch can pass a signal on past its own crossing."""
    crossings: frozenset[str]
    worked: Mapping[str, Value] = attrs.field(repr=False)
    _behind: Mapping[tuple[str, str], frozenset[str]] = attrs.field(repr=False)

    _resolver: Resolver = attrs.field(repr=False)
    _changes: dict[str, Change] = attrs.field(factory=dict, repr=False)
    _cells: dict[frozenset[int], Mapping[str, Value]] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(cls, profile: Profile, many: Worlds, table: Links | None = None) -> Effects:
        """Work out the sound machine once."""
        table = table or links(profile)
        everything = many.everything
        worked = {sensor.id: many.works(sensor) for sensor in profile.sensor}
        contacts = {
            name: contact(chain, worked[name], everything) for name, chain in table.chains.items()
        }
        behind: dict[tuple[str, str], set[str]] = {}
        for name, chain in table.chains.items():
            for link in chain:
                behind.setdefault(link.part, set()).add(name)
        healthy = scan(profile, table, contacts, everything)
        return cls(
            profile=profile,
            many=many,
            table=table,
            contacts=contacts,
            healthy=healthy,
            sneaking=_sneaking(table),
            crossings=frozenset(crossing.sensor for crossing in table.circuit.crossings),
            worked=worked,
            behind={part: frozenset(names) for part, names in behind.items()},
            resolver=Resolver(profile, table, worked, contacts, healthy),
        )

    def change(self, fault: Fault) -> Change:
        """Return what a fault changes in the table of links."""
        found = self._changes.get(fault.name)
        if found is None:
            made = delta(self.profile, self.table, (fault,))
            found = self._changes[fault.name] = self._resolver.change(made)
        return found

    def rewired(self, rewiring: Rewiring) -> Change:
        """Return what an edit that is no fault changes in the table of links."""
        return self._resolver.change(delta(self.profile, self.table, (), (rewiring,)))

    def changed(self, faults: Iterable[Fault]) -> Mapping[str, Value]:
        """Return the cells whose reading can differ from the sound machine's, and their values."""
        return self.changed_by([self.change(fault) for fault in faults])

    def changed_by(self, changes: Sequence[Change]) -> Mapping[str, Value]:
        """Return the cells that changes of links make read otherwise, and their values.

        Raises ValueError when one part is given two modes.
        """
        if len(changes) > 1 and not apart([one.delta for one in changes]):
            both = together(self.profile, self.table, [one.delta for one in changes])
            changes = (self._resolver.change(both),)
        # Changes without content do nothing beside what touches other links.
        numbers = frozenset([one.number for one in changes if one.number])
        found = self._cells.get(numbers)
        if found is None:
            contents = [one.content for one in changes if one.number]
            found = self._cells[numbers] = self._resolver.cells(merged(contents))
        return found

    def interaction(self, fault: Fault, limit: int) -> Interaction:
        """Return where a fault meets others, and what it can change, with ``limit`` at most."""
        effect = fault.kind.effect
        if effect in ("breaks", "opens", "forces", "inverts"):
            return self.of_contacts(self._behind.get(fault.component, frozenset()), limit)
        if effect == "exchanges leads":
            return self.of_contacts(frozenset(fault.part.split("+")), limit)
        if effect == "exchanges plugs":
            one, other = fault.part.split("+")
            pairs = plug_pairs(self.profile, one, other)
            return self.of_contacts(frozenset(name for pair in pairs for name in pair), limit)
        if effect == "opens diode":
            return self.of_contacts(frozenset((fault.part,)), limit)
        if effect in ("shorts diode", "reverses diode"):
            return self._back_path(fault.part, limit)
        if effect.endswith(("line", "lines")):
            return self._on_lines(fault, limit)
        return Interaction()

    def of_contacts(self, names: frozenset[str], limit: int) -> Interaction:
        """Return the interaction of a change at the contacts of some sensors.

        On a sound matrix with diodes a contact changes its own reading.  Where a
        crossing without diode can pass the signal back, it may change others.
        """
        meets = set(names)
        wide = False
        for name in names & self.sneaking:
            here = self._crossing[name]
            for other in self._open_ended:
                if other.column == here.column or other.row == here.row:
                    meets.add(other.sensor)
                    if self.contacts[other.sensor].maybe or limit > 2:
                        wide = True
                        meets |= self._lines_of(other)
        if not wide:
            return Interaction(meets=frozenset(meets), reaches=frozenset(meets))
        return Interaction(
            meets=frozenset(meets) | self._alone(names), reaches=self.crossings | names, wide=True
        )

    def _alone(self, names: frozenset[str]) -> frozenset[str]:
        """The crossings that share a line with an open-ended one: where phantoms can show."""
        return self.sneaking if names & self.sneaking else frozenset()

    def _lines_of(self, here: Crossing) -> set[str]:
        return {
            one.sensor
            for one in self.table.circuit.crossings
            if one.column == here.column or one.row == here.row
        }

    def _on_lines(self, fault: Fault, limit: int) -> Interaction:
        axis = "row" if fault.kind.part.startswith("row") else "column"
        numbers = {int(word) for word in fault.part.partition("@")[0].split("+")}
        effect = fault.kind.effect
        crossings = self.table.circuit.crossings
        cells = {one.sensor for one in crossings if getattr(one, axis)[0] in numbers}
        if effect == "opens line" or (effect == "holds line" and axis == "row"):
            return Interaction(meets=frozenset(cells), reaches=frozenset(cells))
        if limit > 2 or (self.sneaking and effect != "exchanges lines"):
            return Interaction(meets=self.crossings, reaches=self.crossings, wide=True)
        if effect == "cuts line":
            number, place = (int(word) for word in fault.part.split("@"))
            line = next(one for one in getattr(self.profile.matrix, axis) if one.number == number)
            beyond = cells & frozenset((line.order or ())[place:])
            return Interaction(meets=frozenset(beyond), reaches=frozenset(beyond))
        if effect == "holds line":
            # A held column reaches every row of a switch that is closed in it.
            rows = {
                one.row
                for one in crossings
                if one.sensor in cells and self.contacts[one.sensor].maybe
            }
            cells |= {one.sensor for one in crossings if one.row in rows}
        return Interaction(meets=frozenset(cells), reaches=self.crossings)

    def _back_path(self, name: str, limit: int) -> Interaction:
        """Where a signal that passes back at one crossing can show.

        It comes from another column over a switch closed in the same row, and
        goes on over one closed in the same column.  A switch that no position
        of the balls closes is closed by another fault, which it then meets.
        """
        if self.sneaking or limit > 2:
            return Interaction(meets=self.crossings, reaches=self.crossings, wide=True)
        here = self._crossing[name]
        own = self.contacts[name].maybe
        comes, goes = {}, {}
        for one in self.table.circuit.crossings:
            closed = self.contacts[one.sensor].maybe
            if one is here or not closed or (own and not closed & own):
                continue
            if one.row == here.row:
                comes[one.column] = closed
            elif one.column == here.column:
                goes[one.row] = closed
        ends = {
            one.sensor
            for one in self.table.circuit.crossings
            if comes.get(one.column, 0) & goes.get(one.row, 0)
        }
        if not own:
            return Interaction(meets=frozenset((name,)), reaches=frozenset((name, *ends)))
        meets = {name, *ends}
        for one in self.table.circuit.crossings:
            if (goes and one.row == here.row) or (comes and one.column == here.column):
                meets.add(one.sensor)
        return Interaction(
            meets=frozenset(meets), reaches=self.crossings if comes or goes else frozenset(meets)
        )

    @cached_property
    def _crossing(self) -> dict[str, Crossing]:
        return {one.sensor: one for one in self.table.circuit.crossings}

    @cached_property
    def _open_ended(self) -> tuple[Crossing, ...]:
        return tuple(one for one in self.table.circuit.crossings if one.backward is not None)


def _sneaking(table: Links) -> frozenset[str]:
    """A crossing on a line with a crossing without diode can lie on a sneak path."""
    open_ended = [c for c in table.circuit.crossings if c.backward is not None]
    columns = {crossing.column for crossing in open_ended}
    rows = {crossing.row for crossing in open_ended}
    return frozenset(
        crossing.sensor
        for crossing in table.circuit.crossings
        if crossing.column in columns or crossing.row in rows
    )
