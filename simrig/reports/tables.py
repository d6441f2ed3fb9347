"""Tables in plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

_GAP = 2


def table(
    rows: Iterable[Sequence[object]], headers: Sequence[str], width: int | None = None
) -> str:
    """Return rows under headings; every cell is shown as it is written.

    With a ``width``, the widest columns are folded until the table fits.
    Kept apart because tabulate is imported only where a table is printed.
    """
    from tabulate import tabulate

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    if width is not None:
        cells = _folded(cells, headers, width)
    return tabulate(cells, headers=list(headers), tablefmt="simple", disable_numparse=True)


def _folded(cells: list[list[str]], headers: Sequence[str], width: int) -> list[list[str]]:
    columns = list(zip(headers, *cells, strict=True))
    widths = [max(len(line) for cell in column for line in _lines(cell)) for column in columns]
    words = [
        max(len(word) for cell in column for word in (cell.split() or [""])) for column in columns
    ]
    excess = sum(widths) + _GAP * (len(widths) - 1) - width
    # First between words; where that is not enough, inside them, but never inside a heading.
    headings = [len(heading) for heading in headers]
    for floor in (words, headings):
        while excess > 0:
            over = [have - least for have, least in zip(widths, floor, strict=True)]
            if max(over) <= 0:
                break
            widest = max(
                (place for place, extra in enumerate(over) if extra > 0), key=widths.__getitem__
            )
            widths[widest] -= 1
            excess -= 1
    return [[_fold(cell, room) for cell, room in zip(row, widths, strict=True)] for row in cells]


def _lines(cell: str) -> list[str]:
    return cell.splitlines() or [""]


def _fold(cell: str, room: int) -> str:
    lines = [textwrap.fill(line, room, break_on_hyphens=False) for line in _lines(cell)]
    return "\n".join(lines)
