"""A system of cells and worlds, answered with one big integer per cell.

The problem.  What is read depends on what cannot be seen (the world: where things
lie) and on what deviates.  To tell whether a set of deviations makes the readings
possible, every world must be tried; to find all such sets, there are thousands of
sets by thousands of worlds.

How.  One cell is one reading.  Its mask has one bit per world, set where the cell,
in that world, gives what was seen.  The intersection of all masks holds the worlds
that give exactly the readings, so one operation on whole integers tries all worlds
at once.  Which worlds are possible is a mask like the others: the selection, the
cell after the last.  A deviation replaces the masks of the cells that it changes.
An empty intersection is a conflict, and the few cells that already have an empty
intersection name the deviations that can help: those that touch one of them.

One promise makes this exact without trying all deviations together.  A deviation's
*interaction* is a set of cells: those that it can change by itself, and those at
which it meets others.  Deviations hang together that share such a cell, directly
or through others that are present; those that do not, do not influence each
other.  So only what hangs together is asked for as one, and the rest combines by
taking the changes of each.  The product of all masks but those of a few cells is at
hand from the products of the masks before and after them.

Conflicts are shrunk by insertion: walk through the cells until the intersection
is empty, keep the cell that emptied it, start again from what is kept (de Siqueira
J.L., Puget J.-F., "Explanation-based generalisation of failures", ECAI 1988, from
memory).  No cell of the result can be left out.

A worked example.  One ball lies left or right (worlds 0 and 1); the left switch
should be closed in world 0, the right one in world 1.  Both were read open, so in
each world one cell disagrees.  Either switch stuck open explains that:

>>> from simrig.diagnosis.system import Deviation
>>> stuck = {0: Effect(states=({0: 0b11},)), 1: Effect(states=({1: 0b11},))}
>>> system = MaskSystem(
...     deviations=(Deviation(part="left", mode="stuck open", prior=0.1),
...                 Deviation(part="right", mode="stuck open", prior=0.1)),
...     interactions=(0b01, 0b10),
...     agree=(0b10, 0b01),
...     worlds=0b11,
...     effect=lambda component: stuck[min(component)],
... )
>>> system.conflicting_cells(frozenset())
(0, 1)
>>> system.outcomes(frozenset({0})), system.outcomes(frozenset({0, 1}))
(Allowed(likelihood=0.5), Allowed(likelihood=1.0))
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from functools import reduce
from itertools import accumulate
from operator import and_, or_
from typing import Any, NamedTuple

import attrs

from simrig.diagnosis.system import Allowed, Conflict, Deviation, System

EVERY_WORLD = -1
"""The mask of a cell that agrees in each world."""


@attrs.frozen(kw_only=True)
class Effect:
    """What deviations that interact, present together and no others, make of the cells.

    ``states`` holds one mapping for each equally likely state that they can be
    in (one, unless a part is intermittent): the cells whose masks differ from
    healthy, and their masks.  A cell is left out where it is as when healthy.
    ``selection`` is the mask of the possible worlds, None for the usual ones.
    """

    states: tuple[Mapping[int, int], ...]
    selection: int | None = None


class _Change(NamedTuple):
    """A state of an effect, ready to be laid over a product."""

    masks: dict[int, int]
    agreed: int
    """Intersection of the masks."""
    first: int
    end: int
    """The changed cells lie in this range."""
    between: tuple[int, ...]
    """Cells of the range that are not changed."""
    selected: int | None
    """Number of possible worlds, None for as many as before."""


class _Product(NamedTuple):
    """The masks under a set of deviations in one state, with their partial products."""

    table: list[int]
    before: list[int]
    """``before[c]``: the intersection of all masks before cell c."""
    after: list[int]
    """``after[c]``: the intersection of the masks of cell c and all after it."""
    without: list[int]
    """``without[c]``: the intersection of all masks but that of cell c."""
    selected: int


def _multiply(table: list[int]) -> _Product:
    before = list(accumulate(table, and_, initial=EVERY_WORLD))
    after = list(accumulate(reversed(table), and_, initial=EVERY_WORLD))
    after.reverse()
    without = list(map(and_, before, after[1:]))
    return _Product(table, before, after, without, table[-1].bit_count())


def _shrink(product: _Product) -> list[int]:
    """Return cells of an empty product whose masks have an empty intersection, none spare."""
    kept: list[int] = []
    common = EVERY_WORLD
    partial = product.before
    while common:
        # partial[c] is the intersection of what is kept and of all before cell c.
        cell = partial.index(0) - 1
        kept.append(cell)
        common &= product.table[cell]
        partial = list(accumulate(product.table[:cell], and_, initial=common))
    return sorted(kept)


def _range_of(bits: int) -> tuple[int, int, tuple[int, ...]]:
    """Return the lowest bit set, the one after the highest, and the bits between not set."""
    first, end = (bits & -bits).bit_length() - 1, bits.bit_length()
    return first, end, tuple([cell for cell in range(first, end) if not bits >> cell & 1])


def _tuple_of(masks: Iterable[int]) -> tuple[int, ...]:
    return tuple(masks)


@attrs.frozen(kw_only=True, eq=False)
class MaskSystem(System):
    """Readings of ``len(agree)`` cells, numbered from 0, over worlds that are bits.

    ``agree[c]`` holds the worlds in which healthy cell c gives what was seen,
    ``worlds`` the possible worlds if nothing deviates; none is allowed and a conflict.

    ``interactions[i]`` is the bit set of the cells of deviation i's interaction; bit
    ``len(agree)`` stands for the selection of worlds.  The changes of deviations
    that hang together lie within the union of their interactions.  ``observed`` is
    the bit set of cells that were looked at; the masks of others do not count.

    ``reaches[i]``, if given, is the bit set of the cells that deviation i can change
    by itself or together with those that it meets, for deviations that meet at few
    cells and change many; ``interactions`` may then hold bits beyond the selection,
    that stand for no cell and serve only to meet at.

    ``effect(component)`` is asked for each deviation alone and for each set of
    deviations that hang together by their interactions, once per system.

    ``keys[i]``, if given, is equal for interchangeable deviations (see
    ``System.alike``), which must have equal interactions.  Deviations without an
    interaction change nothing and are interchangeable of themselves.

    ``outcomes``: the likelihood is the share of the possible worlds (and of the
    states, where there are several) that give exactly the readings.

    Raises ValueError if lengths differ, or if an effect changes a cell outside of
    its deviations' interactions.
    """

    deviations: tuple[Deviation, ...]
    interactions: tuple[int, ...] = attrs.field(repr=False)
    agree: tuple[int, ...] = attrs.field(repr=False, converter=_tuple_of)
    worlds: int = attrs.field(repr=False)
    effect: Callable[[frozenset[int]], Effect] = attrs.field(repr=False)
    observed: int = attrs.field(default=EVERY_WORLD, repr=False)
    keys: tuple[Hashable, ...] | None = attrs.field(default=None, repr=False)
    reaches: tuple[int, ...] | None = attrs.field(default=None, repr=False)
    _healthy: list[int] = attrs.field(init=False, repr=False)
    _changes: dict[frozenset[int], tuple[_Change, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )
    _products: dict[frozenset[int], tuple[_Product, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )
    _touching: dict[tuple[int, int], frozenset[int]] = attrs.field(
        init=False, repr=False, factory=dict
    )

    @interactions.validator
    @keys.validator
    @reaches.validator
    def _one_each(
        self, attribute: attrs.Attribute[Any], value: tuple[Hashable, ...] | None
    ) -> None:
        wanted = len(self.deviations)
        if value is not None and len(value) != wanted:
            raise ValueError(f"{attribute.name}: {len(value)} found, {wanted} wanted")

    @worlds.validator
    def _a_set_of_worlds(self, attribute: attrs.Attribute[int], value: int) -> None:
        if value < 0:
            raise ValueError(f"worlds: {value} found, a mask of 0 or more wanted")

    @_healthy.default
    def _masks_of_healthy_cells(self) -> list[int]:
        masks = [
            mask if self.observed >> cell & 1 else EVERY_WORLD
            for cell, mask in enumerate(self.agree)
        ]
        return [*masks, self.worlds]

    def alike(self, index: int) -> Hashable:
        if not self.interactions[index]:
            return None
        return (index,) if self.keys is None else (self.keys[index],)

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        products = self._multiplied(chosen)
        agreeing = sum([product.before[-1].bit_count() for product in products])
        if agreeing:
            possible = sum([product.selected for product in products])
            return Allowed(likelihood=agreeing / possible)
        cells = 0
        for cell in self._conflicting(products):
            cells |= 1 << cell
        helpful = set().union(*self._touching_cells(cells, self._reaches))
        # Whatever meets chosen ones that reach a conflicting cell can change it through them.
        for bits, component in self._components(chosen):
            if self._reach(component) & cells:
                helpful.update(*self._touching_cells(bits, self.interactions))
        return Conflict(candidates=frozenset(helpful) - chosen)

    def conflicting_cells(self, chosen: frozenset[int]) -> tuple[int, ...]:
        """Return the cells whose masks conflict, none if ``chosen`` is allowed.

        The cell ``len(agree)`` is the selection of worlds.
        """
        products = self._multiplied(chosen)
        if any(product.before[-1] for product in products):
            return ()
        return tuple(sorted(self._conflicting(products)))

    def agreeing_worlds(self, chosen: frozenset[int]) -> int:
        """Return the mask of the worlds that give exactly the readings, in some state."""
        return reduce(or_, [product.before[-1] for product in self._multiplied(chosen)])

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        components = self._components(chosen)
        touched = reduce(or_, [bits for bits, _ in components], 0)
        products = self._multiplied(chosen)
        likelihoods = {}
        for index in candidates:
            if self.interactions[index] & touched:
                likelihood = self._join(components, products, index)
            else:
                likelihood = _lay_over(products, self._change(frozenset((index,))))
            if likelihood:
                likelihoods[index] = likelihood
        return likelihoods

    def _join(
        self,
        components: list[tuple[int, frozenset[int]]],
        products: tuple[_Product, ...],
        index: int,
    ) -> float:
        """Return the likelihood with one deviation added that hangs together with chosen ones."""
        bits = self.interactions[index]
        joined = [index]
        rest: list[int] = []
        for component_bits, component in components:
            if component_bits & bits:
                joined.extend(component)
            else:
                rest.extend(component)
        # What lies outside stays as it is: if that conflicts, nothing need be asked.
        first, end, between = _range_of(self._reach(joined))
        if all(_common(product, EVERY_WORLD, first, end, between) == 0 for product in products):
            return 0.0
        return _lay_over(self._multiplied(frozenset(rest)), self._change(frozenset(joined)))

    def _components(self, chosen: frozenset[int]) -> list[tuple[int, frozenset[int]]]:
        """Sort deviations into those that hang together by their interactions."""
        components: list[tuple[int, frozenset[int]]] = []
        for index in chosen:
            bits, members = self.interactions[index], {index}
            apart = []
            for component in components:
                if component[0] & bits:
                    members |= component[1]
                else:
                    apart.append(component)
            for member in members:
                bits |= self.interactions[member]
            components = [*apart, (bits, frozenset(members))]
        return components

    def _multiplied(self, chosen: frozenset[int]) -> tuple[_Product, ...]:
        """Return the products of the masks under ``chosen``, one for each state."""
        products = self._products.get(chosen)
        if products is None:
            tables = [self._healthy]
            for _, component in self._components(chosen):
                changed = []
                for table in tables:
                    for change in self._change(component):
                        copy = table.copy()
                        for cell, mask in change.masks.items():
                            copy[cell] = mask
                        changed.append(copy)
                tables = changed
            products = tuple(map(_multiply, tables))
            if len(self._products) >= _PRODUCTS_KEPT:
                self._products.clear()
            self._products[chosen] = products
        return products

    def _change(self, component: frozenset[int]) -> tuple[_Change, ...]:
        """Return the effect of a component, ready for use."""
        changes = self._changes.get(component)
        if changes is None:
            reach = self._reach(component)
            effect = self.effect(component)
            changes = tuple(
                [self._ready(state, effect.selection, reach) for state in effect.states]
            )
            if len(component) <= _COMPONENT_KEPT:
                self._changes[component] = changes
        return changes

    def _ready(self, state: Mapping[int, int], selection: int | None, reach: int) -> _Change:
        masks = {cell: mask for cell, mask in state.items() if self.observed >> cell & 1}
        if selection is not None:
            masks[len(self.agree)] = selection
        bits = 0
        for cell in masks:
            bits |= 1 << cell
        if bits & ~reach:
            cell = _range_of(bits & ~reach)[0]
            raise ValueError(f"cell {cell}: found changed, inside of an interaction wanted")
        first, end, between = _range_of(bits) if bits else (0, 0, ())
        return _Change(
            masks=masks,
            agreed=reduce(and_, masks.values(), EVERY_WORLD),
            first=first,
            end=end,
            between=between,
            selected=None if selection is None else selection.bit_count(),
        )

    def _conflicting(self, products: tuple[_Product, ...]) -> set[int]:
        return {cell for product in products for cell in _shrink(product)}

    @property
    def _reaches(self) -> tuple[int, ...]:
        return self.interactions if self.reaches is None else self.reaches

    def _reach(self, component: Iterable[int]) -> int:
        """Return the cells that deviations which hang together can change."""
        reaches = self._reaches
        return reduce(or_, [reaches[index] for index in component], 0)

    def _touching_cells(self, cells: int, sets: tuple[int, ...]) -> Iterator[frozenset[int]]:
        """Yield for each cell of a bit set the deviations whose bit set of ``sets`` holds it."""
        while cells:
            bit = cells & -cells
            cells ^= bit
            key = (bit, id(sets))
            if key not in self._touching:
                self._touching[key] = frozenset([i for i, bits in enumerate(sets) if bits & bit])
            yield self._touching[key]


_PRODUCTS_KEPT = 64
"""Enough for the sets on a path of the search; each holds four masks a cell."""

_COMPONENT_KEPT = 2
"""Larger components are met once or twice, smaller ones beside many others."""


def _common(product: _Product, agreed: int, first: int, end: int, between: tuple[int, ...]) -> int:
    """Return the worlds in which ``agreed`` and all cells but those replaced agree.

    Replaced are the cells from ``first`` up to ``end``, except those ``between``.
    """
    common = product.before[first] & product.after[end] & agreed
    for cell in between:
        if not common:
            break
        common &= product.table[cell]
    return common


def _lay_over(products: tuple[_Product, ...], changes: tuple[_Change, ...]) -> float:
    """Return the likelihood of the readings with each change laid over each product."""
    agreeing = possible = 0
    for product in products:
        for change in changes:
            common = _common(product, change.agreed, change.first, change.end, change.between)
            agreeing += common.bit_count()
            possible += product.selected if change.selected is None else change.selected
    return agreeing / possible if agreeing else 0.0
