"""The whole record as JSON or CSV, and back.

Both hold every entry with its number, in one order and one spelling, so that
export, import into an empty record and export again give the same bytes.  JSON:
``{"format": 1, "entries": [...]}``, each entry naming its kind as ``record``.
CSV (RFC 4180): one header, the kind in the first column, a column empty where an
entry has no such value; any spreadsheet reads it.

An import is one entry on the record: all of it is filed, or nothing.  An entry
that is there already, equal in everything, is passed over, so that importing
twice does no harm; one with the same number and other content is refused.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

import attrs

from simrig.errors import InputError, Problem
from simrig.history.columns import columns_of
from simrig.history.records import RECORDS, Unit, problems, record_problems
from simrig.history.store import Store, table_of
from simrig.history.troubles import refusal

FORMAT: Final = 1
KIND: Final = "record"
_BY_NAME: Final = {table_of(record): record for record in RECORDS}
CSV_HEADER: Final = tuple(
    dict.fromkeys([KIND, *(name for record in RECORDS for name, _ in columns_of(record))])
)
_MOST_PROBLEMS: Final = 50


@attrs.frozen(kw_only=True)
class _Incoming:
    """One entry of a file, and where it stands there."""

    record: Any
    line: int | None
    where: str


def plain_entry(record: Any) -> dict[str, Any]:
    """Return an entry as JSON holds it, its kind first."""
    columns = columns_of(type(record))
    return {KIND: table_of(record)} | {
        name: known.plain(getattr(record, name)) for name, known in columns
    }


def plain_entries(store: Store) -> list[dict[str, Any]]:
    """Return every entry of the record, as one state of it."""
    with store.reading():
        return [plain_entry(entry) for record in RECORDS for entry in store.find(record)]


def export_json(store: Store) -> str:
    """Return the whole record as JSON."""
    document = {"format": FORMAT, "entries": plain_entries(store)}
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def export_csv(store: Store) -> str:
    """Return the whole record as CSV, lines ended by CR LF."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(CSV_HEADER)
    with store.reading():
        for record in RECORDS:
            columns = dict(columns_of(record))
            for entry in store.find(record):
                cells = {name: known.text(getattr(entry, name)) for name, known in columns.items()}
                cells[KIND] = table_of(record)
                writer.writerow([cells.get(name, "") for name in CSV_HEADER])
    return text.getvalue()


def import_text(store: Store, text: str, *, file: str) -> tuple[int, int]:
    """File every entry of an export, JSON or CSV; return how many were new and passed over.

    Raises InputError with every fault of the file, and then files nothing.
    """
    text = text.removeprefix("\ufeff")
    found: list[Problem] = []
    if text.lstrip()[:1] in ("{", "["):
        incoming = list(_from_json(text, file, found))
    else:
        incoming = list(_from_csv(text, file, found))
    _stop_at(found)
    with store.writing():
        new, known = _sort_out(store, incoming, file)
        store.execute("PRAGMA defer_foreign_keys = ON")
        for entry in new:
            store.add(entry.record)
    return len(new), known


def _stop_at(found: list[Problem]) -> None:
    if found:
        raise InputError(found[:_MOST_PROBLEMS])


def _from_json(text: str, file: str, found: list[Problem]) -> Iterable[_Incoming]:
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        said = getattr(error, "msg", "nested too deeply")
        message = f"found text that is no JSON ({said}); wanted an export of simrig, whole"
        raise InputError([Problem(file=file, line=line, where="file", message=message)]) from None
    entries = document.get("entries") if isinstance(document, dict) else None
    if not isinstance(entries, list) or document.get("format") != FORMAT:
        raise refusal(
            file,
            f'found no "entries" of "format": {FORMAT}; wanted an export of simrig. '
            "Export the record again with this version",
            where="file",
        )
    for number, entry in enumerate(entries, start=1):
        where = f"entry {number}"
        if not isinstance(entry, dict):
            message = "found no mapping; wanted an entry"
            found.append(Problem(file=file, where=where, message=message))
            continue
        values = {key: value for key, value in entry.items() if key != KIND}
        yield from _built(entry.get(KIND), values, False, file, None, where, found)


def _from_csv(text: str, file: str, found: list[Problem]) -> Iterable[_Incoming]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    csv.field_size_limit(max(csv.field_size_limit(), 2**24))
    rows = _csv_rows(reader, file, found)
    _, header = next(rows, (1, []))
    if KIND not in header or len(set(header)) != len(header):
        raise refusal(
            file,
            f'found no header with the column "{KIND}", each column once; '
            "wanted an export of simrig. Export the record again",
            where="line 1",
        )
    for line, row in rows:
        if len(row) != len(header):
            message = f"found {len(row)} fields; wanted {len(header)}, as in the header"
            found.append(Problem(file=file, line=line, where="line", message=message))
            continue
        cells = dict(zip(header, row, strict=True))
        kind = cells.pop(KIND)
        # What is empty in a column that the kind does not have is no value.
        own = dict(columns_of(_BY_NAME[kind])) if kind in _BY_NAME else {}
        values = {name: cell for name, cell in cells.items() if cell or name in own}
        yield from _built(kind, values, True, file, line, kind or "line", found)


