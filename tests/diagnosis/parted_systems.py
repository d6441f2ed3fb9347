"""Small random systems in which all seem to meet, and little does: and all their sets by trying.

Plain deviations change the cells of their own.  Sources mix up the cells on which they bear
with whatever is done there, in unusual worlds on more cells than in usual ones.  Each source
has two halves, cells at each of which something must be closed before it bears on these and on
a cell more; plain deviations that take away close nothing.  Selectors select other worlds.
What a cell shows is drawn at random for each combination of what it depends on.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from functools import cache
from itertools import combinations, product

import attrs
from hypothesis import strategies as st

from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.pieces import Exposure, Pieces
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.reasoning import Deviation

CELLS, WORLDS = 5, 6
"""The last cell is touched by aloof deviations alone, which meet no source."""
EVERYTHING = (1 << WORLDS) - 1
SHARED = (1 << CELLS - 1) - 1
VIRTUAL = 2 << CELLS
"""Where all but the aloof ones meet."""


@attrs.frozen
class Plain:
    """Changes its own cells, in one of so many states."""

    own: int
    takes: bool
    states: int


@attrs.frozen
class Source:
    """Bears on cells: in usual worlds, in all, and on ``behind`` once both halves are closed."""

    usual: int
    every: int
    halves: tuple[int, int]
    behind: int


@attrs.frozen
class Selector:
    """Selects other worlds."""


One = Plain | Source | Selector


@attrs.frozen(kw_only=True)
class Parted:
    """Deviations, the usual worlds, and what was read."""

    seed: int
    ones: tuple[One, ...]
    worlds: int
    readings: tuple[int | None, ...]

    @property
    def sources(self) -> frozenset[int]:
        """The positions of the sources."""
        return frozenset(i for i, one in enumerate(self.ones) if isinstance(one, Source))

    @property
    def selectors(self) -> frozenset[int]:
        """The positions of the selectors."""
        return frozenset(i for i, one in enumerate(self.ones) if isinstance(one, Selector))

    def bears(self, chosen: Iterable[int], every: bool) -> tuple[int, int]:
        """The cells on which sources bear, and those on which a closed one would make them."""
        ones = [self.ones[index] for index in chosen]
        closed = 0
        for one in ones:
            if isinstance(one, Plain) and not one.takes:
                closed |= one.own
        bears = next_ = 0
        for one in ones:
            if isinstance(one, Source):
                bears |= one.every if every else one.usual
                first, second = one.halves
                if closed & first and closed & second:
                    bears |= first | second | one.behind
                elif closed & (first | second):
                    next_ |= (first | second) & ~closed
        return bears, next_

    def exposed(self, some: frozenset[int], every: bool) -> Exposure:
        """What some bear on, their own cells among them, and the halves of the sources."""
        bears, next_ = self.bears(some, every)
        near = 0
        for index in some:
            match self.ones[index]:
                case Plain(own=own):
                    bears |= own
                case Source(halves=(first, second)):
                    near |= first | second
        return Exposure(bears | next_, near)

    def shows(self, cell: int, world: int, chosen: tuple[tuple[int, int], ...]) -> int:
        """The values that a cell can read in one world, as bits; ``chosen`` with their states."""
        bears, _ = self.bears([index for index, _ in chosen], not self.worlds >> world & 1)
        present = []
        for index, state in chosen:
            one = self.ones[index]
            if isinstance(one, Plain) and (
                one.own >> cell & 1 or (bears >> cell & 1 and one.own & bears)
            ):
                present.append((index, state))
            if isinstance(one, Source) and bears >> cell & 1:
                present.append((index, state))
        return _drawn(self.seed, cell, world, tuple(sorted(present)))

    def selected(self, chosen: Iterable[int]) -> int:
        """The worlds that are possible."""
        turned = sorted(self.selectors.intersection(chosen))
        if not turned:
            return self.worlds
        return zlib.crc32(repr((self.seed, turned)).encode()) & EVERYTHING

    def with_states(self, chosen: Iterable[int]) -> list[tuple[tuple[int, int], ...]]:
        """Each combination of states that deviations can be in."""
        ways = [
            [(index, state) for state in range(getattr(self.ones[index], "states", 1))]
            for index in sorted(chosen)
        ]
        return list(product(*ways))

    def likelihood(self, chosen: Iterable[int]) -> float:
        """The share of possible worlds and states that give what was read, trying all."""
        selected = self.selected(chosen)
        agreeing = possible = 0
        for states in self.with_states(chosen):
            possible += selected.bit_count()
            for world in range(WORLDS):
                agreeing += selected >> world & 1 and all(
                    value is None or self.shows(cell, world, states) >> value & 1
                    for cell, value in enumerate(self.readings)
                )
        return agreeing / possible if agreeing else 0.0

    def consistent(self, limit: int) -> dict[tuple[int, ...], float]:
        """All sets of at most so many with a likelihood, trying all."""
        found = {}
        for size in range(limit + 1):
            for chosen in combinations(range(len(self.ones)), size):
                if likelihood := self.likelihood(chosen):
                    found[chosen] = likelihood
        return found

    def reach(self, index: int) -> int:
        """The cells that one can change, those of the selection among them."""
        match self.ones[index]:
            case Plain(own=own):
                return own
            case Source(every=every, halves=(first, second), behind=behind):
                return every | first | second | behind
            case _:
                return 1 << CELLS

    def masks(self, cell: int, chosen: tuple[tuple[int, int], ...]) -> tuple[int, ...]:
        """The worlds in which a cell can read 0, and 1."""
        found = [self.shows(cell, world, chosen) for world in range(WORLDS)]
        return tuple(
            sum((values >> value & 1) << world for world, values in enumerate(found))
            for value in (0, 1)
        )

    def effect(self, component: frozenset[int]) -> Effect:
        """What deviations make of the cells."""
        bits = 0
        for index in component:
            bits |= self.reach(index)
        return Effect(
            states=tuple(
                {
                    cell: masks
                    for cell in range(CELLS)
                    if bits >> cell & 1
                    and (masks := self.masks(cell, states)) != self.masks(cell, ())
                }
                for states in self.with_states(component)
            ),
            selection=self.selected(component) if component & self.selectors else None,
        )

    def system(self, *, parted: bool = True) -> MaskSystem:
        """The same as a system for the reasoning, what stands apart taken out or not."""
        count = len(self.ones)
        aloof = {
            i for i, one in enumerate(self.ones) if isinstance(one, Plain) and one.own > SHARED
        }
        model = MaskModel(
            deviations=tuple(Deviation(part=n, mode="", prior=0.5) for n in range(count)),
            meets=tuple(self.reach(i) | (0 if i in aloof else VIRTUAL) for i in range(count)),
            reaches=tuple(self.reach(i) for i in range(count)),
            carriers=self.sources,
            count=WORLDS,
            healthy=tuple(self.masks(cell, ()) for cell in range(CELLS)),
            worlds=self.worlds,
            effect=self.effect,
            parting=Pieces(
                own=tuple(one.own if isinstance(one, Plain) else None for one in self.ones),
                taking=frozenset(
                    i for i, one in enumerate(self.ones) if isinstance(one, Plain) and one.takes
                ),
                exposed=self.exposed,
            )
            if parted
            else None,
        )
        return MaskSystem(model=model, readings=self.readings)


@cache
def _drawn(seed: int, cell: int, world: int, present: tuple[tuple[int, int], ...]) -> int:
    """Each value can be read or not, by three chances in five."""
    number = zlib.crc32(repr((seed, cell, world, present)).encode())
    return (number % 5 < 3) | (number // 5 % 5 < 3) << 1


CELL = st.integers(0, CELLS - 2).map(lambda cell: 1 << cell)
PLAINS = st.builds(
    Plain,
    st.one_of(
        CELL,
        st.tuples(CELL, CELL).map(lambda two: two[0] | two[1]),
        st.just(1 << CELLS - 1),
    ),
    st.booleans(),
    st.sampled_from((1, 1, 1, 2)),
)
SOURCES = st.builds(
    lambda usual, more, halves, behind: Source(usual, usual | more, tuple(halves), behind),
    st.one_of(st.just(0), CELL),
    st.one_of(st.just(0), CELL),
    st.lists(CELL, min_size=2, max_size=2, unique=True),
    CELL,
)


@st.composite
def parted_systems(draw: st.DrawFn) -> Parted:
    """Systems of up to six deviations, a source or two and at most one selector among them."""
    ones: list[One] = draw(st.lists(PLAINS, min_size=1, max_size=4))
    ones += draw(st.lists(SOURCES, min_size=1, max_size=2))
    ones += draw(st.lists(st.builds(Selector), max_size=1))
    return Parted(
        seed=draw(st.integers(0, 2**32)),
        ones=tuple(draw(st.permutations(ones))),
        worlds=draw(st.integers(1, EVERYTHING)),
        readings=tuple(
            draw(st.lists(st.sampled_from((0, 0, 1, None)), min_size=CELLS, max_size=CELLS))
        ),
    )
