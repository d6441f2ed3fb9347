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

One promise makes this exact without trying all deviations together.  A deviation's
*interaction* is a set of cells: those that it can change by itself, and those at
which it meets others.  Deviations hang together that share such a cell, directly
or through others that are present; those that do not, do not influence each
other.  So only what hangs together is asked for as one, and the rest combines by
taking the changes of each.

What does not depend on the readings is a ``MaskModel`` and worked out once.

A worked example.  One ball lies left or right (worlds 0 and 1) and closes the switch
there.  Both were read open, so in each world one switch disagrees.  Either switch
stuck open explains that:

>>> from simrig.diagnosis.deviation import Deviation
>>> model = MaskModel(
...     deviations=(Deviation(part="left", mode="stuck open", prior=0.1),
...                 Deviation(part="right", mode="stuck open", prior=0.1)),
...     interactions=(0b01, 0b10),
...     count=2,
...     healthy=((0b10, 0b01), (0b01, 0b10)),     # worlds that read open, closed
...     worlds=0b11,
...     effect=lambda component: Effect(states=({cell: (0b11, 0) for cell in component},)),
... )
>>> system = model.read([0, 0])
>>> system.conflicting_cells(frozenset())
(0, 1)
>>> system.outcomes(frozenset({0})), system.outcomes(frozenset({0, 1}))
(Allowed(likelihood=0.5), Allowed(likelihood=1.0))
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import reduce
from operator import or_
from typing import Any, NamedTuple

import attrs

from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.families import Classes
from simrig.diagnosis.products import Product, Span, multiply, to_blame
from simrig.diagnosis.system import Allowed, Conflict, System

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


class _Change(NamedTuple):
    """One state of an effect: new masks for a span of cells, the selection included.

    ``possible`` is the number of possible worlds, None for as many as usual.
    """

    masks: tuple[tuple[int, Masks], ...]
    span: Span
    possible: int | None