def _csv_rows(reader: Any, file: str, found: list[Problem]) -> Any:
    line = 1
    try:
        for row in reader:
            if row:
                yield line, row
            line = reader.line_num + 1
    except csv.Error as error:
        message = f"found text that is no CSV ({error}); wanted an export of simrig, whole"
        found.append(Problem(file=file, line=line, where="line", message=message))


def _built(
    kind: Any,
    values: Mapping[str, Any],
    texts: bool,
    file: str,
    line: int | None,
    where: str,
    found: list[Problem],
) -> Iterable[_Incoming]:
    """Yield the entry of the values of one row, or note every fault in them."""
    record = _BY_NAME.get(kind) if isinstance(kind, str) else None
    if record is None:
        wanted = ", ".join(_BY_NAME)
        message = f"found the kind of entry {kind!r}; wanted one of {wanted}"
        found.append(Problem(file=file, line=line, where=where, message=message))
        return
    columns = dict(columns_of(record))
    faults: list[tuple[str, str]] = [
        (name, f"found a column that {kind} does not have; wanted {', '.join(columns)}")
        for name in values
        if name not in columns
    ]
    made: dict[str, Any] = {}
    for name, known in columns.items():
        if name not in values:
            continue
        try:
            value = values[name]
            made[name] = known.from_text(value) if texts else known.from_plain(value)
        except ValueError as error:
            faults.append((name, str(error)))
    faults += [
        fault
        for fault in record_problems(record, made)
        if fault[0] not in {name for name, _ in faults}
    ]
    if made.get("id") is None and "id" not in {name for name, _ in faults}:
        faults.append(("id", "found nothing; wanted the number of the entry"))
    if not faults:
        try:
            yield _Incoming(record=record(**made), line=line, where=where)
            return
        except ValueError as error:
            name, _, message = str(error).partition(": ")
            faults.append((name, message))
    found.extend(problems(faults, file=file, where=where, line=line))


def _sort_out(store: Store, incoming: list[_Incoming], file: str) -> tuple[list[_Incoming], int]:
    """Return the entries that are new and how many are known; raises InputError for
    contradictions."""
    found: list[Problem] = []
    new: list[_Incoming] = []
    numbers: dict[str, set[int]] = {}
    units: dict[tuple[str, str], int] = {}
    record: Any
    for name, record in _BY_NAME.items():
        stored: dict[int, Any] = {entry.id: entry for entry in store.find(record)}
        numbers[name] = set(stored)
        if record is Unit:
            units = {(unit.machine, unit.serial): unit.id for unit in stored.values()}
        for entry in incoming:
            if not isinstance(entry.record, record):
                continue
            number = entry.record.id
            if stored.get(number) == entry.record:
                continue
            if number in numbers[name]:
                message = (
                    f"found another {name.replace('_', ' ')} with the number {number} on record "
                    "or in this file; wanted a number once. Import it into an empty record"
                )
                found.append(_problem(file, entry, "id", message))
                continue
            numbers[name].add(number)
            new.append(entry)
    for entry in new:
        found += _strays(entry, numbers, units, file)
    _stop_at(found)
    return new, len(incoming) - len(new)


def _strays(
    entry: _Incoming,
    numbers: Mapping[str, set[int]],
    units: dict[tuple[str, str], int],
    file: str,
) -> list[Problem]:
    """Return what an entry refers to in vain, and a unit that is there under another number."""
    found = []
    for name, known in columns_of(type(entry.record)):
        value = getattr(entry.record, name)
        if known.refers and value is not None and value not in numbers[known.refers]:
            kind = known.refers.replace("_", " ")
            message = f"found {kind} {value}, neither in the file nor on record; wanted one"
            found.append(_problem(file, entry, name, message))
    if isinstance(entry.record, Unit):
        key = (entry.record.machine, entry.record.serial)
        other = units.setdefault(key, entry.record.id or 0)
        if other != entry.record.id:
            message = f"found a unit that is there as number {other}; wanted it once"
            found.append(_problem(file, entry, "serial", message))
    return found


def _problem(file: str, entry: _Incoming, name: str, message: str) -> Problem:
    return Problem(file=file, line=entry.line, where=f"{entry.where}.{name}", message=message)
