"""From changed links to changed readings, over many worlds, against the sound machine.

The problem.  Pairs of faults come by the ten thousand, and each changes a few links.
To scan the whole machine for each would repeat nearly all of the work.

How.  What the sound machine passes on is kept: the contact of each sensor, the ways
through the matrix that are open in some world, the rows that each strobed column
reaches.  A change replaces a few of these; only columns that it can concern are
strobed again, by the same ``spread`` as in a whole scan.  Changes that differ in name
only are worked out once.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from typing import NamedTuple, TypeVar

import attrs

from simrig.faults.deltas import Delta
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing, Node, one_name_each, spread
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value

Cells = dict[str, Value]
_Key = TypeVar("_Key", bound=Hashable)
_Entry = TypeVar("_Entry")


class Content(NamedTuple):
    """What differs from the sound machine; equal for changes that no reading can part."""

    contacts: Mapping[str, Value]
    leads: Mapping[str, str]
    crossings: Mapping[str, Crossing]
    strobes: Mapping[int, frozenset[Node]]
    reads: Mapping[int, frozenset[Node]]
    held: frozenset[int]
    joined: tuple[tuple[str, int, int], ...]

    def key(self) -> Hashable:
        """A value that is equal for equal contents."""
        tables = self.contacts, self.leads, self.crossings, self.strobes, self.reads
        return *[frozenset(table.items()) for table in tables], self.held, self.joined


class Change(NamedTuple):
    """A change of links with its content; ``number`` is the same for equal contents, 0 for none."""

    delta: Delta
    number: int
    content: Content


def merged(contents: Sequence[Content]) -> Content:
    """Return the content of changes of different links, made together."""
    if len(contents) == 1:
        return contents[0]
    return Content(
        contacts=_union([one.contacts for one in contents]),
        leads=_union([one.leads for one in contents]),
        crossings=_union([one.crossings for one in contents]),
        strobes=_union([one.strobes for one in contents]),
        reads=_union([one.reads for one in contents]),
        held=frozenset().union(*[one.held for one in contents]),
        joined=tuple([pair for one in contents for pair in one.joined]),
    )


def _union(tables: Sequence[Mapping[_Key, _Entry]]) -> Mapping[_Key, _Entry]:
    filled = [one for one in tables if one]
    if len(filled) < 2:
        return filled[0] if filled else {}
    return {key: entry for one in filled for key, entry in one.items()}


class _Ways(NamedTuple):
    """The ways through the sound matrix that are open in some world.

    ``named`` lists for each column node the sensor, the row node and the worlds,
    ``forward`` the same without the sensor.  ``direct`` tells for each column
    number whether its signal passes back nowhere.
    """

    named: dict[Node, list[tuple[str, Node, int]]]
    forward: dict[Node, list[tuple[Node, int]]]
    back: dict[str, tuple[Node, Node, int]]
    rows: dict[int, dict[Node, int]]
    direct: dict[int, bool]


class Resolver:
    """Reads changed links against the sound machine.

    The matrix is followed for both bounds of a value at once: one integer holds the
    worlds in which it is surely closed, and above them those in which it may be.
    """

    def __init__(
        self,
        profile: Profile,
        table: Links,
        worked: Mapping[str, Value],
        contacts: Mapping[str, Value],
        healthy: Frame,
    ) -> None:
        self._profile = profile
        self._table = table
        self._worked = worked
        self._contacts = contacts
        self._healthy = healthy.cells
        self._everything = healthy.everything
        self._count = healthy.everything.bit_length()
        self._both = self._packed(Value(-1, -1))
        self._arriving = {name: contacts[table.leads.get(name, name)] for name in contacts}
        self._crossing = {one.sensor: one for one in table.circuit.crossings}
        # A switch at an unknown crossing without diode can make a phantom anywhere.
        self.lost: frozenset[str] = frozenset()
        if profile.matrix is not None and profile.matrix.diodes != "all":
            self.lost = frozenset(one.id for one in profile.sensor if one.address is None)
        self._phantom = 0
        for name in self.lost:
            self._phantom |= self._arriving[name].maybe
        # A machine that is rewired to begin with is scanned as a whole.
        self._odd = bool(table.leads or table.circuit.joined or table.circuit.held)
        self._columns: dict[int, list[tuple[str, int]]] = {}
        for name, address in profile.address_of.items():
            if address.column is not None and address.row is not None:
                self._columns.setdefault(address.column, []).append((name, address.row))
        self._ways = self._sound_ways()
        nothing = Content({}, {}, {}, {}, {}, frozenset(), ())
        self._numbers: dict[Hashable, int] = {nothing.key(): 0}

    def change(self, delta: Delta) -> Change:
        """Return a change of links with what differs from the sound machine under it."""
        content = self._content(delta)
        return Change(delta, self._numbers.setdefault(content.key(), len(self._numbers)), content)

    def _content(self, change: Delta) -> Content:
        contacts = {}
        for name, chain in change.chains.items():
            value = contact(chain, self._worked[name], self._everything)
            if value != self._contacts[name]:
                contacts[name] = value
        circuit = self._table.circuit
        return Content(
            contacts=contacts,
            leads=change.leads,
            crossings={
                name: one for name, one in change.crossings.items() if one != self._crossing[name]
            },
            strobes={k: one for k, one in change.strobes.items() if one != circuit.strobes[k]},
            reads={k: one for k, one in change.reads.items() if one != circuit.reads[k]},
            held=change.held,
            joined=change.joined,
        )

    def cells(self, content: Content) -> Cells:
        """Return the cells that read otherwise than on the sound machine, and how."""
        arriving = self._arrivals(content)
        if self._odd or not self.lost.isdisjoint(arriving):
            return self._scanned(content)
        found = {}
        moved = set(content.crossings)
        for name, value in arriving.items():
            if name in self._crossing:
                moved.add(name)
            else:
                found[name] = value
        if moved or content.strobes or content.reads or content.held or content.joined:
            self._read(content, arriving, moved, found)
        return found

    def _arrivals(self, content: Content) -> Mapping[str, Value]:
        """Return what arrives at the addresses where that differs from the sound machine."""
        contacts, leads = content.contacts, content.leads
        if not leads:
            return contacts
        found = {}
        for name in {*contacts, *leads}:
            source = leads.get(name, name)
            value = contacts.get(source) or self._contacts[source]
            if value != self._arriving[name]:
                found[name] = value
        return found

    def _scanned(self, content: Content) -> Cells:
        """Return the changed cells by a scan of the whole machine."""
        circuit = self._table.circuit
        table = attrs.evolve(
            self._table,
            leads={**self._table.leads, **content.leads},
            circuit=attrs.evolve(
                circuit,
                crossings=tuple([content.crossings.get(c.sensor, c) for c in circuit.crossings]),
                strobes={**circuit.strobes, **content.strobes},
                reads={**circuit.reads, **content.reads},
                held=circuit.held | content.held,
                joined=circuit.joined + content.joined,
            ),
        )
        contacts = {**self._contacts, **content.contacts}
        cells = scan(self._profile, table, contacts, self._everything).cells
        healthy = self._healthy
        return {name: value for name, value in cells.items() if value != healthy[name]}

    def _read(
        self, content: Content, arriving: Mapping[str, Value], moved: set[str], found: Cells
    ) -> None:
        """Add the changed cells of the matrix."""
        strobed = self._strobed(content, arriving, moved)
        reads, held = content.reads, content.held
        names: dict[Node, Node] = {}
        if content.joined:
            names = one_name_each(content.joined, "row")
            reads = {
                row: frozenset([names.get(node, node) for node in nodes])
                for row, nodes in {**self._table.circuit.reads, **reads}.items()
            }
        elsewhere = bool(reads or held)
        sound, before = self._table.circuit.reads, self._ways.rows
        for number, cells in self._columns.items():
            rows = strobed.get(number)
            if rows is None:
                if not elsewhere:
                    continue
                rows = before[number]
            usual = before[number]
            for name, row in cells:
                if row in held:
                    closed = self._both
                elif row in reads:
                    closed = 0
                    for node in reads[row]:
                        closed |= rows.get(node, 0)
                else:
                    (node,) = sound[row]
                    closed = rows.get(node, 0)
                    if closed == usual.get(node, 0):
                        continue
                value = self._unpacked(closed)
                if value != self._healthy[name]:
                    found[name] = value

    def _strobed(
        self, content: Content, arriving: Mapping[str, Value], moved: set[str]
    ) -> dict[int, dict[Node, int]]:
        """Return the rows that each column reaches, for columns where these differ."""
        ways = self._ways
        forward, back = ways.forward, ways.back
        columns = {self._crossing[name].column for name in moved}
        if columns:
            forward = forward.copy()
            for column in columns:
                entries = ways.named.get(column, ())
                forward[column] = [entry[1:] for entry in entries if entry[0] not in moved]
            if back and not moved.isdisjoint(back):
                back = {name: way for name, way in back.items() if name not in moved}
        for name in moved:
            crossing = content.crossings.get(name) or self._crossing[name]
            value = self._packed(arriving[name] if name in arriving else self._arriving[name])
            if not value:
                continue
            if crossing.forward:
                forward.setdefault(crossing.column, []).append((crossing.row, value))
            if crossing.backward is not None and (way := value & self._packed(crossing.backward)):
                back = {**back, name: (crossing.row, crossing.column, way)}
        if content.joined:
            return self._strobed_joined(content, forward, back.values())
        returning = list(back.values())
        found = {}
        for number, usual in self._table.circuit.strobes.items():
            driven = content.strobes.get(number, usual)
            before = ways.rows[number]
            if driven is usual and ways.direct[number] and columns.isdisjoint(usual):
                for row, node, value in returning:
                    if row in before and before[row] & value and node not in driven:
                        break
                else:
                    continue
            rows = spread(forward, returning, driven, self._both)
            if rows != before:
                found[number] = rows
        return found

    def _strobed_joined(
        self,
        content: Content,
        forward: Mapping[Node, Sequence[tuple[Node, int]]],
        back: Iterable[tuple[Node, Node, int]],
    ) -> dict[int, dict[Node, int]]:
        """Return the rows that each column reaches where bridges join lines."""
        columns = one_name_each(content.joined, "column")
        rows = one_name_each(content.joined, "row")
        joined: dict[Node, list[tuple[Node, int]]] = {}
        for node, entries in forward.items():
            joined.setdefault(columns.get(node, node), []).extend(
                [(rows.get(row, row), value) for row, value in entries]
            )
        returning = [
            (rows.get(row, row), columns.get(node, node), value) for row, node, value in back
        ]
        strobes = {**self._table.circuit.strobes, **content.strobes}
        return {
            number: spread(
                joined, returning, {columns.get(node, node) for node in driven}, self._both
            )
            for number, driven in strobes.items()
        }

    def _sound_ways(self) -> _Ways:
        named: dict[Node, list[tuple[str, Node, int]]] = {}
        back: dict[str, tuple[Node, Node, int]] = {}
        for crossing in self._table.circuit.crossings:
            value = self._packed(self._arriving[crossing.sensor])
            if not value:
                continue
            if crossing.forward:
                entry = (crossing.sensor, crossing.row, value)
                named.setdefault(crossing.column, []).append(entry)
            if crossing.backward is not None and (way := value & self._packed(crossing.backward)):
                back[crossing.sensor] = (crossing.row, crossing.column, way)
        forward = {node: [entry[1:] for entry in entries] for node, entries in named.items()}
        rows, direct = {}, {}
        for number, driven in self._table.circuit.strobes.items():
            rows[number] = spread(forward, back.values(), driven, self._both)
            direct[number] = rows[number] == spread(forward, (), driven, self._both)
        return _Ways(named, forward, back, rows, direct)

    def _packed(self, value: Value) -> int:
        everything = self._everything
        return value.surely & everything | (value.maybe & everything) << self._count

    def _unpacked(self, both: int) -> Value:
        return Value(both & self._everything, both >> self._count | self._phantom)
