"""Values and tables written as TOML, the way a person would write them.

Keys stand in the order of the data, plain values before tables; a list that does
not fit into a line has one entry a line.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from simrig.profile.keys import Key, keys_of

WIDTH: Final = 100
"""Columns after which a list is broken into lines."""

_BARE = re.compile(r"[A-Za-z0-9_-]+\Z")
_ESCAPES: Final = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def text(words: str) -> str:
    """Return words in quotes; signs that may not stand there are spelt out."""
    return '"' + "".join(_sign(sign) for sign in words) + '"'


def _sign(sign: str) -> str:
    if sign in _ESCAPES:
        return _ESCAPES[sign]
    if ord(sign) < 0x20 or ord(sign) == 0x7F or (sign != " " and not sign.isprintable()):
        return f"\\u{ord(sign):04x}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08x}"
    return sign


def name(key: str) -> str:
    """Return the name of a key, in quotes where it needs them."""
    return key if _BARE.match(key) else text(key)


def value(found: Any) -> str:
    """Return a value on one line; raises TypeError for what TOML does not know."""
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, str):
        return text(found)
    if isinstance(found, int | float):
        return repr(found)
    if isinstance(found, datetime.date):
        return found.isoformat()
    if isinstance(found, Mapping):
        pairs = ", ".join(f"{name(key)} = {value(member)}" for key, member in found.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(found, list | tuple):
        return "[" + ", ".join(value(member) for member in found) + "]"
    raise TypeError(f"{type(found).__name__} cannot be written as TOML")


def pair(key: str, found: Any) -> str:
    """Return ``key = value``, a long list with one entry a line."""
    line = f"{name(key)} = {value(found)}"
    if len(line) <= WIDTH or not isinstance(found, list | tuple) or not found:
        return line
    entries = "".join(f"    {value(member)},\n" for member in found)
    return f"{name(key)} = [\n{entries}]"


def table(data: Mapping[str, Any], rows: type[Any], *, headings: bool = True) -> str:
    """Return a whole file: ``data``, whose keys the table of keys ``rows`` knows.

    With ``headings`` the meaning of each table stands above its first row as a
    comment.
    """
    return "\n\n".join(_blocks(data, rows, (), headings)) + "\n"


def row(data: Mapping[str, Any], rows: type[Any], header: str) -> str:
    """Return one row under its header, such as ``[[place]]``, and its own tables below it."""
    bare = tuple(header.strip("[]").split("."))
    plain = _pairs(data, keys_of(rows))
    return "\n\n".join(["\n".join([header, *plain]), *_tables(data, rows, bare, False)])


def _blocks(
    data: Mapping[str, Any], rows: type[Any], path: tuple[str, ...], headings: bool
) -> Iterator[str]:
    plain = _pairs(data, keys_of(rows))
    if plain:
        yield "\n".join(plain)
    yield from _tables(data, rows, path, headings)


def _pairs(data: Mapping[str, Any], known: Mapping[str, Key]) -> list[str]:
    return [pair(key, found) for key, found in data.items() if known[key].table is None]


def _tables(
    data: Mapping[str, Any], rows: type[Any], path: tuple[str, ...], headings: bool
) -> Iterator[str]:
    known = keys_of(rows)
    for key, found in data.items():
        definition = known[key]
        if definition.table is None:
            continue
        here = (*path, key)
        dotted = ".".join(name(step) for step in here)
        many = definition.shape == "tables"
        header = f"[[{dotted}]]" if many else f"[{dotted}]"
        for index, member in enumerate(found if many else [found]):
            block = row(member, definition.table, header)
            if headings and index == 0:
                block = f"# {definition.meaning[0].upper()}{definition.meaning[1:]}\n{block}"
            yield block
