"""What was read, laid over a model of masks: a system for the reasoning.

The model (``masks``) holds, for each cell and each value, the worlds in which the
cell can read so.  The readings pick one mask for each cell.  A set of deviations
that do not hang together is laid over the product of the picked masks by leaving out
the cells that they change and taking their masks instead, at the cost of a few
operations for each deviation.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import reduce
from operator import or_

import attrs

from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.families import Classes
from simrig.diagnosis.masks import MaskModel
from simrig.diagnosis.pieces import NOWHERE, Pieces
from simrig.diagnosis.products import Product, Span, multiply, to_blame
from simrig.diagnosis.system import Allowed, Conflict, System

_Laid = tuple[int, Span, int | None]
"""A change under the readings: the product of its masks, its span, its possible worlds."""

_Laying = tuple[Product, int]
"""The product under a set of deviations in one state, and its number of possible worlds."""

_NO_CHANGE: tuple[_Laid, ...] = ((-1, Span.of(0), None),)

_PRODUCTS_KEPT = 64
"""Enough for the sets on a path of the search; each holds three masks a cell."""


@attrs.frozen(kw_only=True, eq=False)
class MaskSystem(System):
    """A model with what was read at each cell, None where it was not looked.

    The likelihood is the share of the possible worlds (and of the states, where
    there are several) that give exactly the readings.  ``barred`` deviations are in
    no set.  Raises ValueError if there are more or fewer readings than cells.
    """

    model: MaskModel
    readings: tuple[int | None, ...] = attrs.field()
    barred: frozenset[int] = frozenset()
    _picks: list[int] = attrs.field(init=False, repr=False)
    _healthy: list[int] = attrs.field(init=False, repr=False)
    _inert: frozenset[int] = attrs.field(init=False, repr=False)
    _meets: tuple[int, ...] = attrs.field(init=False, repr=False)
    _grown: dict[int, int] = attrs.field(init=False, repr=False, factory=dict)
    _alone: dict[int, tuple[_Laid, ...]] = attrs.field(init=False, repr=False, factory=dict)
    _kept: dict[tuple[frozenset[int], bool], tuple[_Laying, ...]] = attrs.field(
        init=False, repr=False, factory=dict
    )

    @readings.validator
    def _one_each(
        self, attribute: attrs.Attribute[tuple[int | None, ...]], value: tuple[int | None, ...]
    ) -> None:
        wanted = len(self.model.healthy)
        if len(value) != wanted:
            raise ValueError(f"readings: {len(value)} found, {wanted} wanted")

    @_picks.default
    def _masks_to_take(self) -> list[int]:
        # Not looked at: the last mask, that of all worlds. The selection has one mask.
        return [*[-1 if value is None else value for value in self.readings], 0]

    @_healthy.default
    def _masks_if_healthy(self) -> list[int]:
        model = self.model
        masks = [
            model.everything if pick < 0 else values[pick]
            for values, pick in zip(model.healthy, self._picks, strict=False)
        ]
        return [*masks, model.worlds]

    @_inert.default
    def _without_effect(self) -> frozenset[int]:
        observed = reduce(or_, [1 << c for c, pick in enumerate(self._picks) if pick >= 0])
        return self.model.inert(observed)

    @_meets.default
    def _meets_here(self) -> tuple[int, ...]:
        if not self._inert:
            return self.model.meets
        meets = list(self.model.meets)
        for index in self._inert:
            meets[index] = 0
        return tuple(meets)

    @property
    def deviations(self) -> tuple[Deviation, ...]:
        return self.model.deviations

    def classes(self) -> Classes:
        return self.model.classes(self._inert, self.barred)

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        if chosen & self.barred:
            return Conflict(candidates=frozenset())
        layings = self._layings(chosen, self._every(chosen))
        agreeing = sum([product.total.bit_count() for product, _ in layings])
        if agreeing:
            return Allowed(likelihood=agreeing / sum([possible for _, possible in layings]))
        blamed = self._blamed(layings)
        cells = reduce(or_, [1 << cell for cell in blamed])
        turned = reduce(or_, [self.model.reaches[i] for i in chosen & self.model.turners], 0)
        helpful: set[int] = set().union(*self.model.reaching(cells & turned))
        for cell in blamed:
            if not turned >> cell & 1:
                helpful.update(self.model.enlarging(cell, self._picks[cell]))
        carrying = self._carrying(chosen, cells)
        if self.model.parting is None:
            for index in carrying:
                helpful.update(*self.model.meeting(self._meets[index]))
        elif carrying:
            helpful.update(self._meeting(chosen, self.model.parting))
        return Conflict(candidates=frozenset(helpful) - chosen - self.barred)

    def conflicting_cells(self, chosen: frozenset[int]) -> tuple[int, ...]:
        """Return the cells whose readings conflict, none if ``chosen`` is allowed.

        The cell after the last is the selection of worlds.
        """
        layings = self._layings(chosen, self._every(chosen))
        if any(product.total for product, _ in layings):
            return ()
        return tuple(sorted(self._blamed(layings)))

    def agreeing_worlds(self, chosen: frozenset[int]) -> int:
        """Return the mask of the worlds that give exactly the readings, in some state."""
        return reduce(
            or_, [product.total for product, _ in self._layings(chosen, self._every(chosen))]
        )

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        every = self._every(chosen)
        if every or self.model.parting is None:
            return self._extended(chosen, candidates, every)
        # What stands apart in the usual worlds may not in those that are selected instead.
        asked = list(candidates)
        others = self.model.selectors.intersection(asked)
        found = self._extended(chosen, [index for index in asked if index not in others], False)
        return {**found, **self._extended(chosen, others, True)} if others else found

    def _every(self, chosen: frozenset[int]) -> bool:
        """Tell whether worlds besides the usual ones are selected."""
        return not self.model.selectors.isdisjoint(chosen)

    def _extended(
        self, chosen: frozenset[int], candidates: Iterable[int], every: bool
    ) -> dict[int, float]:
        components = self._components(chosen)
        touched = reduce(or_, [bits for bits, _ in components], 0)
        layings = self._layings(chosen, every)
        meets, alone = self._meets, self._alone
        unchanged = _likelihood(layings, _NO_CHANGE)
        parting, exposure = self.model.parting, NOWHERE
        if parting is not None:
            for _, members in components:
                exposure = exposure.joined(parting.exposure(members, every))
        likelihoods = {}
        for index in candidates:
            if index in self.barred:
                continue
            if meets[index] & touched and not (parting and parting.apart(index, exposure)):
                likelihood = self._join(components, index, every)
            else:
                laid = alone[index] if index in alone else self._lay(index)
                likelihood = _likelihood(layings, laid) if laid else unchanged
            if likelihood:
                likelihoods[index] = likelihood
        return likelihoods

    def _join(
        self,
        components: list[tuple[int, frozenset[int]]],
        index: int,
        every: bool,
    ) -> float:
        """Return the likelihood with one deviation added that hangs together with chosen ones."""
        bits = self._meets[index]
        joined = [index]
        rest: list[int] = []
        for component_bits, component in components:
            (joined if component_bits & bits else rest).extend(component)
        component, over = frozenset(joined), 0
        if self.model.parting is not None:
            for piece in self.model.parting.of(component, every):
                if index in piece:
                    joined, component, over = list(piece), piece, 0
                else:
                    rest.extend(piece)
                    over |= self.model.parting.cells(piece)
        others = self._layings(frozenset(rest), every)
        if not self.model.knows(component):
            # A cell that nothing enlarges gives no more worlds than without the component: if
            # these conflict, nothing need be asked.
            span, everything = Span.of(self._enlarged(joined, rest)), self.model.everything
            if not any(product.without(span, everything) for product, _ in others):
                return 0.0
        return self._lay_over(others, component, over)

    def _enlarged(self, joined: list[int], rest: list[int]) -> int:
        """Return the cells at which some deviations can make more worlds read as was read."""
        model = self.model
        if not model.turners.isdisjoint(joined) or not model.turners.isdisjoint(rest):
            return reduce(or_, [model.reaches[member] for member in joined])
        cells = 0
        for member in joined:
            if member not in self._grown:
                sets = model.enlarges or [model.reaches]
                self._grown[member] = reduce(
                    or_, [sets[value][member] & bits for value, bits in self._picked(len(sets))]
                )
            cells |= self._grown[member]
        return cells

    def _picked(self, values: int) -> list[tuple[int, int]]:
        """Return the bit set of the cells at which each value was read; all, for a single one."""
        if values == 1:
            return [(0, -1)]
        found = dict.fromkeys(range(values), 0)
        for cell, pick in enumerate(self._picks):
            if pick >= 0:
                found[pick] |= 1 << cell
        return list(found.items())

    def _lay_over(
        self, layings: tuple[_Laying, ...], component: frozenset[int], over: int
    ) -> float:
        """Return the likelihood with the changes of a component laid over each product.

        At the cells ``over`` the product holds what is laid over the component.
        """
        picks, everything = self._picks, self.model.everything
        agreeing = worlds = 0
        for product, usual in layings:
            for change in self.model.changes(component):
                masks, _, span, possible = change.without(over)
                common = product.without(span, everything)
                for cell, values in masks:
                    if not common:
                        break
                    common &= values[picks[cell]]
                agreeing += common.bit_count()
                worlds += usual if possible is None else possible
        return agreeing / worlds if agreeing else 0.0

    def _components(self, chosen: frozenset[int]) -> list[tuple[int, frozenset[int]]]:
        """Sort deviations into those that hang together, each with where they meet others."""
        components: list[tuple[int, frozenset[int]]] = []
        for index in chosen:
            bits, members = self._meets[index], {index}
            apart = []
            for component in components:
                if component[0] & self._meets[index]:
                    bits |= component[0]
                    members |= component[1]
                else:
                    apart.append(component)
            components = [*apart, (bits, frozenset(members))]
        return components

    def _carrying(self, chosen: frozenset[int], cells: int) -> list[int]:
        """Return the chosen carriers through which others can change some cells."""
        reaches, meets = self.model.reaches, self._meets
        waiting = chosen & self.model.carriers
        found = [index for index in waiting if reaches[index] & cells]
        for index in found:
            waiting = waiting.difference(found)
            found += [other for other in waiting if meets[other] & meets[index]]
        return found

    def _meeting(self, chosen: frozenset[int], parting: Pieces) -> Iterator[int]:
        """Yield the deviations that chosen ones can carry on, alone or beside others."""
        exposure = NOWHERE
        for _, members in self._components(chosen):
            exposure = exposure.joined(parting.exposure(members, True))
        cells = exposure.bears | exposure.near
        for index, own in enumerate(parting.own):
            if own is None or own & cells:
                yield index

    def _layings(self, chosen: frozenset[int], every: bool) -> tuple[_Laying, ...]:
        """Return the products of the masks under ``chosen``, one for each state.

        They hold in ``every`` world, or in the usual ones.
        """
        layings = self._kept.get((chosen, every))
        if layings is None:
            model, picks = self.model, self._picks
            tables = [(self._healthy, model.worlds.bit_count())]
            for component in self._pieces(chosen, every):
                changed = []
                for table, usual in tables:
                    for masks, _, _, possible in model.changes(component):
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
            self._kept[chosen, every] = layings
        return layings

    def _pieces(self, chosen: frozenset[int], every: bool) -> Iterator[frozenset[int]]:
        """Yield the deviations that must be asked for together."""
        parting = self.model.parting
        for _, component in self._components(chosen):
            yield from (component,) if parting is None else parting.of(component, every)

    def _lay(self, index: int) -> tuple[_Laid, ...]:
        """Return the changes of one deviation under the readings, none if nothing is seen of it."""
        picks = self._picks
        laid: list[_Laid] = []
        seen = False
        for masks, _, span, possible in self.model.changes(frozenset((index,))):
            agreed = self.model.everything
            for cell, values in masks:
                seen = seen or picks[cell] >= 0
                agreed &= values[picks[cell]]
            laid.append((agreed, span, possible))
        self._alone[index] = tuple(laid) if seen else ()
        return self._alone[index]

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
