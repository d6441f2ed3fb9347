"""A system of cells and worlds, answered with one big integer per cell and reading.

The problem.  What is read depends on what cannot be seen (the world: where things
lie) and on what deviates.  To tell whether a set of deviations makes the readings
possible, every world must be tried; to find all such sets, there are thousands of
sets by thousands of worlds.

How.  A cell can read one of a few values.  For each value it has a mask with one bit
per world, set where the cell, in that world, can read so.  The product of the masks
of what was read holds the worlds that give exactly these readings, so one operation
on whole integers tries all worlds at once (``products``).  Which worlds are possible
is a mask like the others: the selection, the cell after the last.  A deviation
replaces the masks of the cells that it changes.  An empty product is a conflict,
and the few cells to blame name the deviations that can help: those that touch one
of them.

Three bit sets of cells keep deviations from being tried together without need.
Deviations whose ``meets`` share a cell influence each other, and those hang together
that meet, directly or through others that are present.  Only what hangs together is
asked for as one; the rest combines by taking the changes of each.  ``reaches`` are
the cells that a deviation can change, alone or with those that it meets.  And some
deviations are ``carriers``: they carry what others do at one cell to another, as
exchanged leads do.  Otherwise the value of a cell depends only on those that reach it.

What does not depend on the readings is the model, and is worked out once.  What was
read makes it a system (``readings``).

A worked example.  One ball lies left or right (worlds 0 and 1) and closes the switch
there.  Both were read open, so in each world one switch disagrees.  Either switch
stuck open explains that:

>>> from simrig.diagnosis.deviation import Deviation
>>> model = MaskModel(
...     deviations=(Deviation(part="left", mode="stuck open", prior=0.1),
...                 Deviation(part="right", mode="stuck open", prior=0.1)),
...     meets=(0b01, 0b10),
...     count=2,
...     healthy=((0b10, 0b01), (0b01, 0b10)),     # worlds that read open, closed
...     worlds=0b11,
...     effect=lambda component: Effect(states=({cell: (0b11, 0) for cell in component},)),
... )
>>> from simrig.diagnosis.readings import MaskSystem
>>> system = MaskSystem(model=model, readings=(0, 0))
>>> system.conflicting_cells(frozenset())
(0, 1)
>>> system.outcomes(frozenset({0})), system.outcomes(frozenset({0, 1}))
(Allowed(likelihood=0.5), Allowed(likelihood=1.0))
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping
from functools import cached_property, reduce
from operator import or_
from typing import Any, NamedTuple

import attrs

from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.families import Classes
from simrig.diagnosis.pieces import Pieces
from simrig.diagnosis.products import Span

Masks = tuple[int, ...]
"""A cell's masks: the worlds in which it can read 0, 1, and so on."""


@attrs.frozen(kw_only=True)
class Effect:
    """What deviations that hang together, present and no others, make of the cells.

    ``states`` holds one mapping for each equally likely state that they can be
    in (one, unless a part is intermittent): the cells whose masks differ from
    healthy, and their masks.  A cell is left out where it is as when healthy.
    ``selection`` is the mask of the possible worlds, None for the usual ones.
    """

    states: tuple[Mapping[int, Masks], ...]
    selection: int | None = None
    _ready: list[tuple[Change, ...]] = attrs.field(init=False, factory=list, repr=False, eq=False)

    def changes(self, selection: int, everything: int) -> tuple[Change, ...]:
        """Return the states, ready to be laid over the cells of a model.

        ``selection`` is the cell of the possible worlds, ``everything`` the mask of all
        worlds; an effect serves models in which these are the same.
        """
        if not self._ready:
            self._ready.append(
                tuple([self._change(state, selection, everything) for state in self.states])
            )
        return self._ready[0]

    def _change(self, state: Mapping[int, Masks], selection: int, everything: int) -> Change:
        # The pick for a cell that was not looked at is the last mask.
        masks = [(cell, (*values, everything)) for cell, values in state.items()]
        if self.selection is not None:
            masks.append((selection, (self.selection,)))
        bits = reduce(or_, [1 << cell for cell, _ in masks], 0)
        possible = None if self.selection is None else self.selection.bit_count()
        return Change(tuple(masks), bits, Span.of(bits), possible)


