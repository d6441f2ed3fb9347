"""Profiles as text, with the line of every fact: what faults are planted in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simrig.interchange.profile_data import stated
from simrig.interchange.toml_writer import key_text, value_text
from simrig.profile.keys import keys_of
from simrig.profile.machine import Profile

Path = tuple[str | int, ...]


def document(profile: Profile) -> dict[str, Any]:
    """Return a profile as plain tables that can be changed."""
    return stated(profile)


def written(document: Mapping[str, Any]) -> tuple[str, dict[Path, int]]:
    """Return a profile file, one key a line, and the line of each table, row and key."""
    lines: list[str] = []
    at: dict[Path, int] = {}

    def head(path: Path, form: str) -> None:
        lines.append("")
        at[path] = len(lines) + 1
        lines.append(form.format(".".join(step for step in path if isinstance(step, str))))

    def put(table: Mapping[str, Any], rows: type[Any], path: Path) -> None:
        known = keys_of(rows)
        below = {}
        for name, value in table.items():
            key = known.get(name)
            if key is not None and key.table is not None and isinstance(value, Mapping | list):
                below[name] = (value, key.table)
            else:
                at[(*path, name)] = len(lines) + 1
                lines.append(f"{key_text(name)} = {value_text(value)}")
        for name, (value, rows_of) in below.items():
            if isinstance(value, Mapping):
                head((*path, name), "[{}]")
                put(value, rows_of, (*path, name))
                continue
            for index, row in enumerate(value):
                head((*path, name, index), "[[{}]]")
                put(row, rows_of, (*path, name, index))

    put(document, Profile, ())
    return "\n".join(lines) + "\n", at
