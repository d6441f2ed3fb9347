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

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple, TypeVar

import attrs

from simrig.faults.deltas import Delta
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing, Node, spread
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
    """The ways through the sound matrix that are open in some world, for one bound of values.

    ``named`` lists for each column node the sensor, the row node and the worlds,
    ``forward`` the same without the sensor.
    """

    named: dict[Node, list[tuple[str, Node, int]]]
    forward: dict[Node, list[tuple[Node, int]]]
    back: dict[str, tuple[Node, Node, int]]
    rows: dict[int, dict[Node, int]]


class Resolver:
    """Reads changed links against the sound machine."""

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
        self._arriving = {name: contacts[table.leads.get(name, name)] for name in contacts}
        self._crossing = {one.sensor: one for one in table.circuit.crossings}
        self._steady = all(
            value.surely == value.maybe for value in self._arriving.values()
        ) and all(_steady(one) for one in table.circuit.crossings)
        # A switch at an unknown crossing without diode can make a phantom anywhere.
        self.lost: frozenset[str] = frozenset()
        if profile.matrix is not None and profile.matrix.diodes != "all":
            self.lost = frozenset(one.id for one in profile.sensor if one.address is None)
        self._phantom = 0
        for name in self.lost:
            self._phantom |= self._arriving[name].maybe
        # Shapes that the short way does not know: a rewired or bridged machine taken for sound.
        self._odd = bool(table.leads or table.circuit.joined or table.circuit.held)
        self._columns: dict[int, list[tuple[str, int]]] = {}
        for name, address in profile.address_of.items():
            if address.column is not None and address.row is not None:
                self._columns.setdefault(address.column, []).append((name, address.row))
        low = self._ways(0)
        self._bounds = (low, low if self._steady else self._ways(1))
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
        if self._odd or content.joined or not self.lost.isdisjoint(arriving):
            return self._scanned(content)
        found = {}
        moved = set(content.crossings)
        for name, value in arriving.items():
            if name in self._crossing:
                moved.add(name)
            else:
                found[name] = value
        if moved or content.strobes or content.reads or content.held:
            self._read(content, arriving, moved, found)
        return found

    def _arrivals(self, content: Content) -> Cells:
        """Return what arrives at the addresses where that differs from the sound machine."""
        contacts, leads = content.contacts, content.leads
        if not leads:
            return dict(contacts)
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
        columns = {self._crossing[name].column for name in moved}
        steady = self._steady and (
            all(arriving[name][0] == arriving[name][1] for name in moved if name in arriving)
            and all(_steady(one) for one in content.crossings.values())
        )
        low = self._strobed(0, content, arriving, moved, columns)
        high = low if steady else self._strobed(1, content, arriving, moved, columns)
        reads, held = content.reads, content.held
        sound, healthy = self._table.circuit.reads, self._healthy
        everything, phantom = self._everything, self._phantom
        before, before_high = self._bounds[0].rows, self._bounds[1].rows
        for number, cells in self._columns.items():
            surely = low.get(number)
            maybe = high.get(number)
            if surely is None and maybe is None and not reads and not held:
                continue
            surely = before[number] if surely is None else surely
            maybe = before_high[number] if maybe is None else maybe
            for name, row in cells:
                if row in held:
                    value = Value(everything, everything)
                else:
                    one = other = 0
                    for node in reads[row] if row in reads else sound[row]:
                        one |= surely.get(node, 0)
                        other |= maybe.get(node, 0)
                    value = Value(one, other | phantom)
                if value != healthy[name]:
                    found[name] = value

    def _strobed(
        self,
        bound: int,
        content: Content,
        arriving: Mapping[str, Value],
        moved: set[str],
        columns: set[Node],
    ) -> dict[int, dict[Node, int]]:
        """Return the rows that each column reaches, for columns where these differ."""
        ways = self._bounds[bound]
        sound = self._table.circuit.strobes
        forward, back = ways.forward, ways.back
        if columns:
            forward = forward.copy()
            for column in columns:
                entries = ways.named.get(column, ())
                forward[column] = [entry[1:] for entry in entries if entry[0] not in moved]
        if back and not moved.isdisjoint(back):
            back = {name: way for name, way in back.items() if name not in moved}
        for name in moved:
            crossing = content.crossings.get(name) or self._crossing[name]
            value = (arriving[name] if name in arriving else self._arriving[name])[bound]
            if not value:
                continue
            if crossing.forward:
                forward.setdefault(crossing.column, []).append((crossing.row, value))
            if crossing.backward is not None and (way := value & crossing.backward[bound]):
                back = {**back, name: (crossing.row, crossing.column, way)}
        returning = list(back.values())
        touched = columns if back is ways.back else None
        found = {}
        for number, usual in sound.items():
            driven = content.strobes.get(number, usual)
            if (
                not returning
                and touched is not None
                and driven is usual
                and touched.isdisjoint(usual)
            ):
                continue
            rows = spread(forward, returning, driven, self._everything)
            if rows != ways.rows[number]:
                found[number] = rows
        return found

    def _ways(self, bound: int) -> _Ways:
        named: dict[Node, list[tuple[str, Node, int]]] = {}
        back: dict[str, tuple[Node, Node, int]] = {}
        for crossing in self._table.circuit.crossings:
            value = self._arriving[crossing.sensor][bound]
            if not value:
                continue
            if crossing.forward:
                entry = (crossing.sensor, crossing.row, value)
                named.setdefault(crossing.column, []).append(entry)
            if crossing.backward is not None and (way := value & crossing.backward[bound]):
                back[crossing.sensor] = (crossing.row, crossing.column, way)
        forward = {node: [entry[1:] for entry in entries] for node, entries in named.items()}
        rows = {
            number: spread(forward, back.values(), driven, self._everything)
            for number, driven in self._table.circuit.strobes.items()
        }
        return _Ways(named, forward, back, rows)


def _steady(crossing: Crossing) -> bool:
    return crossing.backward is None or crossing.backward.surely == crossing.backward.maybe
