"""A switch list as a table: one switch a line, its facts in columns, with headings or without."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from simrig.interchange import switch_cells
from simrig.interchange.switch_cells import SEPARATORS, UNUSED, Line
from simrig.interchange.switch_kept import Listed, Reading, shortened
from simrig.profile.addresses import Address

_LARGEST_LINE: Final = 64

Rows = Sequence[tuple[Line, list[str]]]


def read_table(reading: Reading, rows: Rows, mark: str) -> None:
    """Read a table whose cells are cut already; ``mark`` separated them."""
    first = rows[0][1]
    named = [switch_cells.role(cell) for cell in first]
    headed = any(named) and not any(
        switch_cells.number(cell) is not None or switch_cells.crossing(cell) for cell in first
    )
    body = list(rows[1:] if headed else rows)
    counts = Counter(len(cells) for _, cells in body)
    width = len(first) if headed else counts.most_common(1)[0][0]
    if headed and width not in counts and counts:
        width = counts.most_common(1)[0][0]
        named = (named + [None] * width)[:width]
    good = []
    for line, cells in body:
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if len(cells) == width:
            if any(cells):
                good.append((line, cells))
            continue
        other = next(
            (
                words
                for sign, words in SEPARATORS.items()
                if sign != mark and len(switch_cells.cells(line.text, sign)) == width
            ),
            None,
        )
        found = (
            f"separated by {other}, the other lines by {SEPARATORS[mark]}; write them alike"
            if other
            else f"found {len(cells)} columns; wanted {width}; put quotes round a cell that holds "
            "the separator, or mend the line"
        )
        reading.fault(line.number, "columns", found)
    names = named if headed else [None] * width
    roles = _roles(reading, rows[0][0].number, names, [cells for _, cells in good])
    for place, role in enumerate(roles):
        if role.startswith("other") and any(cells[place] for _, cells in good):
            heading = f'"{first[place]}"' if headed and place < len(first) else f"{place + 1}"
            message = f"column {heading} is left out: it is no number, name, address or wire"
            reading.note(rows[0][0].number, "columns", message)
    for line, cells in good:
        if one := _listed(reading, line.number, dict(zip(roles, cells, strict=True))):
            reading.keep(one)


def _roles(
    reading: Reading, line: int, named: Sequence[str | None], body: Sequence[Sequence[str]]
) -> list[str]:
    """Return what each column of a table holds: from its heading, else from its cells."""
    width = len(named)
    columns = [[cells[index] for cells in body if cells[index]] for index in range(width)]
    roles: list[str] = []
    for index, (heading, column) in enumerate(zip(named, columns, strict=True)):
        found = heading or _content(column)
        if heading == "name" and most(column, switch_cells.number):
            found = "number"
        if heading is None and found == "name" and "name" in (*named, *roles):
            found = "other"
        if found in roles and found not in ("integer", "other"):
            found = "other"
        roles.append(found if found != "other" else f"other {index + 1}")
    loose = [index for index, found in enumerate(roles) if found == "integer"]
    for index, found in zip(loose, _integers(reading, line, loose, body, roles), strict=True):
        roles[index] = found
    if "number" not in roles and "name" in roles:
        place = roles.index("name")
        if most([cells[place] for cells in body], switch_cells.leading_number):
            roles[place] = "number and name"
    return roles


def _content(column: Sequence[str]) -> str:
    if most(column, switch_cells.number):
        return "integer"
    if most(column, switch_cells.crossing):
        return "address"
    if most(column, lambda cell: switch_cells.is_colour(cell) or None):
        return "wire"
    return "name"


def most(column: Sequence[str], what: Callable[[str], Any]) -> bool:
    """Whether four in five cells are what a function finds something in."""
    return bool(column) and sum(what(cell) is not None for cell in column) * 5 >= len(column) * 4


def _integers(
    reading: Reading,
    line: int,
    loose: Sequence[int],
    body: Sequence[Sequence[str]],
    roles: Sequence[str],
) -> list[str]:
    """Tell numbers, columns and rows apart where no heading does; says so in the notes."""
    if not loose:
        return []
    values = [[switch_cells.number(cells[index]) for cells in body] for index in loose]
    wanted = [name for name in ("number", "column", "row") if name not in roles]
    if len(loose) == 1:
        return wanted[:1] if wanted else [f"other {loose[0] + 1}"]
    repeats = [len(set(column)) < len(column) for column in values]
    if len(loose) == 2 and repeats[0] and {"column", "row"} <= set(wanted):
        reading.note(line, "columns", "no headings: taken as column, then row")
        return ["column", "row"]
    if len(loose) == 3 and not repeats[0] and len(wanted) == 3:
        reading.note(line, "columns", "no headings: taken as number, column, then row")
        return wanted
    if len(loose) == 3 and not repeats[2] and len(wanted) == 3:
        reading.note(line, "columns", "no headings: taken as column, row, then number")
        return ["column", "row", "number"]
    reading.note(line, "columns", "no headings: the first is taken as the number, others left out")
    return ["number" if not place else f"other {index + 1}" for place, index in enumerate(loose)]


def _listed(reading: Reading, line: int, cells: Mapping[str, str]) -> Listed | None:
    name, number, address = cells.get("name", ""), None, None
    if "number and name" in cells:
        cut = switch_cells.leading_number(cells["number and name"])
        if cut is None:
            message = (
                f'found "{shortened(cells["number and name"])}"; wanted its number before the name'
            )
            reading.fault(line, "number", message)
            return None
        number, name = cut
    if name.lower() in UNUSED:
        return None
    if not name:
        reading.fault(line, "name", 'it has no name; write one, or "unused"')
        return None
    wanted = [one for one in ("number", "column", "row") if one in cells]
    found: dict[str, int] = {}
    for one in wanted:
        cell = cells[one]
        given = switch_cells.label(cell) if one != "number" else None
        value = given[1] if given else switch_cells.number(cell)
        if value is None:
            said = f'found "{shortened(cell)}"' if cell else "nothing is there"
            reading.fault(line, one, f"{said}; wanted a whole number")
            return None
        if one != "number" and not 1 <= value <= _LARGEST_LINE:
            reading.fault(line, one, f"found {value}; wanted 1 to {_LARGEST_LINE}")
            return None
        found[one] = value
    if "column" in found and "row" in found:
        address = Address(column=found["column"], row=found["row"])
        for axis in ("column", "row"):
            if wire := cells.get(f"{axis} wire"):
                reading.wires[axis].setdefault(found[axis], wire)
    elif cells.get("address"):
        address = switch_cells.address(cells["address"])
        if address is None:
            message = (
                f'found "{shortened(cells["address"])}"; wanted "column 3 row 4", "direct 5" or an '
                'input board and number such as "node-a 7"'
            )
            reading.fault(line, "address", message)
            return None
    return Listed(
        line=line,
        name=" ".join(name.split()),
        number=found.get("number", number),
        address=address,
        wire=cells.get("wire", ""),
        kind=switch_cells.kind(cells.get("kind", "")),
        connector=cells.get("connector", ""),
        pin=switch_cells.number(cells.get("pin", "")),
    )
