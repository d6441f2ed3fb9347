"""One machine of a model: its profile with what differs on this unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from simrig.profile.keys import Stated, attribute_of, keys_of
from simrig.profile.machine import Profile
from simrig.profile.naming import listed, near


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
    facts = known[table].table if table in known else None
    single = facts is not None and known[table].shape == "table"
    if facts is None or not key or not (single or row_id):
        raise ValueError(
            f'"{name}" names no fact of the profile; wanted TABLE.ID.KEY, such as '
            "board.trough-board.output_closes, or TABLE.KEY, such as interlock.fitted"
        )
    attribute = attribute_of(table)
    if single:
        row = getattr(profile, attribute)
        if row_id:
            raise ValueError(f'"{name}": there is one {table} only; wanted {table}.KEY')
        if row is None:
            raise ValueError(f'"{name}": the profile has no [{table}]; state it there first')
        table_changed: dict[str, Any] = {attribute: _changed(row, name, key, value)}
        return attrs.evolve(profile, **table_changed)
    rows = getattr(profile, attribute)
    ids = [row.id for row in rows] if "id" in keys_of(facts) else []
    if row_id not in ids:
        hint = near(row_id, ids)
        also = f'did you mean "{hint}"?' if hint else f"it has: {listed(ids) or 'none'}"
        raise ValueError(f'"{name}": the profile has no {table} called "{row_id}"; {also}')
    changed: dict[str, Any] = {
        attribute: tuple(
            _changed(row, name, key, value) if row.id == row_id else row for row in rows
        )
    }
    return attrs.evolve(profile, **changed)


def _changed(row: Any, name: str, key: str, value: Any) -> Any:
    known = keys_of(type(row))
    if key not in known or key == "id":
        others = [one for one in known if one != "id" and one not in keys_of(Stated)]
        hint = near(key, others)
        also = f'did you mean "{hint}"?' if hint else f"known: {', '.join(others)}"
        raise ValueError(f'"{name}": no key that can differ is called "{key}"; {also}')
    if isinstance(value, list):
        value = tuple(value)
    values: dict[str, Any] = {attribute_of(key): value}
    return attrs.evolve(row, **values)
