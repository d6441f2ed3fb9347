"""One machine of a model: its profile with what differs on this unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from simrig.profile.keys import attribute_of, keys_of
from simrig.profile.machine import Profile
from simrig.profile.naming import near


def differing(profile: Profile, differences: Mapping[str, Any]) -> Profile:
    """Return the profile with facts replaced: ``TABLE.ID.KEY`` or ``TABLE.KEY`` and a value.

    Raises ValueError, in words, for a key that the profile does not have and for a
    value that it cannot hold.
    """
    for name, value in differences.items():
        profile = _with(profile, name, value)
    return profile


def _with(profile: Profile, name: str, value: Any) -> Profile:
    table, _, rest = name.partition(".")
    row_id, _, key = rest.rpartition(".")
    known = keys_of(Profile)
    if table not in known or not key or known[table].table is None:
        raise ValueError(
            f'"{name}" names no fact of the profile; wanted TABLE.ID.KEY, such as '
            "board.trough-board.output_closes, or TABLE.KEY, such as interlock.fitted"
        )
    attribute = attribute_of(table)
    if known[table].shape == "table":
        row = getattr(profile, attribute)
        if row is None or row_id:
            raise ValueError(f'"{name}": wanted {table}.KEY, and the table in the profile')
        table_changed: dict[str, Any] = {attribute: _changed(row, name, key, value)}
        return attrs.evolve(profile, **table_changed)
    rows = getattr(profile, attribute)
    ids = [getattr(row, "id", None) for row in rows]
    if row_id not in ids:
        hint = near(row_id, [one for one in ids if one])
        also = f'; did you mean "{hint}"?' if hint else ""
        raise ValueError(f'"{name}": the profile has no {table} called "{row_id}"{also}')
    changed: dict[str, Any] = {
        attribute: tuple(
            _changed(row, name, key, value) if row.id == row_id else row for row in rows
        )
    }
    return attrs.evolve(profile, **changed)


def _changed(row: Any, name: str, key: str, value: Any) -> Any:
    known = keys_of(type(row))
    if key not in known or key == "id":
        hint = near(key, [one for one in known if one != "id"])
        also = f'; did you mean "{hint}"?' if hint else ""
        raise ValueError(f'"{name}": no key is called "{key}"{also}')
    if isinstance(value, list):
        value = tuple(value)
    values: dict[str, Any] = {attribute_of(key): value}
    return attrs.evolve(row, **values)
