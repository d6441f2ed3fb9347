"""What fits the first screen: 20 lines, the rest on demand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

LINES: Final = 20
ALL: Final = 10_000
"""A screen without an end: everything is wanted."""


def height(lines: Iterable[str]) -> int:
    """Return how many lines of the screen these take."""
    return sum(line.count("\n") + 1 for line in lines)


def room(most: int, *others: Iterable[str]) -> int:
    """Return how many lines are left beside others, none below 0."""
    return max(0, most - sum(height(lines) for lines in others))


def as_many(lines: Sequence[str], most: int) -> tuple[list[str], int]:
    """Return the first lines that fit, leaving one for what is said of the rest; and how many
    are left out.

    >>> as_many(["one", "two", "three"], 2)
    (['one'], 2)
    """
    if height(lines) <= most:
        return list(lines), 0
    kept: list[str] = []
    for line in lines:
        if height([*kept, line]) > most - 1:
            break
        kept.append(line)
    return kept, len(lines) - len(kept)
