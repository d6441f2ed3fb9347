"""A switch list as a grid: the matrix as it is drawn, columns across and rows down, or turned."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from simrig.interchange import switch_cells
from simrig.interchange.switch_cells import UNUSED
from simrig.interchange.switch_kept import Listed, Reading, shortened
from simrig.interchange.switch_table import Rows, most
from simrig.profile.addresses import Address


def is_grid(rows: Rows) -> bool:
    """Whether numbers head the columns, and numbers start the lines below."""
    if len(rows) < 2 or len(rows[0][1]) < 3:
        return False
    header = [cell for cell in rows[0][1][1:] if cell and switch_cells.role(cell) != "wire"]
    labels = [switch_cells.label(cell) for cell in header]
    if len(labels) < 2 or not all(labels):
        return False
    numbers = [one[1] for one in labels if one]
    if len(set(numbers)) < len(numbers):
        return False
    below = [cells for _, cells in rows[1:] if cells and cells[0]]
    return sum(switch_cells.label(cells[0]) is not None for cells in below) * 2 > len(below)


def is_bare_grid(rows: Rows) -> bool:
    """Whether it is a grid of names alone, four columns or more, with no heading anywhere."""
    width = len(rows[0][1])
    if width < 4 or len(rows) < 2 or any(len(cells) != width for _, cells in rows):
        return False
    if any(switch_cells.role(cell) for cell in rows[0][1]):
        return False
    texts = [cell for _, cells in rows for cell in cells if cell]
    return not any(
        switch_cells.number(cell) is not None or switch_cells.is_colour(cell) for cell in texts
    )


def read_bare_grid(reading: Reading, rows: Rows) -> None:
    """Read a grid of names alone: counted from the left and from the top, and said to be so."""
    message = "no headings: taken as column 1 at the left and row 1 at the top"
    reading.note(rows[0][0].number, "grid", message)
    reading.layout_assumed = "counted from the left and the top of a list without headings"
    heads = {place: place + 1 for place in range(len(rows[0][1]))}
    texts = [cell for _, cells in rows for cell in cells if cell]
    numbered = most(texts, switch_cells.leading_number)
    for along, (line, cells) in enumerate(rows, 1):
        start = (None, along, "")
        _grid_row(reading, line.number, cells, heads, ("row", start), numbered)


def read_grid(reading: Reading, rows: Rows, mark: str) -> None:
    """Read a grid whose cells are cut already; ``mark`` separated them."""
    header = rows[0][1]
    across = (
        "row"
        if any((one := switch_cells.label(c)) and one[0] == "row" for c in header[1:])
        else "column"
    )
    down = "column" if across == "row" else "row"
    heads: dict[int, int] = {}
    for place, cell in enumerate(header):
        found = switch_cells.label(cell) if place else None
        if found is not None:
            heads[place] = found[1]
            if found[2]:
                reading.wires[across][found[1]] = found[2]
    if not any(
        (one := switch_cells.label(c)) and one[0]
        for _, cells in rows
        for c in cells[:1] + header[1:]
    ):
        reading.note(rows[0][0].number, "grid", "taken as columns across, rows down")
    texts = [
        cell for _, cells in rows[1:] for place, cell in enumerate(cells) if place in heads and cell
    ]
    numbered = most(texts, switch_cells.leading_number)
    seen: dict[int, int] = {}
    for line, cells in rows[1:]:
        while len(cells) > len(header) and not cells[-1]:
            cells.pop()
        if _wires_only(cells, heads):
            for place, number in heads.items():
                if place < len(cells) and cells[place]:
                    reading.wires[across][number] = cells[place].strip("()")
            continue
        # Editors cut tabs off the end of a line; other separators stay.
        short = len(cells) < len(header) and mark != "\t"
        if short or len(cells) > len(header):
            message = f"found {len(cells)} columns; wanted {len(header)}, as in the first line"
            reading.fault(line.number, "columns", message)
            continue
        start = switch_cells.label(cells[0])
        if start is None:
            message = f'found "{shortened(cells[0])}"; wanted the number of the {down} at the start'
            reading.fault(line.number, down, message)
            continue
        if start[1] in seen:
            message = f"{down} {start[1]} stands on line {seen[start[1]]} too; keep one of the two"
            reading.fault(line.number, down, message)
            continue
        seen[start[1]] = line.number
        _grid_row(reading, line.number, cells, heads, (down, start), numbered)


def _grid_row(
    reading: Reading,
    line: int,
    cells: Sequence[str],
    heads: Mapping[int, int],
    start: tuple[str, tuple[str | None, int, str]],
    numbered: bool,
) -> None:
    down, (_, along, wire) = start
    beside = next(
        (c for p, c in enumerate(cells[1:], 1) if p not in heads and switch_cells.is_colour(c)), ""
    )
    if wire or beside:
        reading.wires[down][along] = (wire or beside).strip("()")
    for place, across in heads.items():
        words = cells[place] if place < len(cells) else ""
        cut = switch_cells.leading_number(words) if numbered else None
        number, name = cut or (None, " ".join(words.split()))
        if not name or name.lower() in UNUSED or not (1 <= along <= 64 and 1 <= across <= 64):
            continue
        column, row = (across, along) if down == "row" else (along, across)
        address = Address(column=column, row=row)
        reading.keep(Listed(line=line, name=name, number=number, address=address))


def _wires_only(cells: Sequence[str], heads: Mapping[int, int]) -> bool:
    named = [cells[place] for place in heads if place < len(cells) and cells[place]]
    first = cells[0] if cells else ""
    return (
        bool(named)
        and all(switch_cells.is_colour(cell) for cell in named)
        and (not first or switch_cells.role(first) == "wire")
    )
