"""JSON Schema (2020-12) of the file formats, derived from their tables of keys.

A schema describes the document as JSON has it, days as text; editors take it for
TOML files too.  It says what stands behind each key and nothing about how rows
fit together.  What it cannot say, and the reader checks:

- that a name leads to a row, a position or a state that is there, that no name,
  number, address or channel is there twice, that balls add up
  (``simrig.profile.checking``);
- that a key called assumed is stated in the same table;
- that a whole number is written without a point, and that a day is in the calendar.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

from simrig.interchange.toml_writer import in_order
from simrig.profile import keys
from simrig.profile.keys import Key, Stated, keys_of

DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
WORDS_PATTERN: Final = r"\S"
DAY_PATTERN: Final = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"


def schema(rows: type[Any], title: str) -> dict[str, Any]:
    """Return the schema of a file that is one table of these keys."""
    tables: dict[str, type[Any]] = {}
    _collect(rows, tables)
    document = {"$schema": DIALECT, "title": title, **_table(rows)}
    defined = {name: _table(table) for name, table in sorted(tables.items())}
    return {**document, "$defs": defined} if defined else document


def _collect(rows: type[Any], found: dict[str, type[Any]]) -> None:
    for key in keys_of(rows).values():
        if key.table is not None and found.setdefault(key.table.__name__, key.table) is key.table:
            _collect(key.table, found)


def _table(rows: type[Any]) -> dict[str, Any]:
    known = dict(in_order(rows))
    properties = {name: {"description": _meaning(key), **_key(key)} for name, key in known.items()}
    if issubclass(rows, Stated):
        properties["assumed"]["propertyNames"] = {"enum": list(known)}
    document: dict[str, Any] = {"type": "object", "properties": properties}
    required = [name for name, key in known.items() if key.required]
    if required:
        document["required"] = required
    document["additionalProperties"] = False
    return document


def _meaning(key: Key) -> str:
    words = key.meaning[:1].upper() + key.meaning[1:]
    return f"{words} ({key.unit})" if key.unit else words


def _key(key: Key) -> dict[str, Any]:
    shape = dict(SHAPES[key.shape](key))
    if not key.words or (shape.get("type") == "string" and key.shape != "choice"):
        return shape
    if key.shape == "choice":
        return {"enum": [*key.choices, *key.words]}
    return {"anyOf": [shape, {"enum": list(key.words)}]}


def _text(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", "string"
    yield "pattern", WORDS_PATTERN


def _pattern(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", "string"
    yield "pattern", ecma(keys.PATTERNS[key.shape])


def _number(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", key.shape
    bound = None if key.shape == "integer" else keys.MOST_NUMBER
    low = key.low if key.low is not None else bound and -bound
    high = key.high if key.high is not None else bound
    if low is not None:
        yield "minimum", low
    if high is not None:
        yield "maximum", high


def _list(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", "array"
    if key.item is not None:
        yield "items", _key(key.item)
    if key.required:
        yield "minItems", 1
    if key.most is not None:
        yield "maxItems", key.most


def _mapping(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", "object"
    if key.item is not None:
        yield "additionalProperties", _key(key.item)
    if key.most is not None:
        yield "maxProperties", key.most


def _tables(key: Key) -> Iterator[tuple[str, Any]]:
    yield "type", "array"
    yield "items", _reference(key)
    if key.most is not None:
        yield "maxItems", key.most


def _reference(key: Key) -> dict[str, str]:
    assert key.table is not None
    return {"$ref": f"#/$defs/{key.table.__name__}"}


def _balls(key: Key) -> Iterator[tuple[str, Any]]:
    least, most = keys.BALLS_RANGE
    yield (
        "anyOf",
        [
            {"type": "integer", "minimum": least, "maximum": most},
            {"type": "string", "pattern": ecma(keys.BALLS)},
        ],
    )


def _states(key: Key) -> Iterator[tuple[str, Any]]:
    several = {"type": "array", "items": {"type": "string"}, "minItems": 1}
    yield "anyOf", [{"type": "string"}, {**several, "maxItems": keys.MOST_STATES}]


SHAPES: Final[Mapping[str, Any]] = {
    "text": _text,
    "any text": lambda key: [("type", "string")],
    "identifier": _pattern,
    "spot": _pattern,
    "integer": _number,
    "number": _number,
    "boolean": lambda key: [("type", "boolean")],
    "date": lambda key: [("type", "string"), ("format", "date"), ("pattern", DAY_PATTERN)],
    "choice": lambda key: [("enum", list(key.choices))],
    "list": _list,
    "mapping": _mapping,
    "tables": _tables,
    "table": lambda key: _reference(key).items(),
    "balls": _balls,
    "states": _states,
}
"""How each shape of key is said."""


def ecma(pattern: re.Pattern[str]) -> str:
    """Return a pattern in the dialect of JSON Schema (ECMA-262), held to the whole text."""
    inside = pattern.pattern.removesuffix(r"\Z")
    return f"^{inside}$"
