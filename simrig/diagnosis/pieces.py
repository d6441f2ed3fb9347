"""What stands apart among deviations that seem to hang together.

The problem.  Which deviations influence each other is told beforehand by the cells at
which they meet (``masks``), whatever else is wrong.  Where some can carry what others do
to any cell, nearly everything meets; yet most of it would not make a difference.

How.  Some deviations show at their ``own`` cells and nowhere else, as long as the others
do not bear on these cells.  On which they bear is asked for what is there: it is exact
for it, and costs more, so it is kept for one and for two.  What stands apart is laid over
the rest as if it had never met it, after the rest: in worlds that were not asked for the
rest may show at its cells.

``bears`` are the cells on which deviations bear.  Those ``near`` are half of something
that bears on cells when its other half is there: one cell changed there stands apart
all the same, but may make more cells bear, and several may be both halves.  A deviation
that only takes away (``taking``) never is such a half.

A worked example: 0 bears on cell 1, so 1 meets it there, and 2 stands apart.

>>> pieces = Pieces(own=(None, 0b10, 0b100), taking=frozenset(),
...                 exposed=lambda some, every: Exposure(0b10 if 0 in some else 0, 0))
>>> [sorted(one) for one in pieces.of(frozenset({0, 1, 2}), True)]
[[0, 1], [2]]
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import or_
from typing import Final, NamedTuple

import attrs


class Exposure(NamedTuple):
    """Bit sets of cells: on which deviations bear, and those near."""

    bears: int
    near: int

    def joined(self, other: Exposure) -> Exposure:
        """Return both together."""
        return Exposure(self.bears | other.bears, self.near | other.near)


NOWHERE: Final = Exposure(0, 0)


@attrs.frozen(kw_only=True, eq=False)
class Pieces:
    """Takes what stands apart out of deviations that hang together.

    ``own[i]`` is None for a deviation that never stands apart.  ``exposed(some, every)``
    tells on which cells some bear, in ``every`` world or in the usual ones.
    """

    own: tuple[int | None, ...] = attrs.field(repr=False)
    taking: frozenset[int] = attrs.field(repr=False)
    exposed: Callable[[frozenset[int], bool], Exposure] = attrs.field(repr=False)
    _known: dict[tuple[frozenset[int], bool], Exposure] = attrs.field(
        init=False, factory=dict, repr=False
    )

    def of(self, component: frozenset[int], every: bool) -> tuple[frozenset[int], ...]:
        """Return what hangs together, then what stands apart, each to be laid over those before."""
        if len(component) > 1:
            for index in component:
                rest = component - {index}
                if self.apart(index, self.exposure(rest, every)):
                    return (*self.of(rest, every), frozenset((index,)))
        return (component,)

    def cells(self, piece: frozenset[int]) -> int:
        """Return the cells at which deviations that stand apart show."""
        return reduce(or_, [self.own[index] or 0 for index in piece])

    def apart(self, index: int, exposure: Exposure) -> bool:
        """Tell whether a deviation stands apart from others with a certain exposure."""
        own = self.own[index]
        if own is None or own & exposure.bears:
            return False
        near = own & exposure.near
        return not near & (near - 1) or index in self.taking

    def exposure(self, component: frozenset[int], every: bool) -> Exposure:
        """Return the cells on which deviations bear."""
        key = component, every
        found = self._known.get(key)
        if found is None:
            found = self._exposure(component, every)
            if len(component) <= _KEPT:
                self._known[key] = found
        return found

    def _exposure(self, component: frozenset[int], every: bool) -> Exposure:
        if len(component) > 1:
            for index in component:
                rest = self.exposure(component - {index}, every)
                own = self.own[index]
                if self.apart(index, rest) and (index in self.taking or not (own or 0) & rest.near):
                    return rest.joined(self.exposure(frozenset((index,)), every))
        return self.exposed(component, every)


_KEPT = 2
"""Size of what is met beside many others."""
