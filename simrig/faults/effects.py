"""What faults change at the addresses, over many worlds, with only what they touch worked out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.injection import inject, plug_pairs
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value, Worlds


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
        return cls(
            profile=profile,
            many=many,
            table=table,
            contacts=contacts,
            healthy=scan(profile, table, contacts, many.everything),
            sneaking=_sneaking(table),
            crossings=frozenset(crossing.sensor for crossing in table.circuit.crossings),
            worked=worked,
            behind={part: frozenset(names) for part, names in behind.items()},
        )

    def changed(
        self, faults: Iterable[Fault], edit: Callable[[Links], Links] | None = None
    ) -> dict[str, Value]:
        """Return the cells whose reading can differ from the sound machine's, and their values.

        ``edit`` changes the table of links further, such as a wrong statement of
        the profile does; it may touch anything.
        """
        chosen = tuple(faults)
        table = inject(self.profile, self.table, chosen)
        if edit is not None:
            table = edit(table)
        contacts = dict(self.contacts)
        everything = self.many.everything
        touched = set()
        for name, chain in table.chains.items():
            if chain is not self.table.chains[name]:
                contacts[name] = contact(chain, self.worked[name], everything)
                touched.add(name)
        for name, other in table.leads.items():
            if self.table.leads.get(name, name) != other or other in touched:
                touched.add(name)
        if table.circuit is self.table.circuit and not touched & self.sneaking:
            found = {name: contacts[table.leads.get(name, name)] for name in touched}
        else:
            found = dict(scan(self.profile, table, contacts, everything).cells)
        return {name: value for name, value in found.items() if value != self._cell(name)}

    def _cell(self, name: str) -> Value:
        return self.healthy.cells[name]

    def interaction(self, fault: Fault, limit: int) -> frozenset[str]:
        """Return the cells that a fault can change by itself, and those at which it meets others.

        ``limit`` is the number of faults present at most.  Faults without a
        common cell do not influence each other.
        """
        effect = fault.kind.effect
        if effect in ("breaks", "opens", "forces", "inverts"):
            found = self._behind.get(fault.component, frozenset())
        elif effect == "exchanges leads":
            found = frozenset(fault.part.split("+"))
        elif effect == "exchanges plugs":
            one, other = fault.part.split("+")
            pairs = plug_pairs(self.profile, one, other)
            found = frozenset(name for pair in pairs for name in pair)
        elif effect == "opens diode":
            found = frozenset((fault.part,))
        elif effect in ("shorts diode", "reverses diode"):
            return self._back_path(fault.part, limit)
        elif effect.endswith(("line", "lines")):
            return self._on_lines(fault)
        else:
            return frozenset()
        return found | (self.crossings if found & self.sneaking else frozenset())

    def _on_lines(self, fault: Fault) -> frozenset[str]:
        axis = "row" if fault.kind.part.startswith("row") else "column"
        numbers = {int(word) for word in fault.part.partition("@")[0].split("+")}
        effect = fault.kind.effect
        if effect == "bridges lines" or (effect == "holds line" and axis == "column"):
            # A held column reaches every row of a switch that is closed in it, a
            # bridge lengthens every way that passes it.
            return self.crossings
        if self.sneaking and effect == "cuts line":
            return self.crossings
        return frozenset(
            crossing.sensor
            for crossing in self.table.circuit.crossings
            if getattr(crossing, axis)[0] in numbers
        )

    def _back_path(self, name: str, limit: int) -> frozenset[str]:
        """Where a signal that passes back at one crossing can show.

        It comes from another column over a switch closed in the same row, and
        goes on over one closed in the same column.  Switches that no position
        of the balls closes count only as far as other faults can close them.
        """
        if self.sneaking or limit > 2:
            return self.crossings
        crossings = self.table.circuit.crossings
        here = next(crossing for crossing in crossings if crossing.sensor == name)
        row = [one for one in crossings if one.row == here.row and one is not here]
        column = [one for one in crossings if one.column == here.column and one is not here]
        comes = [one for one in row if self.contacts[one.sensor].maybe]
        goes = [one for one in column if self.contacts[one.sensor].maybe]
        if not self.contacts[name].maybe:
            if not (comes and goes):
                return frozenset((name,))
            ways = [(comes, goes)]
            legs: list[Crossing] = []
        else:
            ways = [(row, goes), (comes, column)]
            legs = [*row, *column]
        ends = {
            (one.column, other.row) for first, second in ways for one in first for other in second
        }
        found = {one.sensor for one in crossings if (one.column, one.row) in ends}
        return frozenset((name, *found, *(one.sensor for one in legs)))


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
