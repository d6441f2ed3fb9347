"""From changed links to changed readings, over many worlds, against the sound machine.

The problem.  Pairs of faults come by the ten thousand, and each changes a few links.
To scan the whole machine for each would repeat nearly all of the work.

How.  The state of the matrix is kept for the sound machine and for each single
change: the ways that are open in some world, the rows that each strobed column
reaches.  Another change is laid upon a state: only columns that it can concern are
strobed again, by the same ``spread`` as in a whole scan.

The matrix is followed for both bounds of a value at once: one integer holds the
worlds in which it is surely closed, and above them those in which it may be.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence

import attrs

from simrig.faults.contents import Change, Content, merged
from simrig.faults.deltas import Delta
from simrig.faults.states import Back, Cells, Forward, State, returns, rewired
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing, Node, one_name_each, spread
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value


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
        self._everything = healthy.everything
        self._count = healthy.everything.bit_length()
        self._both = self._packed(Value(-1, -1))
        self._healthy = {name: self._packed(value) for name, value in healthy.cells.items()}
        self._closed = {name: self._packed(value) for name, value in contacts.items()}
        self._crossing = {one.sensor: one for one in table.circuit.crossings}
        # A switch at an unknown crossing without diode can make a phantom anywhere.
        self.lost: frozenset[str] = frozenset()
        if profile.matrix is not None and profile.matrix.diodes != "all":
            self.lost = frozenset(one.id for one in profile.sensor if one.address is None)
        self._phantom = 0
        for name in self.lost:
            self._phantom |= contacts[name].maybe << self._count
        # A machine that is rewired to begin with is scanned as a whole.
        self._odd = bool(table.leads or table.circuit.joined or table.circuit.held)
        self._cells: dict[int, dict[Node, list[tuple[str, int]]]] = {}
        for name, address in profile.address_of.items():
            if address.column is not None and address.row is not None:
                for node in table.circuit.reads[address.row]:
                    column = self._cells.setdefault(address.column, {})
                    column.setdefault(node, []).append((name, address.row))
        self._sound = self._sound_state()
        self._numbers: dict[Hashable, int] = {Content().key(): 0}
        self._single: dict[int, State] = {}

    def change(self, delta: Delta, *, counted: bool = True) -> Change:
        """Return a change of links with what differs from the sound machine under it.

        One that is not ``counted`` has no number of its own, and is not kept.
        """
        contacts = {}
        for name, chain in delta.chains.items():
            value = contact(chain, self._worked[name], self._everything)
            if value != self._contacts[name]:
                contacts[name] = value
        circuit = self._table.circuit
        crossings = self._crossings_of(delta, contacts)
        content = Content(
            contacts=contacts,
            leads=delta.leads,
            crossings=crossings,
            strobes={k: one for k, one in delta.strobes.items() if one != circuit.strobes[k]},
            reads={k: one for k, one in delta.reads.items() if one != circuit.reads[k]},
            held=delta.held,
            joined=delta.joined,
        )
        number = -1
        if counted:
            number = self._numbers.setdefault(content.key(), len(self._numbers))
        return Change(delta, number, content)

    def _crossings_of(self, delta: Delta, contacts: dict[str, Value]) -> dict[str, Crossing]:
        """Return the crossings that differ; one that passes nothing is put down as an open contact.

        One whose contact never closes makes no difference.  On the loose end of a
        wire nothing passes, unless it comes back at a crossing there.
        """
        found = {name: one for name, one in delta.crossings.items() if one != self._crossing[name]}
        if delta.leads or self._odd:
            return found
        comes_back = any(one.backward is not None for one in found.values())
        for name, one in list(found.items()):
            loose = one.column[1] or one.row[1]
            closed = contacts.get(name) or self._contacts[name]
            if not closed.maybe:
                del found[name]
            elif not comes_back and (loose or not one.forward):
                del found[name]
                contacts.pop(name, None)
                if self._contacts[name].maybe:
                    contacts[name] = Value(0, 0)
        return found

    def cells(self, changes: Sequence[Change]) -> Cells:
        """Return the cells that read otherwise than on the sound machine, and how.

        No two of the changes touch the same sensor or line.
        """
        state = self.state(changes)
        if state is None:
            return self._scanned(merged([one.content for one in changes]))
        return state.cells

    def state(self, changes: Sequence[Change]) -> State | None:
        """Return the matrix under changes; None where only a scan of the whole can tell.

        No two of the changes touch the same sensor or line.
        """
        contents = [one.content for one in changes]
        if self._odd or (
            self.lost and any(self.lost & {*one.contacts, *one.leads} for one in contents)
        ):
            return None
        if not changes:
            return self._sound
        if any(one.leads for one in contents):
            return self._laid(self._sound, merged(contents))
        # The least change costs least to lay upon the others.
        first, *more = sorted(changes, key=_size, reverse=True)
        state = self._under(first)
        for one in more:
            state = self._laid(state, one.content)
        return state

    def ever_closed(self, name: str) -> bool:
        """Tell whether a contact can be closed in some world, on the sound machine."""
        return bool(self._contacts[name].maybe)

    def differs(self, state: State, name: str) -> int:
        """Return the worlds in which a changed cell reads otherwise than on the sound machine."""
        return state.cells[name] ^ self._healthy[name]

    def both(self, worlds: int) -> int:
        """Return a mask of worlds for both bounds of a reading."""
        return worlds | worlds << self._count

    def _under(self, change: Change) -> State:
        if len(change.delta.faults) + len(change.delta.rewirings) > 1:
            return self._laid(self._sound, change.content)
        state = self._single.get(change.number)
        if state is None:
            state = self._single[change.number] = self._laid(self._sound, change.content)
        return state

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
        return {
            name: packed
            for name, value in cells.items()
            if (packed := self._packed(value)) != self._healthy[name]
        }

    def _laid(self, base: State, more: Content) -> State:
        """Return a state with a change laid upon it; leads are exchanged on the sound one only."""
        under, known = base.content, self._crossing
        cells = base.cells.copy()
        forward, back = base.forward, base.back
        touched: set[Node] = set()
        ways: list[tuple[Node, Node, int]] = []
        arriving = self._arriving(more)
        moved = [name for name in arriving if name in known]
        if len(moved) < len(arriving):
            for name, closed in arriving.items():
                if name not in known:
                    self._note(name, closed, cells)
        if more.crossings:
            moved += [name for name in more.crossings if name not in arriving]
        for name in moved:
            before = under.crossings.get(name) or known[name]
            after = more.crossings.get(name) or before
            if name in arriving:
                value = arriving[name]
            elif name in under.contacts:
                value = self._packed(under.contacts[name])
            else:
                value = self._closed[name]
            entry = (after.row, value) if value and after.forward else None
            old = forward[before.column].get(name) if before.column in forward else None
            if entry != old or before.column != after.column:
                touched |= {before.column, after.column}
                forward = rewired(forward, name, before.column, after.column, entry)
            way = self._way_back(after, value)
            if way != back.get(name):
                back = back.copy()
                if way is None:
                    del back[name]
                else:
                    back[name] = way
                    ways.append(way)
        strobes = {**base.strobes, **more.strobes} if more.strobes else base.strobes
        content = more if base is self._sound else merged((under, more))
        made = State(content, forward, back, strobes, base.rows, base.returning, cells)
        return self._strobed(base, made, touched, ways)

    def _strobed(
        self, base: State, made: State, touched: set[Node], ways: Sequence[tuple[Node, Node, int]]
    ) -> State:
        """Return a state with the columns strobed again that can reach other rows than before.

        ``touched`` are the column nodes with other ways forward, ``ways`` the new ways back.
        """
        content, forward, back, strobes, rows, returning, cells = made
        if content.joined:
            joined = self._strobed_joined(made)
            self._read_all(joined, content, cells)
            return made._replace(rows=joined)
        backward = back.values()
        before_strobes = base.strobes
        fresh: dict[int, dict[Node, int]] = {}
        for number, driven in strobes.items():
            before = rows[number]
            if (
                driven is before_strobes[number]
                and number not in returning
                and touched.isdisjoint(driven)
                and not (ways and returns(before, ways, driven))
            ):
                continue
            now = spread(forward, backward, driven, self._both)
            if now != before:
                fresh[number] = now
            if backward and (number in returning) != returns(now, backward, driven):
                returning = returning ^ {number}
        if content.reads or content.held:
            rows = {**rows, **fresh}
            self._read_all(rows, content, cells)
        elif fresh:
            for number, now in fresh.items():
                self._read(number, rows[number], now, cells)
            rows = {**rows, **fresh}
        return State(content, forward, back, strobes, rows, returning, cells)

    def _note(self, name: str, closed: int, cells: Cells) -> None:
        """Put down what a cell reads; one that reads as on the sound machine is left out."""
        if closed != self._healthy[name]:
            cells[name] = closed
        else:
            cells.pop(name, None)

    def _read(
        self, number: int, before: Mapping[Node, int], rows: Mapping[Node, int], cells: Cells
    ) -> None:
        """Bring the cells of one column up to date."""
        here = self._cells.get(number, {})
        for node in {*before, *rows}:
            closed = rows.get(node, 0)
            if node in here and closed != before.get(node, 0):
                for name, _ in here[node]:
                    self._note(name, closed | self._phantom, cells)

    def _read_all(
        self, rows: Mapping[int, Mapping[Node, int]], content: Content, cells: Cells
    ) -> None:
        """Bring all cells of the matrix up to date, with rows that are read otherwise."""
        alias = one_name_each(content.joined, "row")
        nodes = {
            row: [alias.get(node, node) for node in content.reads.get(row, usual)]
            for row, usual in self._table.circuit.reads.items()
        }
        for number, columns in self._cells.items():
            reached = rows[number]
            for here in columns.values():
                for name, row in here:
                    closed = self._both if row in content.held else 0
                    for node in nodes[row]:
                        closed |= reached.get(node, 0)
                    self._note(name, closed | self._phantom, cells)

    def _strobed_joined(self, made: State) -> dict[int, dict[Node, int]]:
        """Return the rows that each column reaches where bridges join lines."""
        columns = one_name_each(made.content.joined, "column")
        rows = one_name_each(made.content.joined, "row")
        forward: Forward = {}
        for node, ways in made.forward.items():
            forward.setdefault(columns.get(node, node), {}).update(
                {name: (rows.get(row, row), value) for name, (row, value) in ways.items()}
            )
        back = [
            (rows.get(row, row), columns.get(node, node), value)
            for row, node, value in made.back.values()
        ]
        return {
            number: spread(forward, back, {columns.get(node, node) for node in driven}, self._both)
            for number, driven in made.strobes.items()
        }

    def _arriving(self, content: Content) -> dict[str, int]:
        """Return what arrives at the addresses that a change concerns."""
        contacts, leads = content.contacts, content.leads
        if not leads:
            return {name: self._packed(value) for name, value in contacts.items()}
        found = {}
        for name in {*contacts, *leads}:
            source = leads.get(name, name)
            found[name] = self._packed(contacts.get(source) or self._contacts[source])
        return found

    def _sound_state(self) -> State:
        forward: Forward = {}
        back: Back = {}
        for crossing in self._table.circuit.crossings:
            value = self._closed[crossing.sensor]
            if value and crossing.forward:
                forward.setdefault(crossing.column, {})[crossing.sensor] = crossing.row, value
            if (way := self._way_back(crossing, value)) is not None:
                back[crossing.sensor] = way
        strobes = self._table.circuit.strobes
        rows = {
            number: spread(forward, back.values(), driven, self._both)
            for number, driven in strobes.items()
        }
        returning = [
            number
            for number, driven in strobes.items()
            if returns(rows[number], back.values(), driven)
        ]
        return State(Content(), forward, back, strobes, rows, frozenset(returning), {})

    def _way_back(self, crossing: Crossing, value: int) -> tuple[Node, Node, int] | None:
        if crossing.backward is None or not (way := value & self._packed(crossing.backward)):
            return None
        return crossing.row, crossing.column, way

    def _packed(self, value: Value) -> int:
        everything = self._everything
        return value.surely & everything | (value.maybe & everything) << self._count

    def unpacked(self, closed: int) -> Value:
        """Return what a cell reads as the pair of its bounds."""
        return Value(closed & self._everything, closed >> self._count)


def _size(change: Change) -> int:
    return change.content.size()
