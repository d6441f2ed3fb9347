"""Tables in plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

_GAP = 2
_ROOM_BESIDE_HEADING = 2


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
    headings = [len(heading) + _ROOM_BESIDE_HEADING for heading in headers]
    columns = list(zip(*cells, strict=True)) or [()] * len(headers)
    widths, words = list(headings), list(headings)
    for place, column in enumerate(columns):
        for cell in column:
            widths[place] = max(widths[place], *(len(line) for line in _lines(cell)))
            words[place] = max(words[place], *(len(word) for word in cell.split() or [""]))
    excess = sum(widths) + _GAP * (len(widths) - 1) - width
    # First between words; where that is not enough, inside them, but never inside a heading.
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
