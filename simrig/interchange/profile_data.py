"""A profile, or any table of keys, as plain data: what its file says and nothing more."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any

import attrs

from simrig.interchange.toml_writer import in_order
from simrig.profile.keys import Key, attribute_of


def stated(table: Any, *, defaults: bool = False) -> dict[str, Any]:
    """Return a table of keys as a file would state it, keys by their names in the file.

    Unknown facts are left out, and so are values that a key has when it is left
    out, unless ``defaults``.
    """
    found = {}
    fields = attrs.fields_dict(type(table))
    for name, key in in_order(type(table)):
        value = getattr(table, attribute_of(name))
        default = fields[attribute_of(name)].default
        if value is None or (key.shape == "tables" and not value):
            continue
        if not defaults and not key.required and value == default:
            continue
        found[name] = _value(key, value, defaults)
    return found


def _value(key: Key, value: Any, defaults: bool) -> Any:
    if key.shape == "tables":
        return [stated(row, defaults=defaults) for row in value]
    if key.shape == "table":
        return stated(value, defaults=defaults)
    return thawed(value)


def thawed(value: Any) -> Any:
    """Return a value with its tuples as lists, as a file gives them."""
    if isinstance(value, Mapping):
        return {name: thawed(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [thawed(member) for member in value]
    return value


def plain(table: Any) -> dict[str, Any]:
    """Return a table of keys as a JSON document: days as text, values left out filled in."""
    found: dict[str, Any] = plain_value(stated(table, defaults=True))
    return found


def plain_value(value: Any) -> Any:
    """Return a value as JSON has it: lists for tuples, days as text."""
    if isinstance(value, Mapping):
        return {name: plain_value(member) for name, member in value.items()}
    if isinstance(value, list | tuple):
        return [plain_value(member) for member in value]
    return value.isoformat() if isinstance(value, datetime.date) else value
