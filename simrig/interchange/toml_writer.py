"""A profile as the text of a profile file, as clean as one written by hand.

Sections stand in reading order, keys in the order of the key tables, each
section of rows under a heading in words.  What is unknown is left out, and so is
a key that only repeats its default.  ``read(written(profile))`` is the profile.
"""

from __future__ import annotations

import datetime
import math
import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

import attrs

from simrig.profile.keys import Key, Stated, attribute_of, keys_of
from simrig.profile.machine import Profile

WIDTH: Final = 100
"""Signs of a line beyond which a list is written over several."""

_RULER: Final = "# " + "-" * 76
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+\Z")
_ESCAPES: Final = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r",
                   '"': '\\"', "\\": "\\\\"}  # fmt: skip
_WITH_HEADING: Final = frozenset(("balls", "matrix"))


def written(profile: Profile) -> str:
    """Return the whole profile file, with ``\\n`` at the end of each line."""
    plain, sections = [], []
    for name, key in in_order(Profile):
        value = getattr(profile, attribute_of(name))
        if value is None or value == ():
            continue
        if key.shape in ("table", "tables", "mapping") and name != "assumed":
            sections.append("\n".join(_section(name, key, value)))
        else:
            plain.append(pair(name, value))
    return "\n\n".join(["\n".join(plain), *sections]) + "\n"


def in_order(rows: type[Any]) -> Iterator[tuple[str, Key]]:
    """Yield the keys of a table in the order in which they are written: where from, last."""
    known = keys_of(rows)
    last = keys_of(Stated) if issubclass(rows, Stated) else {}
    yield from ((name, key) for name, key in known.items() if name not in last)
    yield from ((name, known[name]) for name in last)


def heading(words: str) -> str:
    """Return the comment lines that stand above a section."""
    return f"{_RULER}\n# {words[:1].upper()}{words[1:]}\n{_RULER}"


def section_heading(name: str) -> str:
    """Return the heading of a top-level section by the name of its table; empty for small ones."""
    key = keys_of(Profile)[name]
    return heading(key.meaning) if key.shape == "tables" or name in _WITH_HEADING else ""


def row_text(header: str, row: Any) -> str:
    """Return one table: its header, such as ``[[place]]``, its keys and the tables below it."""
    return "\n".join(_row(header, row))


def mapping_text(name: str, members: Mapping[str, Any]) -> str:
    """Return a top-level table of pairs, such as ``[priors]``, under what it means."""
    words = keys_of(Profile)[name].meaning
    lines = textwrap.wrap(f"{words[:1].upper()}{words[1:]}.", 76)
    pairs = [pair(one, member) for one, member in members.items()]
    return "\n".join([*(f"# {line}" for line in lines), f"[{name}]", *pairs])


def pair(name: str, value: Any) -> str:
    """Return ``name = value``, over several lines where a list is long."""
    start = f"{key_text(name)} = "
    line = start + value_text(value)
    if len(line) <= WIDTH or not isinstance(value, list | tuple):
        return line
    members = "".join(f"    {value_text(member)},\n" for member in value)
    return f"{start}[\n{members}]"


def key_text(name: str) -> str:
    """Return a key, in quotes where TOML wants them."""
    return name if _BARE_KEY.match(name) else value_text(name)


def value_text(value: Any) -> str:
    """Return a value on one line.

    Raises TypeError for what TOML cannot hold, ValueError for a number that is not finite.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(_sign(sign) for sign in value) + '"'
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value} is not a finite number")
        return _number(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key_text(name)} = {value_text(one)}" for name, one in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_text(one) for one in value) + "]"
    raise TypeError(f"TOML holds no {type(value).__name__}")


def _sign(sign: str) -> str:
    if sign in _ESCAPES:
        return _ESCAPES[sign]
    if not sign.isprintable():
        return f"\\u{ord(sign):04X}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08X}"
    return sign


def _number(value: float) -> str:
    # TOML wants a digit on both sides of the point, also before an exponent.
    text = repr(value)
    mantissa, mark, exponent = text.partition("e")
    return text if "." in mantissa or not mark else f"{mantissa}.0e{exponent}"


def _section(name: str, key: Key, value: Any) -> Iterator[str]:
    if words := section_heading(name):
        yield words
        yield ""
    if key.shape == "tables":
        yield "\n\n".join(row_text(f"[[{name}]]", row) for row in value)
    elif key.shape == "table":
        yield row_text(f"[{name}]", value)
    else:
        yield mapping_text(name, value)


def _row(header: str, row: Any) -> Iterator[str]:
    yield header
    below: list[tuple[str, Iterable[Any]]] = []
    defaults = {field.name: field.default for field in attrs.fields(type(row))}
    for name, key in in_order(type(row)):
        value = getattr(row, attribute_of(name))
        if value is None or value == () == defaults[attribute_of(name)]:
            continue
        if key.shape == "tables":
            below.append((name, value))
        elif value != defaults[attribute_of(name)] or isinstance(value, tuple):
            yield pair(name, value)
    for name, rows in below:
        inner = f"[[{header.strip('[]')}.{name}]]"
        for one in rows:
            yield ""
            yield from _row(inner, one)