@attrs.frozen(kw_only=True, eq=False)
class MaskModel:
    """``len(healthy)`` cells, numbered from 0, over ``count`` worlds, which are bits.

    ``healthy[c]`` holds the masks of healthy cell c, ``worlds`` the mask of the
    possible worlds if nothing deviates.  ``interactions[i]`` is the bit set of the
    cells of deviation i's interaction; bit ``len(healthy)`` stands for the selection.

    ``effect(component)`` is asked for deviations alone and for deviations that hang
    together.  What it changes lies within the union of their interactions.  The
    answers for one and for two are kept.

    ``keys[i]``, if given, is equal for interchangeable deviations (see
    ``System.classes``), which must have equal interactions.  Deviations without an
    interaction change nothing and are interchangeable of themselves.

    ``carriers``, if given, are the deviations that can carry what others do at one
    cell of their interaction to another, such as exchanged leads.  Beside all others,
    a cell depends only on deviations that touch it.

    Raises ValueError if lengths differ, if there is no world, and, when asked for,
    if an effect changes a cell outside of the interactions.
    """

    deviations: tuple[Deviation, ...]
    interactions: tuple[int, ...] = attrs.field(repr=False)
    count: int = attrs.field()
    healthy: tuple[Masks, ...] = attrs.field(repr=False, converter=tuple)
    worlds: int = attrs.field(repr=False)
    effect: Callable[[frozenset[int]], Effect] = attrs.field(repr=False)
    keys: tuple[Hashable, ...] | None = attrs.field(default=None, repr=False)
    carriers: frozenset[int] | None = attrs.field(default=None, repr=False)
    everything: int = attrs.field(init=False, repr=False)
    classes: Classes = attrs.field(init=False, repr=False)
    _changes: dict[frozenset[int], tuple[_Change, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )
    _touching: dict[int, frozenset[int]] = attrs.field(init=False, repr=False, factory=dict)

    @interactions.validator
    @keys.validator
    def _one_each(
        self, attribute: attrs.Attribute[Any], value: tuple[Hashable, ...] | None
    ) -> None:
        wanted = len(self.deviations)
        if value is not None and len(value) != wanted:
            raise ValueError(f"{attribute.name}: {len(value)} found, {wanted} wanted")

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

    @classes.default
    def _grouped(self) -> Classes:
        return self.group(())

    def group(self, barred: Collection[int]) -> Classes:
        """Return the classes of interchangeable deviations; barred ones are one class."""
        keys = self.keys or range(len(self.deviations))
        return Classes.group(
            self.deviations,
            [
                "barred" if index in barred else bool(bits) and (key,)
                for index, (bits, key) in enumerate(zip(self.interactions, keys, strict=False))
            ],
        )

    def read(
        self, readings: Sequence[int | None], barred: frozenset[int] = frozenset()
    ) -> MaskSystem:
        """Return the system of what was read at each cell, None where it was not looked.

        ``barred`` deviations are in no set.  Raises ValueError if there are more
        or fewer readings than cells.
        """
        if len(readings) != len(self.healthy):
            raise ValueError(f"readings: {len(readings)} found, {len(self.healthy)} wanted")
        return MaskSystem(
            model=self,
            picks=[*[-1 if value is None else value for value in readings], 0],
            barred=barred,
        )

    def changes(self, component: frozenset[int]) -> tuple[_Change, ...]:
        """Return the effect of deviations that hang together, ready to be laid over."""
        changes = self._changes.get(component)
        if changes is None:
            reach = reduce(or_, [self.interactions[index] for index in component])
            effect = self.effect(component)
            changes = tuple([self._change(one, effect.selection, reach) for one in effect.states])
            if len(component) <= _KEPT:
                self._changes[component] = changes
        return changes

    def _change(self, state: Mapping[int, Masks], selection: int | None, reach: int) -> _Change:
        # The pick for a cell that was not looked at is the last mask.
        masks = [(cell, (*values, self.everything)) for cell, values in state.items()]
        if selection is not None:
            masks.append((len(self.healthy), (selection,)))
        bits = reduce(or_, [1 << cell for cell, _ in masks], 0)
        if bits & ~reach:
            cell = Span.of(bits & ~reach).first
            raise ValueError(f"cell {cell}: found changed, inside of an interaction wanted")
        possible = None if selection is None else selection.bit_count()
        return _Change(tuple(masks), Span.of(bits), possible)

    def touching(self, cells: int) -> Iterator[frozenset[int]]:
        """Yield for each cell of a bit set the deviations whose interactions hold it."""
        while cells:
            bit = cells & -cells
            cells ^= bit
            if bit not in self._touching:
                self._touching[bit] = frozenset(
                    [i for i, bits in enumerate(self.interactions) if bits & bit]
                )
            yield self._touching[bit]


_KEPT = 2
"""Size of components that are met beside many others; larger ones are met once or twice."""

_Laid = tuple[int, Span, int | None]
"""A change under the readings: the product of its masks, its span, its possible worlds."""

_Laying = tuple[Product, int]
"""The product under a set of deviations in one state, and its number of possible worlds."""

_PRODUCTS_KEPT = 64
"""Enough for the sets on a path of the search; each holds three masks a cell."""


@attrs.frozen(kw_only=True, eq=False)
class MaskSystem(System):
    """A model with what was read, as ``MaskModel.read`` returns it.

    The likelihood is the share of the possible worlds (and of the states, where
    there are several) that give exactly the readings.
    """

    model: MaskModel
    picks: list[int] = attrs.field(repr=False)
    barred: frozenset[int] = frozenset()
    _alone: dict[int, tuple[_Laid, ...]] = attrs.field(init=False, repr=False, factory=dict)
    _kept: dict[frozenset[int], tuple[_Laying, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )

    @property
    def deviations(self) -> tuple[Deviation, ...]:
        return self.model.deviations

    def classes(self) -> Classes:
        return self.model.group(self.barred) if self.barred else self.model.classes

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        if chosen & self.barred:
            return Conflict(candidates=frozenset())
        layings = self._layings(chosen)
        agreeing = sum([product.total.bit_count() for product, _ in layings])
        if agreeing:
            return Allowed(likelihood=agreeing / sum([possible for _, possible in layings]))
        cells = reduce(or_, [1 << cell for cell in self._blamed(layings)])
        helpful = frozenset().union(*self.model.touching(self._origin(chosen, cells)))
        return Conflict(candidates=helpful - chosen - self.barred)

    def conflicting_cells(self, chosen: frozenset[int]) -> tuple[int, ...]:
        """Return the cells whose readings conflict, none if ``chosen`` is allowed.

        The cell after the last is the selection of worlds.
        """
        layings = self._layings(chosen)
        if any(product.total for product, _ in layings):
            return ()
        return tuple(sorted(self._blamed(layings)))

    def agreeing_worlds(self, chosen: frozenset[int]) -> int:
        """Return the mask of the worlds that give exactly the readings, in some state."""
        return reduce(or_, [product.total for product, _ in self._layings(chosen)])

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        components = self._components(chosen)
        touched = reduce(or_, [bits for bits, _ in components], 0)
        layings = self._layings(chosen)
        interactions, alone = self.model.interactions, self._alone
        likelihoods = {}
        for index in candidates:
            if index in self.barred:
                continue
            if interactions[index] & touched:
                likelihood = self._join(components, layings, index)
            else:
                likelihood = _likelihood(layings, alone.get(index) or self._lay_alone(index))
            if likelihood:
                likelihoods[index] = likelihood
        return likelihoods

    def _join(
        self,
        components: list[tuple[int, frozenset[int]]],
        layings: tuple[_Laying, ...],
        index: int,
    ) -> float:
        """Return the likelihood with one deviation added that hangs together with chosen ones."""
        bits = reach = self.model.interactions[index]
        joined = [index]
        rest: list[int] = []
        for component_bits, component in components:
            if component_bits & bits:
                reach |= component_bits
                joined.extend(component)
            else:
                rest.extend(component)
        # What lies outside stays as it is: if that conflicts, nothing need be asked.
        span, everything = Span.of(reach), self.model.everything
        if not any(product.without(span, everything) for product, _ in layings):
            return 0.0
        return _likelihood(self._layings(frozenset(rest)), self._lay(frozenset(joined)))

    def _components(self, chosen: frozenset[int]) -> list[tuple[int, frozenset[int]]]:
        """Sort deviations into those that hang together, each with its interaction."""
        components: list[tuple[int, frozenset[int]]] = []
        for index in chosen:
            bits, members = self.model.interactions[index], {index}
            apart = []
            for component in components:
                if component[0] & self.model.interactions[index]:
                    bits |= component[0]
                    members |= component[1]
                else:
                    apart.append(component)
            components = [*apart, (bits, frozenset(members))]
        return components

    def _origin(self, chosen: frozenset[int], cells: int) -> int:
        """Return the cells on which the values of some cells depend, as a bit set."""
        carriers = self.model.carriers
        ranges = [
            self.model.interactions[index]
            for index in chosen
            if carriers is None or index in carriers
        ]
        grown = 0
        while grown != cells:
            grown = cells
            for bits in ranges:
                if bits & cells:
                    cells |= bits
        return cells

    def _layings(self, chosen: frozenset[int]) -> tuple[_Laying, ...]:
        """Return the products of the masks under ``chosen``, one for each state."""
        layings = self._kept.get(chosen)
        if layings is None:
            model, picks = self.model, self.picks
            healthy = [
                model.everything if pick < 0 else masks[pick]
                for masks, pick in zip(model.healthy, picks, strict=False)
            ]
            tables = [([*healthy, model.worlds], model.worlds.bit_count())]
            for _, component in self._components(chosen):
                changed = []
                for table, usual in tables:
                    for masks, _, possible in model.changes(component):
                        copy = table.copy()
                        for cell, values in masks:
                            copy[cell] = values[picks[cell]]
                        changed.append((copy, usual if possible is None else possible))
                tables = changed
            layings = tuple(
                [(multiply(one, model.everything), possible) for one, possible in tables]
            )
            if len(self._kept) >= _PRODUCTS_KEPT:
                self._kept.clear()
            self._kept[chosen] = layings
        return layings

    def _lay(self, component: frozenset[int]) -> tuple[_Laid, ...]:
        """Return the changes of deviations that hang together, under the readings."""
        picks, laid = self.picks, []
        for masks, span, possible in self.model.changes(component):
            if len(masks) == 1:
                agreed = masks[0][1][picks[masks[0][0]]]
            else:
                agreed = self.model.everything
                for cell, values in masks:
                    agreed &= values[picks[cell]]
            laid.append((agreed, span, possible))
        return tuple(laid)

    def _lay_alone(self, index: int) -> tuple[_Laid, ...]:
        laid = self._alone[index] = self._lay(frozenset((index,)))
        return laid

    def _blamed(self, layings: tuple[_Laying, ...]) -> set[int]:
        return {cell for product, _ in layings for cell in to_blame(product)}


def _likelihood(layings: tuple[_Laying, ...], laid: tuple[_Laid, ...]) -> float:
    """Return the likelihood of the readings with each change laid over each product."""
    agreeing = worlds = 0
    for product, usual in layings:
        for agreed, span, possible in laid:
            agreeing += product.without(span, agreed).bit_count()
            worlds += usual if possible is None else possible
    return agreeing / worlds if agreeing else 0.0
