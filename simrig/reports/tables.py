"""Tables in plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(rows: Iterable[Sequence[object]], headers: Sequence[str]) -> str:
    """Return rows under headings; every cell is shown as it is written.

    Kept apart because tabulate is imported only where a table is printed.
    """
    from tabulate import tabulate

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    return tabulate(cells, headers=list(headers), tablefmt="simple", disable_numparse=True)