class Change(NamedTuple):
    """One state of an effect: new masks for a set of cells, the selection included.

    ``possible`` is the number of possible worlds, None for as many as usual.
    """

    masks: tuple[tuple[int, Masks], ...]
    cells: int
    span: Span
    possible: int | None

    def without(self, cells: int) -> Change:
        """Return the change but for some cells."""
        if not self.cells & cells:
            return self
        left = self.cells & ~cells
        masks = tuple([one for one in self.masks if left >> one[0] & 1])
        return Change(masks, left, Span.of(left), self.possible)


@attrs.frozen(kw_only=True, eq=False)
class MaskModel:
    """``len(healthy)`` cells, numbered from 0, over ``count`` worlds, which are bits.

    ``healthy[c]`` holds the masks of healthy cell c, ``worlds`` the mask of the
    possible worlds if nothing deviates.

    ``meets[i]`` is a bit set of the cells at which deviation i meets others: those
    that it can change by itself at least.  Bit ``len(healthy)`` stands for the
    selection of worlds; bits beyond stand for no cell and serve only to meet at.
    ``reaches[i]`` are the cells that it can change, alone or with those it meets;
    as ``meets`` if not given.  ``carriers`` are the deviations that carry from cell to
    cell; all, if not given.

    ``enlarges[v][i]`` are the cells at which deviation i can make more worlds read v, in
    any company but that of ``turners``, which turn what is read into something else; as
    ``reaches`` for each value if not given.

    ``effect(component)`` is asked for deviations alone and for deviations that hang
    together.  The answers for one and for two are kept.

    ``parting``, if given, takes out of what hangs together what stands apart all the same.

    ``keys[i]``, if given, is equal for interchangeable deviations (see
    ``System.classes``), which must have equal ``meets`` and ``reaches``.

    Raises ValueError if lengths differ, if there is no world, and, when asked for,
    if an effect changes a cell that none of its deviations reaches.
    """

    deviations: tuple[Deviation, ...]
    meets: tuple[int, ...] = attrs.field(repr=False)
    count: int = attrs.field()
    healthy: tuple[Masks, ...] = attrs.field(repr=False)
    worlds: int = attrs.field(repr=False)
    effect: Callable[[frozenset[int]], Effect] = attrs.field(repr=False)
    reaches: tuple[int, ...] = attrs.field(repr=False)
    carriers: frozenset[int] = attrs.field(repr=False)
    enlarges: tuple[tuple[int, ...], ...] | None = attrs.field(default=None, repr=False)
    turners: frozenset[int] = attrs.field(default=frozenset(), repr=False)
    keys: tuple[Hashable, ...] | None = attrs.field(default=None, repr=False)
    parting: Pieces | None = attrs.field(default=None, repr=False)
    everything: int = attrs.field(init=False, repr=False)
    _carried: int = attrs.field(init=False, repr=False)
    _changes: dict[frozenset[int], tuple[Change, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )
    _meeting: dict[int, frozenset[int]] = attrs.field(init=False, repr=False, factory=dict)
    _reaching: dict[int, frozenset[int]] = attrs.field(init=False, repr=False, factory=dict)
    _enlarging: dict[int, dict[int, frozenset[int]]] = attrs.field(
        init=False, repr=False, factory=dict
    )
    _grouped: dict[tuple[frozenset[int], frozenset[int]], Classes] = attrs.field(
        init=False, repr=False, factory=dict
    )

    @reaches.default
    def _no_further(self) -> tuple[int, ...]:
        return self.meets

    @carriers.default
    def _all_deviations(self) -> frozenset[int]:
        return frozenset(range(len(self.deviations)))

    @meets.validator
    @reaches.validator
    @keys.validator
    def _one_each(
        self, attribute: attrs.Attribute[Any], value: tuple[Hashable, ...] | None
    ) -> None:
        wanted = len(self.deviations)
        if value is not None and len(value) != wanted:
            raise ValueError(f"{attribute.name}: {len(value)} found, {wanted} wanted")

    @enlarges.validator
    def _one_each_for_each_value(
        self, attribute: attrs.Attribute[Any], value: tuple[tuple[int, ...], ...] | None
    ) -> None:
        for one in value or ():
            self._one_each(attribute, one)

    @worlds.validator
    def _some_of_the_worlds(self, attribute: attrs.Attribute[int], value: int) -> None:
        if value < 0 or value >> self.count:
            raise ValueError(f"worlds: {value} found, a mask of {self.count} bits wanted")

    @count.validator
    def _any_world(self, attribute: attrs.Attribute[int], value: int) -> None:
        if value < 1:
            raise ValueError(f"count: {value} found, 1 or more wanted")

    @everything.default
    def _all_worlds(self) -> int:
        return (1 << self.count) - 1

    @_carried.default
    def _cells_of_carriers(self) -> int:
        both = enumerate(zip(self.meets, self.reaches, strict=False))
        return reduce(
            or_, [meets | reaches for i, (meets, reaches) in both if i in self.carriers], 0
        )

    def inert(self, observed: int) -> frozenset[int]:
        """Return the deviations that change nothing at a bit set of cells, in any company."""
        lively = observed | self._carried
        return frozenset(
            [
                index
                for index, (meets, reaches) in enumerate(zip(self.meets, self.reaches, strict=True))
                if not (meets | reaches) & lively
            ]
        )

    def classes(self, inert: frozenset[int], barred: frozenset[int]) -> Classes:
        """Return the classes of interchangeable deviations; inert ones are one, barred too."""
        classes = self._grouped.get((inert, barred))
        if classes is None:
            own = self.keys or range(len(self.deviations))
            keys: list[Hashable] = [(key,) for key in own]
            for index in inert:
                keys[index] = "inert"
            for index in barred:
                keys[index] = "barred"
            if len(self._grouped) >= _GROUPED:
                self._grouped.clear()
            classes = self._grouped[inert, barred] = Classes.group(self.deviations, keys)
        return classes

    def knows(self, component: frozenset[int]) -> bool:
        """Tell whether the changes of a component are at hand."""
        return component in self._changes

    def changes(self, component: frozenset[int]) -> tuple[Change, ...]:
        """Return the effect of deviations that hang together, ready to be laid over."""
        changes = self._changes.get(component)
        if changes is None:
            reach = reduce(or_, [self.reaches[index] for index in component])
            changes = self.effect(component).changes(len(self.healthy), self.everything)
            for change in changes:
                if change.cells & ~reach:
                    cell = Span.of(change.cells & ~reach).first
                    raise ValueError(f"cell {cell}: found changed, a cell that is reached wanted")
            if len(component) <= _KEPT:
                self._changes[component] = changes
        return changes

    @cached_property
    def selectors(self) -> frozenset[int]:
        """The deviations that select other worlds."""
        return next(_holding(1 << len(self.healthy), self.meets, self._meeting))

    def meeting(self, cells: int) -> Iterator[frozenset[int]]:
        """Yield for each cell of a bit set the deviations that meet others there."""
        return _holding(cells, self.meets, self._meeting)

    def reaching(self, cells: int) -> Iterator[frozenset[int]]:
        """Yield for each cell of a bit set the deviations that reach it."""
        return _holding(cells, self.reaches, self._reaching)

    def enlarging(self, cell: int, value: int) -> frozenset[int]:
        """Return the deviations that can make more worlds read a value at a cell."""
        sets = self.reaches if self.enlarges is None else self.enlarges[value]
        known = self._enlarging.setdefault(value, {})
        return next(_holding(1 << cell, sets, known))


def _holding(
    cells: int, sets: tuple[int, ...], known: dict[int, frozenset[int]]
) -> Iterator[frozenset[int]]:
    while cells:
        bit = cells & -cells
        cells ^= bit
        if bit not in known:
            known[bit] = frozenset([index for index, bits in enumerate(sets) if bits & bit])
        yield known[bit]


_GROUPED = 64
"""Classes depend on what was looked at and on what is barred; so many are kept."""

_KEPT = 2
"""Size of components that are met beside many others; larger ones are met once or twice."""
