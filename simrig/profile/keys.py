"""One table of keys for each part of a file format.

A frozen attrs class *is* the table of keys: each attribute is made by one of
the functions below, which keep the key's type, unit, bounds and meaning in the
attribute's metadata.  The reader, the schema, the documentation of the keys, the
strategies and the mutators all read that metadata, so that nothing about a key
is written twice.  The same check guards the class when it is made by hand.

A key left out is an unknown fact (None).  The word ``none`` says that there is
none, where the key allows it.
"""

from __future__ import annotations

import datetime
import difflib
import keyword
import re
from collections.abc import Iterator, Mapping
from typing import Any, Final

import attrs

NONE: Final = "none"
"""The value of a key that says: there is none of these."""

IDENTIFIER = re.compile(r"[a-z0-9][a-z0-9-]{0,63}\Z")
BALLS = re.compile(r"(rest|(1?[0-9]|20)-(1?[0-9]|20))\Z")
SPOT = re.compile(r"[a-z0-9][a-z0-9-]{0,63}(\.([1-9][0-9]{0,2}|jam|way))?\Z")
MOST_NUMBER: Final = 1e15
BALLS_RANGE: Final = (0, 20)
MOST_STATES: Final = 8
PATTERNS: Final = {"identifier": IDENTIFIER, "spot": SPOT}


@attrs.frozen(kw_only=True)
class Key:
    """What may be written behind one key.

    ``shape`` is text, identifier, spot, integer, number, boolean, date, choice,
    list, mapping, tables or table; ``item`` is the key of a list's or mapping's
    members, ``table`` the class of a table's rows, ``refers`` the name of the
    table whose ids the value must name.
    """

    shape: str
    meaning: str
    unit: str = ""
    required: bool = False
    choices: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    item: Key | None = None
    table: type[Any] | None = None
    refers: str = ""
    most: int | None = None
    reading: bool = False

    def expects(self) -> str:
        """Say in words what is wanted here."""
        wanted = {
            "text": "text in quotes",
            "any text": "text in quotes",
            "identifier": "a name of small letters, digits and hyphens, in quotes",
            "spot": 'a position such as "trough.1", in quotes',
            "integer": "a whole number",
            "number": "a number",
            "boolean": "true or false",
            "date": "a date such as 2026-01-31",
            "choice": " or ".join(f'"{choice}"' for choice in self.choices),
            "list": "a list in square brackets",
            "mapping": "pairs in braces",
            "tables": "a list of tables",
            "table": "a table",
            "balls": 'a number of balls, a range such as "0-2", or "rest"',
            "states": "a state, or a list of states",
        }[self.shape]
        if self.low is not None and self.low == self.high:
            wanted = f"{self.low:g}"
        elif self.low is not None and self.high is not None:
            wanted += f" from {self.low:g} to {self.high:g}"
        if self.words:
            wanted += " or " + " or ".join(f'"{word}"' for word in self.words)
        return wanted + (f" ({self.unit})" if self.unit else "")

    def faults(self, value: Any) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Yield the path below this key and a message for each thing wrong with a value."""
        if isinstance(value, str) and value in self.words:
            return
        if not self._fits(value):
            yield (), f"found {shown(value)}; wanted {self.expects()}"
            return
        if self.shape == "choice" and value not in self.choices:
            near = difflib.get_close_matches(value, self.choices, 1)
            hint = f'; did you mean "{near[0]}"?' if near else ""
            yield (), f"found {shown(value)}; wanted {self.expects()}{hint}"
        elif (self.shape == "identifier" and not IDENTIFIER.match(value)) or (
            self.shape == "spot" and not SPOT.match(value)
        ):
            yield (), f"found {shown(value)}; wanted {self.expects()}"
        elif self.shape == "text" and not value.strip():
            yield (), "found empty text; wanted words, or leave the key out"
        elif self.shape in ("integer", "number") and (
            (self.low is not None and value < self.low)
            or (self.high is not None and value > self.high)
        ):
            yield (), f"found {shown(value)}; wanted {self.expects()}"
        elif self.shape in ("list", "mapping", "tables"):
            yield from self._member_faults(value)

    def _member_faults(self, value: Any) -> Iterator[tuple[tuple[str | int, ...], str]]:
        if self.most is not None and len(value) > self.most:
            yield (), f"found {len(value)} entries; at most {self.most} are allowed; take some out"
        if self.required and not value and self.shape == "list":
            yield (), "found an empty list; wanted at least one entry; put it in"
        if self.item is None:
            return
        members = value.items() if isinstance(value, Mapping) else enumerate(value)
        for step, member in members:
            for path, message in self.item.faults(member):
                yield (step, *path), message

    def _fits(self, value: Any) -> bool:
        if self.shape in ("text", "any text", "identifier", "spot", "choice"):
            return isinstance(value, str)
        if self.shape == "integer":
            return type(value) is int
        if self.shape == "number":
            return type(value) in (int, float) and abs(value) <= MOST_NUMBER
        if self.shape == "boolean":
            return type(value) is bool
        if self.shape == "date":
            return type(value) is datetime.date
        if self.shape == "mapping":
            return isinstance(value, Mapping)
        if self.shape == "table":
            return self.table is not None and isinstance(value, Mapping | self.table)
        if self.shape == "balls":
            if type(value) is int:
                return BALLS_RANGE[0] <= value <= BALLS_RANGE[1]
            return isinstance(value, str) and bool(BALLS.match(value))
        if self.shape == "states":
            return isinstance(value, str) or (
                isinstance(value, list | tuple)
                and 0 < len(value) <= MOST_STATES
                and all(isinstance(state, str) for state in value)
            )
        return isinstance(value, list | tuple)


def shown(value: Any) -> str:
    """Return a value as its writer would recognise it, cut to a readable length."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = '"' + value.encode("unicode_escape").decode("ascii") + '"'
    elif isinstance(value, Mapping):
        return "a table"
    elif isinstance(value, list | tuple):
        return "a list"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _freeze(value: Any) -> Any:
    return tuple(_freeze(member) for member in value) if isinstance(value, list) else value


