"""Small random systems of cells and worlds, and all their consistent sets by trying each.

Deviations come in kinds; those of one kind are interchangeable.  What a cell shows
is drawn at random for each combination of kinds that it depends on, so that nothing
follows from the effects of single deviations.  Some cells that no deviation changes by
itself are reached by one kind together with others that it meets.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from itertools import combinations, product

import attrs
from hypothesis import strategies as st

from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.reasoning import Deviation

WORLDS = 5
VALUES = 2
EVERYTHING = (1 << WORLDS) - 1


@attrs.frozen(kw_only=True)
class Small:
    """Deviations of some kinds over some cells; the last cell is the selection of worlds."""

    seed: int
    cells: int
    kinds: tuple[int, ...]
    touched: tuple[int, ...]
    states: tuple[int, ...]
    carrying: tuple[bool, ...]
    owners: tuple[int | None, ...]
    deviations: tuple[Deviation, ...]
    readings: tuple[int | None, ...]

    def mask(self, cell: int, chosen: Iterable[tuple[int, int]]) -> int:
        """Return the worlds that give what was read at a cell, or that are selected."""
        reading = 0 if cell == self.cells else self.readings[cell]
        return EVERYTHING if reading is None else self.masks(cell, chosen)[reading]

    def masks(self, cell: int, chosen: Iterable[tuple[int, int]]) -> tuple[int, ...]:
        """Return the masks of a cell under deviations, each with its state."""
        # The possible worlds do not depend on states.
        waiting = [
            (self.kinds[index], state if cell < self.cells else 0) for index, state in chosen
        ]
        present: list[tuple[int, int]] = []
        meeting = [one for one in waiting if self.reached(one[0]) >> cell & 1]
        while meeting:
            bits = 0
            for one in meeting:
                waiting.remove(one)
                present.append(one)
                if self.carrying[one[0]]:
                    bits |= self.touched[one[0]]
            meeting = [one for one in waiting if self.touched[one[0]] & bits]
        if len(present) == 1 and not self.touched[present[0][0]] >> cell & 1:
            present = []
        draw = random.Random(repr((self.seed, cell, sorted(present))))
        if present and draw.random() < 0.2:
            return self.masks(cell, ())
        return tuple(
            sum(1 << bit for bit in range(WORLDS) if draw.random() < 0.65) for _ in range(VALUES)
        )

    def reached(self, kind: int) -> int:
        """Return the cells that a kind changes, alone or with others."""
        bits = self.touched[kind]
        if not bits:
            return 0
        for cell, owner in enumerate(self.owners):
            if owner == kind and not any(touched >> cell & 1 for touched in self.touched):
                bits |= 1 << cell
        return bits

    def with_states(self, chosen: Iterable[int]) -> list[tuple[tuple[int, int], ...]]:
        """Return each combination of states that deviations can be in."""
        return list(product(*[[(i, s) for s in range(self.states[self.kinds[i]])] for i in chosen]))

    def likelihood(self, chosen: tuple[int, ...]) -> float:
        """Return the share of worlds and states that give the readings, trying all."""
        agreeing = possible = 0
        for combination in self.with_states(chosen):
            masks = [self.mask(cell, combination) for cell in range(self.cells + 1)]
            possible += masks[-1].bit_count()
            for bit in range(WORLDS):
                agreeing += all(mask >> bit & 1 for mask in masks)
        return agreeing / possible if agreeing else 0.0

    def consistent(self, limit: int) -> dict[tuple[int, ...], float]:
        """Return all sets of at most ``limit`` deviations with a likelihood, trying all."""
        found = {}
        for size in range(limit + 1):
            for chosen in combinations(range(len(self.deviations)), size):
                if len({self.deviations[i].part for i in chosen}) == size:
                    likelihood = self.likelihood(chosen)
                    if likelihood:
                        found[chosen] = likelihood
        return found

    def weight(self, chosen: tuple[int, ...], likelihood: float) -> float:
        return math.prod(self.deviations[i].prior for i in chosen) * likelihood

    def effect(self, component: frozenset[int]) -> Effect:
        """Return what deviations that hang together make of the cells."""
        bits = 0
        for index in component:
            bits |= self.reached(self.kinds[index])
        selected = self.masks(self.cells, [(index, 0) for index in component])[0]
        return Effect(
            states=tuple(
                {c: self.masks(c, states) for c in range(self.cells) if bits >> c & 1}
                for states in self.with_states(component)
            ),
            selection=selected if bits >> self.cells & 1 else None,
        )

    def system(self, *, alike: bool = True, barred: frozenset[int] = frozenset()) -> MaskSystem:
        """Return the same as a system for the reasoning."""
        carriers = frozenset(index for index, kind in enumerate(self.kinds) if self.carrying[kind])
        model = MaskModel(
            deviations=self.deviations,
            meets=tuple(self.touched[kind] for kind in self.kinds),
            count=WORLDS,
            healthy=tuple(self.masks(cell, ()) for cell in range(self.cells)),
            worlds=self.masks(self.cells, ())[0],
            effect=self.effect,
            keys=self.kinds if alike else None,
            reaches=tuple(self.reached(kind) for kind in self.kinds),
            carriers=carriers,
        )
        return MaskSystem(model=model, readings=self.readings, barred=barred)


@st.composite
def small_systems(
    draw: st.DrawFn, deviations: tuple[Deviation, ...] | None = None, most: int = 7
) -> Small:
    """Systems of up to four cells, four kinds and ``most`` deviations on up to six parts.

    Priors are powers of two, so that products are exact in any order.
    """
    if deviations is None:
        deviations = tuple(
            Deviation(part=part, mode=f"mode {number}", prior=2.0**power)
            for number, (part, power) in enumerate(
                draw(
                    st.lists(
                        st.tuples(st.integers(0, 5), st.integers(-6, 1)), min_size=0, max_size=most
                    )
                )
            )
        )
    cells = draw(st.integers(1, 4))
    kinds = draw(st.integers(1, 4))
    each = {"min_size": kinds, "max_size": kinds}
    return Small(
        seed=draw(st.integers(0, 2**32)),
        cells=cells,
        kinds=tuple(
            draw(
                st.lists(
                    st.integers(0, kinds - 1),
                    min_size=len(deviations),
                    max_size=len(deviations),
                )
            )
        ),
        touched=tuple(draw(st.lists(st.integers(0, 2 ** (cells + 1) - 1), **each))),
        states=tuple(draw(st.lists(st.sampled_from([1, 1, 1, 2]), **each))),
        carrying=tuple(draw(st.lists(st.booleans(), **each))),
        owners=tuple(
            draw(st.lists(st.sampled_from([None, *range(kinds)]), min_size=cells, max_size=cells))
        ),
        deviations=deviations,
        readings=tuple(
            draw(st.lists(st.sampled_from([0, 0, 1, None]), min_size=cells, max_size=cells))
        ),
    )
