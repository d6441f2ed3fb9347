"""The columns of the shop's record: what a value may be, and how it is written down.

Each attribute of a record class carries one :class:`Column`.  The check when a
record is made, the cells of the database, the values of the JSON export, the
texts of the CSV export and the import all follow from it, so that nothing about
a column is written twice.

Every value has one *plain* form, which JSON can hold.  A database cell and a
CSV text are made from the plain form and give it back.
"""

from __future__ import annotations

import datetime
import json
import math
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any, Final

import attrs

_COLUMN: Final = "simrig column"
LONGEST_TEXT: Final = 10_000
LARGEST_NUMBER: Final = 10**12
_DEEPEST: Final = 12

Cell = int | float | str | None


def canonical(value: Any) -> str:
    """Return the one JSON text of a value: sorted keys, no spaces, no escapes but the needed."""
    return json.dumps(
        value,
        sort_keys=True,
        ensure_ascii=False,
        separators=(",", ":"),
        allow_nan=False,
        default=dict,
    )


def thaw(value: Any) -> Any:
    """Return a frozen JSON value as dicts and lists again."""
    if isinstance(value, Mapping):
        return {key: thaw(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [thaw(item) for item in value]
    return value


def freeze(value: Any) -> Any:
    """Return a JSON value with read-only mappings and tuples."""
    if isinstance(value, Mapping):
        return MappingProxyType({key: freeze(item) for key, item in value.items()})
    if isinstance(value, tuple | list):
        return tuple(freeze(item) for item in value)
    return value


def text_problem(text: str, *, lines: bool) -> str | None:
    """Say what is wrong with a text, or None: too long, or a character that is no text."""
    if len(text) > LONGEST_TEXT:
        return f"found {len(text)} characters; wanted at most {LONGEST_TEXT}"
    allowed = "\n\t" if lines else ""
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cs") and character not in allowed:
            return f"found the control character {character!r}; wanted text without it"
    return None


def _json_problem(value: Any, depth: int = 0) -> str | None:
    if depth > _DEEPEST:
        return f"found a value nested deeper than {_DEEPEST} levels; wanted a flatter one"
    if isinstance(value, str):
        return text_problem(value, lines=True)
    if isinstance(value, bool) or value is None:
        return None
    if isinstance(value, int | float):
        return None if _is_number(value) else f"found {value!r}; wanted a finite number"
    if isinstance(value, Mapping):
        for key, item in value.items():
            if not isinstance(key, str):
                return f"found the key {key!r}; wanted text as a key"
            problem = text_problem(key, lines=False) or _json_problem(item, depth + 1)
            if problem:
                return problem
        return None
    if isinstance(value, tuple | list):
        return next(filter(None, (_json_problem(item, depth + 1) for item in value)), None)
    return f"found {type(value).__name__}; wanted text, a number, true, false, a list or a mapping"


def _is_number(value: Any) -> bool:
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and math.isfinite(value)
        and abs(value) <= LARGEST_NUMBER
    )


def _is_count(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LARGEST_NUMBER


def _is_time(value: Any) -> bool:
    return isinstance(value, datetime.datetime) and value.tzinfo is datetime.UTC


def _is_day(value: Any) -> bool:
    return isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)


def _normal_text(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    return value.replace("\r\n", "\n").replace("\r", "\n").strip()


def person(name: str) -> str:
    """Return the one spelling of a person's initials, so that forgetting finds every entry."""
    return " ".join(name.split()).upper()


def _normal_initials(value: Any) -> Any:
    return person(value) if isinstance(value, str) else value


def _normal_time(value: Any) -> Any:
    if not isinstance(value, datetime.datetime) or value.tzinfo is None:
        return value
    try:
        return value.astimezone(datetime.UTC).replace(microsecond=0)
    except OverflowError:
        return value


def _time_of(plain: Any) -> datetime.datetime:
    found = datetime.datetime.fromisoformat(plain)
    if found.tzinfo is None:
        raise ValueError("no offset from UTC")
    return found


@attrs.frozen(kw_only=True)
class Shape:
    """One kind of value: how it is brought to its one spelling, checked and written.

    ``accepts`` says whether a normal value holds; ``plain`` and ``value`` go to
    and from the plain form, and ``value`` may raise ValueError or TypeError.
    """

    wanted: str
    normal: Callable[[Any], Any] = lambda value: value
    accepts: Callable[[Any], bool]
    plain: Callable[[Any], Any] = lambda value: value
    value: Callable[[Any], Any] = lambda plain: plain


SHAPES: Final[Mapping[str, Shape]] = {
    "id": Shape(wanted="a whole number of 1 or more", accepts=lambda v: _is_count(v) and v > 0),
    "count": Shape(wanted="a whole number of 0 or more", accepts=_is_count),
    "minutes": Shape(
        wanted="a number of 0 or more",
        normal=lambda v: float(v) if _is_number(v) else v,
        accepts=lambda v: _is_number(v) and v >= 0,
    ),
    "flag": Shape(wanted="true or false", accepts=lambda v: isinstance(v, bool)),
    "name": Shape(
        wanted="one line of text",
        normal=_normal_text,
        accepts=lambda v: isinstance(v, str) and bool(v),
    ),
    "word": Shape(
        wanted="one line of text, or none",
        normal=_normal_text,
        accepts=lambda v: isinstance(v, str),
    ),
    "text": Shape(wanted="text", normal=_normal_text, accepts=lambda v: isinstance(v, str)),
    "initials": Shape(
        wanted="initials",
        normal=_normal_initials,
        accepts=lambda v: isinstance(v, str) and len(v) <= 40,
    ),
    "time": Shape(
        wanted="a time with its offset from UTC, such as 2026-01-31T10:00:00Z",
        normal=_normal_time,
        accepts=_is_time,
        plain=lambda v: v.strftime("%Y-%m-%dT%H:%M:%SZ").rjust(20, "0"),
        value=_time_of,
    ),
    "day": Shape(
        wanted="a date such as 2026-01-31",
        accepts=_is_day,
        plain=lambda v: v.isoformat(),
        value=datetime.date.fromisoformat,
    ),
    "json": Shape(
        wanted="a value that JSON can hold",
        normal=freeze,
        accepts=lambda v: _json_problem(v) is None,
        plain=thaw,
    ),
}
_TEXTS: Final = {"name": False, "word": False, "initials": False, "text": True}


@attrs.frozen(kw_only=True)
class Column:
    """One column: its shape, whether it may be empty, and what it means.

    ``choices`` are the only words allowed, where there are any; ``refers`` names
    the table whose id it holds; ``prose`` marks free text, in which people may
    have been named.
    """

    shape: str = attrs.field(validator=attrs.validators.in_(SHAPES))
    meaning: str
    optional: bool = False
    choices: tuple[str, ...] = ()
    refers: str = ""
    prose: bool = False

    def normal(self, value: Any) -> Any:
        """Return the one spelling of a value; what cannot be one is left for ``problem``."""
        return None if value is None else SHAPES[self.shape].normal(value)

    def problem(self, value: Any) -> str | None:
        """Say what was found and what is wanted, or None where the value holds."""
        shape = SHAPES[self.shape]
        if value is None:
            return None if self.optional else f"found nothing; wanted {shape.wanted}"
        if not shape.accepts(value):
            if self.shape == "json":
                return _json_problem(value)
            return f"found {_shown(value)}; wanted {shape.wanted}"
        if self.choices and value not in self.choices:
            wanted = " or ".join(f'"{choice}"' for choice in self.choices)
            return f"found {_shown(value)}; wanted {wanted}"
        if self.shape in _TEXTS:
            return text_problem(value, lines=_TEXTS[self.shape])
        return None

    def plain(self, value: Any) -> Any:
        """Return the form that JSON holds."""
        return None if value is None else SHAPES[self.shape].plain(value)

    def from_plain(self, plain: Any) -> Any:
        """Return the value of a plain form; raises ValueError with what is wanted."""
        if plain is None:
            return None
        try:
            return SHAPES[self.shape].value(plain)
        except (ValueError, TypeError):
            wanted = SHAPES[self.shape].wanted
            raise ValueError(f"found {_shown(plain)}; wanted {wanted}") from None

    def cell(self, value: Any) -> Cell:
        """Return what the database holds."""
        if value is None:
            return None
        if self.shape == "json":
            return canonical(value)
        plain = SHAPES[self.shape].plain(value)
        return int(plain) if self.shape == "flag" else plain

    def from_cell(self, cell: Cell) -> Any:
        """Return the value of a cell; raises ValueError with what is wanted."""
        if cell is None:
            return None
        if self.shape == "flag" and cell in (0, 1):
            return bool(cell)
        if self.shape == "json":
            return self._parsed(cell)
        return self.from_plain(cell)

    def text(self, value: Any) -> str:
        """Return what a field of the CSV export holds; an absent value is empty."""
        if value is None:
            return ""
        if self.shape == "flag":
            return "true" if value else "false"
        return str(self.cell(value))

    def from_text(self, text: str) -> Any:
        """Return the value of a CSV field; raises ValueError with what is wanted."""
        if self.shape in _TEXTS:
            return text
        if text == "":
            return None
        wanted = f"found {_shown(text)}; wanted {SHAPES[self.shape].wanted}"
        if self.shape == "flag":
            if text not in ("true", "false"):
                raise ValueError(wanted)
            return text == "true"
        if self.shape == "json":
            return self._parsed(text)
        if self.shape in ("id", "count", "minutes"):
            try:
                return float(text) if self.shape == "minutes" else int(text)
            except ValueError:
                raise ValueError(wanted) from None
        return self.from_plain(text)

    def _parsed(self, text: Any) -> Any:
        try:
            return json.loads(text)
        except (ValueError, TypeError, RecursionError):
            raise ValueError(f"found {_shown(text)}; wanted a JSON text") from None


def _shown(value: Any) -> str:
    shown = f'"{value}"' if isinstance(value, str) else repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def column(
    shape: str,
    meaning: str,
    *,
    default: Any = attrs.NOTHING,
    choices: tuple[str, ...] = (),
    refers: str = "",
    prose: bool = False,
) -> Any:
    """Return the attribute of a record class; a default of None makes the column optional."""
    made = Column(
        shape=shape,
        meaning=meaning,
        optional=default is None,
        choices=choices,
        refers=refers,
        prose=prose,
    )
    return attrs.field(
        default=freeze(default) if shape == "json" else default,
        converter=made.normal,
        validator=_check,
        metadata={_COLUMN: made},
    )


def _check(_: object, attribute: attrs.Attribute[Any], value: Any) -> None:
    problem = attribute.metadata[_COLUMN].problem(value)
    if problem:
        raise ValueError(f"{attribute.name}: {problem}")


def columns_of(record: type[Any]) -> Iterator[tuple[str, Column]]:
    """Yield the names and columns of a record class, in order."""
    for attribute in attrs.fields(record):
        yield attribute.name, attribute.metadata[_COLUMN]