# One for all: making a converter inspects its function, which costs more than all the rest.
_FREEZING: Final = attrs.Converter(_freeze)
_LISTS: Final = ("list", "tables", "states")


def key(definition: Key, *, default: Any = None) -> Any:
    """Make the attribute of a table class that holds one key.

    A required key has no default.  The class must be a ``Keyed``, which checks
    the value.
    """
    return attrs.field(
        default=attrs.NOTHING if definition.required else default,
        converter=_FREEZING if definition.shape in _LISTS else None,
        metadata={"key": definition},
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Keyed:
    """A table of keys: its values are checked when it is made.

    A wrong one raises ValueError that names class and key, unless validators are
    disabled (``attrs.validators``).  How it compares and
    shows itself stands here once, as compiling that for each of the many tables
    takes longer than reading a machine.
    """

    def __attrs_post_init__(self) -> None:
        if attrs.validators.get_disabled():
            return
        for attribute in attrs.fields(type(self)):
            definition = attribute.metadata.get("key")
            if definition is None:
                continue
            value = getattr(self, attribute.name)
            if value is None and not definition.required:
                continue
            for path, message in definition.faults(value):
                where = ".".join(str(step) for step in (attribute.name, *path))
                raise ValueError(f"{type(self).__name__}.{where}: {message}")

    def _values(self) -> tuple[Any, ...]:
        return tuple([getattr(self, one.name) for one in attrs.fields(type(self)) if one.eq])

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return self._values() == other._values()

    def __hash__(self) -> int:
        return hash((type(self), self._values()))

    def __repr__(self) -> str:
        stated = [
            f"{one.name}={value!r}"
            for one in attrs.fields(type(self))
            if one.repr and (value := getattr(self, one.name)) not in (None, ())
        ]
        return f"{type(self).__name__}({', '.join(stated)})"


def text(meaning: str, *, required: bool = False, words: tuple[str, ...] = ()) -> Any:
    """A key that holds words for people."""
    return key(Key(shape="text", meaning=meaning, required=required, words=words))


def identifier(meaning: str) -> Any:
    """The key that names a row: required."""
    return key(Key(shape="identifier", meaning=meaning, required=True))


def reference(
    meaning: str, table: str, *, required: bool = False, none: bool = False, reading: bool = False
) -> Any:
    """A key that names a row of another table."""
    return key(
        Key(
            shape="identifier",
            meaning=meaning,
            refers=table,
            required=required,
            words=(NONE,) if none else (),
            reading=reading,
        )
    )


def number(meaning: str, unit: str, low: float, high: float, *, words: tuple[str, ...] = ()) -> Any:
    """A key that holds a number with a unit."""
    return key(Key(shape="number", meaning=meaning, unit=unit, low=low, high=high, words=words))


def integer(
    meaning: str,
    low: int,
    high: int,
    *,
    unit: str = "",
    required: bool = False,
    words: tuple[str, ...] = (),
    default: int | None = None,
) -> Any:
    """A key that holds a whole number."""
    definition = Key(
        shape="integer",
        meaning=meaning,
        unit=unit,
        low=low,
        high=high,
        required=required,
        words=words,
    )
    return key(definition, default=default)


def boolean(meaning: str, *, default: bool | None = None) -> Any:
    """A key that holds true or false."""
    return key(Key(shape="boolean", meaning=meaning), default=default)


def date(meaning: str) -> Any:
    """A key that holds a day."""
    return key(Key(shape="date", meaning=meaning))


def choice(
    meaning: str, *choices: str, none: bool = False, required: bool = False, reading: bool = False
) -> Any:
    """A key that holds one of a few words."""
    return key(
        Key(
            shape="choice",
            meaning=meaning,
            choices=choices,
            words=(NONE,) if none else (),
            required=required,
            reading=reading,
        )
    )


def choice_free(meaning: str, *, reading: bool = False) -> Any:
    """A key that holds a word whose choices the same table lists elsewhere."""
    return key(Key(shape="identifier", meaning=meaning, reading=reading))


def sequence(
    meaning: str, item: Key, *, most: int = 600, none: bool = False, reading: bool = False
) -> Any:
    """A key that holds a list."""
    return key(
        Key(
            shape="list",
            meaning=meaning,
            item=item,
            most=most,
            words=(NONE,) if none else (),
            reading=reading,
        )
    )


def mapping(
    meaning: str, item: Key, *, refers: str = "", most: int = 600, reading: bool = False
) -> Any:
    """A key that holds pairs; ``refers`` names the table whose ids stand on the left."""
    return key(
        Key(
            shape="mapping",
            meaning=meaning,
            item=item,
            refers=refers,
            most=most,
            reading=reading,
        )
    )


def table(meaning: str, rows: type[Any]) -> Any:
    """A key that holds one table."""
    return key(Key(shape="table", meaning=meaning, table=rows))


def tables(meaning: str, rows: type[Any], *, most: int = 600) -> Any:
    """A key that holds any number of tables, one a row."""
    return key(Key(shape="tables", meaning=meaning, table=rows, most=most), default=())


def keys_of(rows: type[Any]) -> dict[str, Key]:
    """Return the table of keys that a class stands for, by their names in the file, in order."""
    return {
        attribute.name.rstrip("_"): attribute.metadata["key"]
        for attribute in attrs.fields(rows)
        if "key" in attribute.metadata
    }


def attribute_of(name: str) -> str:
    """Return the Python attribute that holds a key whose name Python reserves."""
    return f"{name}_" if keyword.iskeyword(name) else name


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Stated(Keyed):
    """What every table can say about its own facts: where they come from, what is assumed."""

    source: str | None = text("where these facts were found: manual, meter, by hand")
    dated: datetime.date | None = date("when they were found")
    assumed: Mapping[str, str] | None = mapping(
        "the keys of this table that are assumed, each with the reason in words",
        Key(shape="text", meaning="why it is taken to be so"),
    )

    def assumption(self, name: str) -> str | None:
        """Return why a key of this table is assumed, or None where it is known or unknown."""
        return None if self.assumed is None else self.assumed.get(name)
