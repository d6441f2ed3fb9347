"""What faults change at the addresses, over many worlds, with only what they touch worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.injection import inject, plug_pairs
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings, scan
from simrig.sensing.chain import contact, sense
from simrig.world.worlds import Value, Worlds

_LOCAL = frozenset(("breaks", "opens", "forces", "inverts", "exchanges leads", "exchanges plugs"))


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

    @classmethod
    def of(cls, profile: Profile, many: Worlds, table: Links | None = None) -> Effects:
        """Work out the sound machine once."""
        table = table or links(profile)
        contacts = sense(profile, table.chains, many)
        return cls(
            profile=profile,
            many=many,
            table=table,
            contacts=contacts,
            healthy=scan(profile, table, contacts, many.everything),
            sneaking=_sneaking(table),
            crossings=frozenset(crossing.sensor for crossing in table.circuit.crossings),
        )

    def changed(
        self, faults: Iterable[Fault], edit: Callable[[Links], Links] | None = None
    ) -> dict[str, Value]:
        """Return the cells whose reading can differ from the sound machine's, and their values.

        ``edit`` changes the table of links further, such as a wrong statement of
        the profile does; it may touch anything.
        """
        chosen = tuple(faults)
        touched: set[str] = set()
        local = edit is None
        for fault in chosen:
            touched |= self.influenced(fault)
            local = local and fault.kind.effect in _LOCAL
        table = inject(self.profile, self.table, chosen)
        if edit is not None:
            table = edit(table)
        if not local or touched & self.sneaking:
            frame = readings(self.profile, table, self.many)
            return {name: cell for name, cell in frame.cells.items() if cell != self._cell(name)}
        everything = self.many.everything
        found = {}
        for name in touched:
            arriving = table.leads.get(name, name)
            sensor = self.profile.row("sensor", arriving)
            if table.chains[arriving] is self.table.chains[arriving]:
                value = self.contacts[arriving]
            else:
                value = contact(table.chains[arriving], self.many.works(sensor), everything)
            if value != self._cell(name):
                found[name] = value
        return found

    def _cell(self, name: str) -> Value:
        return self.healthy.cells[name]

    def influenced(self, fault: Fault) -> frozenset[str]:
        """Return the sensors whose reading may depend on a fault, alone or beside others."""
        effect = fault.kind.effect
        if effect in ("breaks", "opens", "forces", "inverts"):
            part = fault.component
            found = {
                name
                for name, chain in self.table.chains.items()
                if any(link.part == part for link in chain)
            }
        elif effect == "exchanges leads":
            found = set(fault.part.split("+"))
        elif effect == "exchanges plugs":
            one, other = fault.part.split("+")
            found = {name for pair in plug_pairs(self.profile, one, other) for name in pair}
        elif effect == "opens diode":
            found = {fault.part}
        elif effect in ("shorts diode", "reverses diode"):
            return self.crossings
        elif effect.endswith(("line", "lines")):
            return self._on_lines(fault)
        else:
            return frozenset()
        return frozenset(found) | (self.crossings if found & self.sneaking else frozenset())

    def _on_lines(self, fault: Fault) -> frozenset[str]:
        axis = "row" if fault.kind.part.startswith("row") else "column"
        numbers = {int(word) for word in fault.part.partition("@")[0].split("+")}
        cells = {
            crossing.sensor
            for crossing in self.table.circuit.crossings
            if getattr(crossing, axis)[0] in numbers
        }
        effect = fault.kind.effect
        if effect == "opens line" or (effect == "holds line" and axis == "row"):
            return frozenset(cells)
        if effect == "holds line" or (self.sneaking and effect != "exchanges lines"):
            # A held column reaches every row, and beside a bridge every column.
            return self.crossings
        return frozenset(cells)


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
