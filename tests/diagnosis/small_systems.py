"""Small random systems of cells and worlds, and all their consistent sets by trying each.

Deviations come in kinds; those of one kind are interchangeable.  What a cell shows
is drawn at random for each combination of kinds that hang together there, so that
nothing follows from the effects of single deviations.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from itertools import combinations, product

import attrs
from hypothesis import strategies as st

from simrig.diagnosis.masks import Effect, MaskSystem
from simrig.diagnosis.reasoning import Deviation

WORLDS = 5


@attrs.frozen(kw_only=True)
class Small:
    """Deviations of some kinds over some cells; the last cell is the selection of worlds."""

    seed: int
    cells: int
    kinds: tuple[int, ...]
    touched: tuple[int, ...]
    states: tuple[int, ...]
    deviations: tuple[Deviation, ...]
    observed: int

    def mask(self, cell: int, chosen: Iterable[tuple[int, int]]) -> int:
        """Return the mask of a cell under deviations, each with its state."""
        # The possible worlds do not depend on states.
        waiting = [
            (self.kinds[index], state if cell < self.cells else 0) for index, state in chosen
        ]
        present: list[tuple[int, int]] = []
        bits = 1 << cell
        while meeting := [one for one in waiting if self.touched[one[0]] & bits]:
            for one in meeting:
                waiting.remove(one)
                present.append(one)
                bits |= self.touched[one[0]]
        if cell < self.cells and not self.observed >> cell & 1:
            return (1 << WORLDS) - 1
        draw = random.Random(repr((self.seed, cell, sorted(present))))
        if present and draw.random() < 0.2:
            return self.mask(cell, ())
        return sum(1 << bit for bit in range(WORLDS) if draw.random() < 0.65)

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

    def system(self, *, alike: bool = True) -> MaskSystem:
        """Return the same as a system for the reasoning."""

        def effect(component: frozenset[int]) -> Effect:
            bits = 0
            for index in component:
                bits |= self.touched[self.kinds[index]]
            return Effect(
                states=tuple(
                    {c: self.mask(c, states) for c in range(self.cells) if bits >> c & 1}
                    for states in self.with_states(component)
                ),
                selection=(
                    self.mask(self.cells, [(i, 0) for i in component])
                    if bits >> self.cells & 1
                    else None
                ),
            )

        return MaskSystem(
            deviations=self.deviations,
            interactions=tuple(self.touched[kind] for kind in self.kinds),
            agree=tuple(self.mask(cell, ()) for cell in range(self.cells)),
            worlds=self.mask(self.cells, ()),
            effect=effect,
            observed=self.observed,
            keys=self.kinds if alike else None,
        )


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
        deviations=deviations,
        observed=draw(st.sampled_from([2**cells - 1, 2**cells - 1, 1])),
    )
