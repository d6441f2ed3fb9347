"""Which changes stand beside others without meeting them, told from the matrix under the others.

The problem.  ``reaching`` tells beforehand which faults must be worked out together,
whatever else is wrong.  Of three at once it must fear the worst of whatever makes a
way back, joins lines or drives them: nearly every set of three would be simulated.

How.  A plain change is another contact, a way that is gone, a line that is driven or
read otherwise.  It shows at its own cells and nowhere else, as long as nothing else
bears on these cells.  What bears on a cell is read off the matrix under the other
changes, in the worlds that count:

- they touch it, or it reads otherwise under them;
- it is on a line that they join, drive or read otherwise;
- its column's signal passes back somewhere and goes on (phantoms in that column);
- another column's signal arrives at its column (it is a way out of a sneak path);
- a signal passes back from its row, to a column with a way out (it is a way in);
- a signal passes back at its own crossing once its switch is closed.

At any other cell there is one switch: its column is driven by its own strobe alone, its
row is read and nothing more, so what is done to it neither alters what the others do
nor is altered by it.  A way in without a way out, or the other way round, is only
half a sneak path: a change that closes one switch there stands apart, one that closes
several might close both halves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from simrig.faults.contents import Change
from simrig.faults.resolving import Resolver
from simrig.faults.states import State
from simrig.scan.circuit import Crossing, Node
from simrig.scan.scanner import Links


class Exposure(NamedTuple):
    """Cells on which changes bear, and those ``near`` half a sneak path."""

    bears: frozenset[str]
    near: frozenset[str]

    def joined(self, other: Exposure) -> Exposure:
        """Return both together."""
        return Exposure(self.bears | other.bears, self.near | other.near)


class Standing:
    """The changes of one machine, over the worlds of a resolver."""

    def __init__(self, table: Links, resolver: Resolver) -> None:
        self._resolver = resolver
        self._crossing = {one.sensor: one for one in table.circuit.crossings}
        self._every = Exposure(frozenset(table.chains), frozenset())
        self._sound: dict[int, Exposure] = {}

    def own(self, change: Change) -> frozenset[str]:
        """Return the cells at which a change is made."""
        delta = change.delta
        columns = {*delta.strobes, *_lines(delta.joined, "column")}
        rows = {*delta.reads, *delta.held, *_lines(delta.joined, "row")}
        lines = self._on(lambda one: one.column[0] in columns or one.row[0] in rows)
        return frozenset([*delta.chains, *delta.leads, *delta.crossings, *lines])

    def plain(self, change: Change) -> bool:
        """Tell whether a change shows at its own cells only, as long as no other bears on them.

        A crossing that passes back stays dead until another change works its switch.
        """
        delta = change.delta
        return not (
            delta.joined
            or self._resolver.lost & self.own(change)
            or any(
                one.backward is not None and self._resolver.ever_closed(name)
                for name, one in delta.crossings.items()
            )
        )

    def exposed(self, changes: Sequence[Change], worlds: int) -> Exposure:
        """Return the cells on which changes bear, made together, in some worlds.

        What bears on a cell of the sound machine bears on it still: a plain change there
        does not show at its own cells alone.
        """
        if worlds not in self._sound:
            self._sound[worlds] = self._bearing((), worlds)
        own = frozenset().union(*map(self.own, changes))
        found = self._bearing(changes, worlds).joined(self._sound[worlds])
        return Exposure(found.bears | own, found.near)

    def _bearing(self, changes: Sequence[Change], worlds: int) -> Exposure:
        state = self._resolver.state(changes)
        if state is None or (state.back and state.content.joined):
            return self._every
        both = self._resolver.both(worlds)
        ways = _Ways.of(state, both)
        crossings = state.content.crossings

        def bears(one: Crossing) -> bool:
            now = crossings.get(one.sensor, one)
            return (
                now.backward is not None
                or now.row in ways.leading_on
                or now.column in ways.arriving
                or one.column[0] in ways.returning
            )

        def near(one: Crossing) -> bool:
            now = crossings.get(one.sensor, one)
            return now.row in ways.rows or now.column in ways.columns

        otherwise = [name for name in state.cells if self._resolver.differs(state, name) & both]
        return Exposure(frozenset([*otherwise, *self._on(bears)]), frozenset(self._on(near)))

    def _on(self, wanted: Callable[[Crossing], bool]) -> Iterable[str]:
        return [name for name, one in self._crossing.items() if wanted(one)]


class _Ways(NamedTuple):
    """The ways back of a state.

    ``rows`` and ``columns`` are where they start and end.  From the rows ``leading_on`` a
    signal would get further than its column; at the columns ``arriving`` one arrives, and
    it comes from the columns of the numbers ``returning``.
    """

    rows: set[Node]
    columns: set[Node]
    leading_on: set[Node]
    arriving: set[Node]
    returning: set[int]

    @classmethod
    def of(cls, state: State, worlds: int) -> _Ways:
        found = cls(set(), set(), set(), set(), set())
        for row, column, value in state.back.values():
            open_in = value & worlds
            if not open_in:
                continue
            found.rows.add(row)
            found.columns.add(column)
            further = state.forward.get(column, {}).values()
            if any(closed & open_in for other, closed in further if other != row):
                found.leading_on.add(row)
            for number, driven in state.strobes.items():
                if column not in driven and state.rows[number].get(row, 0) & open_in:
                    found.arriving.add(column)
                    found.returning.add(number)
        return found


def _lines(joined: Iterable[tuple[str, int, int]], axis: str) -> set[int]:
    return {number for line, *numbers in joined if line == axis for number in numbers}
