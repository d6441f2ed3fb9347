"""A switch list as a manual, a spreadsheet or a hand gives it: one per line, a table, or a grid.

Every fault is one problem with its line; that line is left out and the others
are kept.  What had to be taken for granted about the layout is said in ``notes``.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Sequence

from simrig.interchange import switch_cells
from simrig.interchange.lines import Faults
from simrig.interchange.switch_cells import UNUSED, Line
from simrig.interchange.switch_grid import is_bare_grid, is_grid, read_bare_grid, read_grid
from simrig.interchange.switch_kept import Listed, Reading, SwitchList, shortened
from simrig.interchange.switch_table import read_table
from simrig.profile.addresses import Address

__all__ = ("Listed", "SwitchList", "identifiers", "read")


def read(data: bytes, file: str) -> SwitchList:
    """Read a switch list; whatever it holds, something is returned and nothing is raised."""
    reading = Reading(file)
    sound = []
    for line in switch_cells.lines(data):
        if line.fault:
            reading.fault(line.number, "line", line.fault)
        else:
            sound.append(line)
            if start := re.match(r"\D{0,3}(\d{1,4})\b", line.text):
                reading.mentioned.setdefault(int(start[1]), line.number)
    mark = None if _typed_addresses(sound) else switch_cells.separator(sound)
    if mark is None:
        _typed(reading, sound)
    else:
        rows = [(line, switch_cells.cells(line.text, mark)) for line in sound]
        while len(rows) > 2 and sum(bool(cell) for cell in rows[0][1]) == 1:
            reading.note(rows[0][0].number, "title", f'"{rows[0][0].text.strip()}" is left out')
            rows.pop(0)
        if is_grid(rows):
            read_grid(reading, rows, mark)
        elif is_bare_grid(rows):
            read_bare_grid(reading, rows)
        else:
            read_table(reading, rows, mark)
    if not reading.kept and not reading.faults:
        message = "no switch is on the list; wanted lines such as 31,trough 1"
        reading.fault(1, "list", message)
    _gaps(reading)
    faults = Faults(file)
    for one in sorted(reading.faults, key=lambda one: one.line or 0):
        faults.add(one.line, one.where, one.message)
    return SwitchList(
        switches=tuple(reading.kept),
        problems=faults.all(),
        notes=tuple(reading.notes),
        column_wires=reading.wires["column"],
        row_wires=reading.wires["row"],
        layout_assumed=reading.layout_assumed,
    )


def identifiers(switches: Sequence[Listed]) -> tuple[str, ...]:
    """Return a stable name for each switch, made from its name; no two are alike."""
    used: set[str] = set()
    found: list[str] = []
    for one in switches:
        plain = unicodedata.normalize("NFKD", one.name).encode("ascii", "ignore").decode()
        base = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:56].strip("-")
        if not base or base.isdigit():
            base = f"switch-{base or one.number or len(found) + 1}"
        name, count = base, 2
        if name in used and one.number is not None:
            name = f"{base}-{one.number}"
        while name in used:
            name, count = f"{base}-{count}", count + 1
        used.add(name)
        found.append(name)
    return tuple(found)


def _typed_addresses(found: Sequence[Line]) -> bool:
    """Whether lines start with an address that no separator cuts off, such as ``col. 3, row 1``."""
    mark = switch_cells.separator(found)
    if mark is not None and any(
        switch_cells.crossing(switch_cells.cells(line.text, mark)[0]) for line in found
    ):
        return False
    located = sum(switch_cells.leading_address(line.text) is not None for line in found)
    return located * 2 > len(found)


def _typed(reading: Reading, found: Sequence[Line]) -> None:
    """One switch a line, with nothing between its parts but spaces or signs."""
    parsed: list[tuple[Line, int | None, Address | None, str]] = []
    for line in found:
        words = " ".join(line.text.split())
        if cut := switch_cells.leading_address(words):
            parsed.append((line, None, *cut))
        elif numbered := switch_cells.leading_number(words):
            parsed.append((line, numbered[0], None, numbered[1]))
        else:
            parsed.append((line, None, None, words))
    located = sum(1 for _, number, address, _ in parsed if number is not None or address)
    for line, number, address, words in parsed:
        if located * 2 > len(parsed) and number is None and address is None:
            if switch_cells.role(words) is None and not _heading_words(words):
                message = (
                    f'found "{shortened(words)}"; wanted its number or address before the name'
                )
                reading.fault(line.number, "number", message)
            continue
        name, wire = switch_cells.trailing_colour(words)
        if name.lower() not in UNUSED:
            reading.keep(
                Listed(line=line.number, name=name, number=number, address=address, wire=wire)
            )


def _heading_words(words: str) -> bool:
    """Whether a line is nothing but headings, such as ``no. name``."""
    return all(switch_cells.role(word) is not None for word in words.split())


def _gaps(reading: Reading) -> None:
    """Say which numbers are left out inside a run; tens begin anew where a manual counts lines."""
    numbers = sorted(one.number for one in reading.kept if one.number is not None)
    line_of = {one.number: one.line for one in reading.kept}
    for one, other in itertools.pairwise(numbers):
        missing = [n for n in range(one + 1, other) if n not in reading.mentioned]
        if missing and one // 10 == other // 10:
            words = ", ".join(str(number) for number in missing)
            verb = "is" if len(missing) == 1 else "are"
            message = f"{words} {verb} not on the list, between {one} and {other}; taken as unused"
            reading.note(line_of[other], "number", message)
