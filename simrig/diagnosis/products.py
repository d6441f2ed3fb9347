"""Products of masks, and which masks make one empty.

The problem.  Each cell has a mask, a set of worlds as the bits of an integer.  The
product of all masks holds the worlds that suit each cell.  Often all masks but
those of a few cells are wanted, again and again for other few; and of an empty
product, a few cells that are to blame.

How.  A product is kept with its partial products before and after each cell, so
that leaving out a range of cells costs two operations.  The cells to blame are
found by insertion: walk through the cells until the product is empty, keep the cell
that emptied it, start again from what is kept (de Siqueira J.L., Puget J.-F.,
"Explanation-based generalisation of failures", ECAI 1988, from memory).  None of
those found can be left out.

A worked example: worlds 0 and 1, of which cell 0 rules out one and cell 2 the other.

>>> product = multiply([0b01, 0b11, 0b10], everything=0b11)
>>> product.total, bin(product.without(Span.of(0b001), 0b11))
(0, '0b10')
>>> to_blame(product)
[0, 2]
"""

from __future__ import annotations

from functools import lru_cache
from itertools import accumulate
from operator import and_
from typing import NamedTuple


class Span(NamedTuple):
    """A set of cells: those from ``first`` up to ``end``, but for those ``between``."""

    first: int
    end: int
    between: tuple[int, ...]

    @staticmethod
    @lru_cache(maxsize=4096)
    def of(bits: int) -> Span:
        """Return the span of a bit set of cells."""
        first, end = max((bits & -bits).bit_length() - 1, 0), bits.bit_length()
        between = tuple([cell for cell in range(first, end) if not bits >> cell & 1])
        return Span(first, end, between)


class Product(NamedTuple):
    """Masks by cell, with their products.

    ``before[c]`` is the product of all masks before cell c, ``after[c]`` that of the
    mask of cell c and all after it.
    """

    masks: list[int]
    before: list[int]
    after: list[int]

    @property
    def total(self) -> int:
        """The product of all masks."""
        return self.before[-1]

    def without(self, span: Span, instead: int) -> int:
        """Return the product with ``instead`` in place of the masks of a span of cells."""
        product = self.before[span.first] & self.after[span.end] & instead
        if product:
            for cell in span.between:
                product &= self.masks[cell]
        return product


def multiply(masks: list[int], everything: int) -> Product:
    """Return the product of masks; ``everything`` is the mask of all worlds."""
    before = list(accumulate(masks, and_, initial=everything))
    after = list(accumulate(reversed(masks), and_, initial=everything))
    after.reverse()
    return Product(masks, before, after)


def to_blame(product: Product) -> list[int]:
    """Return cells of an empty product whose masks have an empty product, none spare."""
    kept: list[int] = []
    common = product.before[0]
    partial = product.before
    while common:
        # partial[c] is the product of what is kept and of all before cell c.
        cell = partial.index(0) - 1
        kept.append(cell)
        common &= product.masks[cell]
        partial = list(accumulate(product.masks[:cell], and_, initial=common))
    return sorted(kept)
