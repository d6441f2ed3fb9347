"""A profile as CSV tables (RFC 4180): one table of all facts, or one for each table of the file.

Lines end in CR LF, the first names the columns, all have the same number of
fields.  Text stands as it is, true and false and days as in JSON, a list or
pairs as JSON text.
"""

from __future__ import annotations

import csv
import datetime
import io
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from simrig.interchange.profile_data import stated
from simrig.interchange.toml_writer import in_order
from simrig.profile.keys import Key
from simrig.profile.machine import Profile

FACTS: Final = ("table", "row", "key", "value", "unit", "state", "reason")
MACHINE: Final = "machine"
"""The name of the table that holds what the file says before its first table."""


def facts(profile: Profile) -> str:
    """Return every stated fact, one a line: where it stands, its value and unit, whether it is
    known or assumed, and why."""
    return _text(FACTS, _facts(profile))


def tables(profile: Profile) -> dict[str, str]:
    """Return one CSV table for each table of the profile that says anything, by its name.

    A column for each key that any row states; the lines of the matrix are
    ``matrix.column`` and ``matrix.row``.
    """
    found = {}
    for name, keys, rows in _tables(profile):
        columns = [key for key in keys if any(key in row for row in rows)]
        found[name] = _text(columns, ([cell(row.get(key)) for key in columns] for row in rows))
    return found


def cell(value: Any) -> str:
    """Return a value as the text of a cell; nothing for an unknown one."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    return value.isoformat() if isinstance(value, datetime.date) else json.dumps(value)


def _facts(profile: Profile) -> Iterator[Sequence[str]]:
    for name, keys, rows in _tables(profile):
        for number, row in enumerate(rows, 1):
            called = str(row.get("id", row.get("number", number)))
            reasons = row.get("assumed", {})
            for key, value in row.items():
                state = "assumed" if key in reasons else "known"
                yield name, called, key, cell(value), keys[key].unit, state, reasons.get(key, "")


def _tables(profile: Profile) -> Iterator[tuple[str, dict[str, Key], list[Mapping[str, Any]]]]:
    yield from _below(MACHINE, Profile, [stated(profile, defaults=True)], "")


def _below(
    name: str, rows: type[Any], data: list[Mapping[str, Any]], prefix: str
) -> Iterator[tuple[str, dict[str, Key], list[Mapping[str, Any]]]]:
    keys = dict(in_order(rows))
    own = {key: definition for key, definition in keys.items() if definition.table is None}
    yield name, own, [{key: row[key] for key in row if key in own} for row in data]
    for key, definition in keys.items():
        if definition.table is None:
            continue
        inside: list[Mapping[str, Any]] = []
        for row in data:
            found = row.get(key, [])
            inside += found if isinstance(found, list) else [found]
        if inside:
            yield from _below(f"{prefix}{key}", definition.table, inside, f"{prefix}{key}.")


def _text(columns: Iterable[str], rows: Iterable[Sequence[str]]) -> str:
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return written.getvalue()
