"""Where each key and item of a TOML text stands.

The locator reads the structure of the text and nothing else: it takes at least
all that TOML allows, and leaves it to ``tomllib`` to say what is valid.  It runs
first, because it holds two bounds that a parser needs for its own safety: how
deep tables and lists lie in each other, and how long one number may be.  At the
first thing that it cannot read it stops; ``tomllib`` refuses the text there or
earlier.
"""

from __future__ import annotations

import contextlib
import re
import tomllib
from bisect import bisect_right
from typing import NoReturn, TypeAlias

Path: TypeAlias = tuple[str | int, ...]

#: How many tables and lists may lie in each other below the document itself.
NESTING_LIMIT = 60

#: The longest value without quotes, in characters.  Even in base 16 such a number
#: has fewer than 640 decimal digits, the lowest limit that Python lets anyone set.
BARE_LENGTH_LIMIT = 500

_BASIC = r'"(?!"")(?:[^"\\\n]++|\\[^\n])*"'
_LITERAL = r"'(?!'')[^'\n]*+'"
_BASIC_LINES = r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}(?!"))*"{3,5}'
_LITERAL_LINES = r"'''(?:[^']++|'{1,2}(?!'))*'{3,5}"
_BARE_PIECE = r"""[^\s,=#"'\[\]{}]++"""
_GAP = r"(?:[ \t\n]++|#[^\n]*+)*"

_gap = re.compile(_GAP)
_separator = re.compile(rf"{_GAP}(,?){_GAP}")
_statement_end = re.compile(rf"[ \t]*+(?:#[^\n]*+)?(?:\n{_GAP}|\Z)")
_key_part = re.compile(
    r"""[ \t]*+(?:([A-Za-z0-9_-]++)|"((?:[^"\\\n]++|\\[^\n])*)"|'([^'\n]*+)')[ \t]*+([.=\]]?+)"""
)
# A date and its time of day may stand apart by one space.
_value = re.compile(
    rf"{_BASIC}|{_BASIC_LINES}|{_LITERAL}|{_LITERAL_LINES}"
    rf"|({_BARE_PIECE}(?:[ ]\d\d:{_BARE_PIECE})?)|(\[)|(\{{)"
)
_BARE, _LIST, _INLINE_TABLE = 1, 2, 3


class Table:
    """A table: the offset of its header or first mention, and its keys."""

    __slots__ = ("items", "start")

    def __init__(self, start: int) -> None:
        self.start = start
        self.items: dict[str, Place] = {}


class Array:
    """A list: the offset of its key or first header, and its items."""

    __slots__ = ("items", "start")

    def __init__(self, start: int) -> None:
        self.start = start
        self.items: list[Place] = []


#: A plain value is its offset alone.
Place: TypeAlias = int | Table | Array


class PastBoundError(Exception):
    """The text goes past a bound: at which offset, and a message for its author."""

    def __init__(self, offset: int, message: str) -> None:
        super().__init__(message)
        self.offset = offset
        self.message = message


class _CannotReadError(Exception):
    """The text does not go on as TOML does."""


class Positions:
    """The offsets of all keys and items of ``text``, whose line ends are ``\\n``.

    ``root`` is the document; ``stopped`` the offset at which the locator stopped,
    or None at the end of the text; ``opened`` the offsets of the brackets still
    open there; ``met_again`` pairs of offsets: where a key stands, and where it
    or one of its parents was met before.

    Raises PastBoundError when the text goes past a bound.
    """

    def __init__(self, text: str) -> None:
        self.text = text
        self.root = Table(0)
        self.stopped: int | None = None
        self.opened: list[int] = []
        self.met_again: list[tuple[int, int]] = []
        self._line_starts = [0, *(match.end() for match in re.finditer("\n", text))]
        with contextlib.suppress(_CannotReadError):
            self._read_document()

    def line_at(self, offset: int) -> int:
        """The line, counted from 1, of an offset."""
        return bisect_right(self._line_starts, offset)

    def offset_of(self, line: int, column: int) -> int:
        """The offset of a line and a column, both counted from 1."""
        return self._line_starts[line - 1] + column - 1

    def unclosed(self) -> int:
        """The offset at which a text that ends too early leaves a quote or bracket open.

        Where none is, the offset at which it ends.
        """
        if self.stopped is not None and self.text[self.stopped :].lstrip(" \t")[:1] in {"'", '"'}:
            return self.stopped
        if self.opened:
            return self.opened[-1]
        return len(self.text) if self.stopped is None else self.stopped

    def reach(self, path: Path) -> tuple[int, int]:
        """How many steps of ``path`` exist, and the offset of the last of those."""
        place: Place = self.root
        for reached, step in enumerate(path):
            following: Place | None = None
            if isinstance(place, Table) and isinstance(step, str):
                following = place.items.get(step)
            elif isinstance(place, Array) and isinstance(step, int):
                following = place.items[step] if 0 <= step < len(place.items) else None
            if following is None:
                return reached, _start(place)
            place = following
        return len(path), _start(place)

    def _read_document(self) -> None:
        text, length = self.text, len(self.text)
        table, depth = self.root, 0
        at = _end(_gap, text, 0)
        while at < length:
            if text[at] == "[":
                table, depth, at = self._read_header(at)
            else:
                at = self._read_pair(table, depth, at)
            end = _statement_end.match(text, at)
            if end is None:
                self._stop(at)
            at = end.end()

    def _read_header(self, at: int) -> tuple[Table, int, int]:
        """The table that a header opens, its depth, and where the header ends."""
        brackets = 2 if self.text.startswith("[[", at) else 1
        keys, end = self._read_keys(at + brackets, "]")
        if brackets == 2:
            if not self.text.startswith("]", end):
                self._stop(end)
            end += 1
        table, depth = self._descend(self.root, 0, keys[:-1])
        key, start = keys[-1]
        if brackets == 1:
            table, depth = self._descend(table, depth, keys[-1:])
            table.start = start
            return table, depth, end
        array = table.items.get(key)
        if array is None:
            array = table.items[key] = Array(start)
        else:
            self.met_again.append((start, _start(array)))
        if not isinstance(array, Array):
            self._stop(start)
        depth = self._deeper(self._deeper(depth, start), start)
        table = Table(start)
        array.items.append(table)
        return table, depth, end

    def _read_pair(self, table: Table, depth: int, at: int) -> int:
        """Puts ``key = value`` into the table; returns where the value ends."""
        keys, at = self._read_keys(at, "=")
        if len(keys) > 1:
            table, depth = self._descend(table, depth, keys[:-1])
        key, start = keys[-1]
        if key in table.items:
            self.met_again.append((start, _start(table.items[key])))
        while self.text.startswith((" ", "\t"), at):
            at += 1
        place, at = self._read_value(depth, at, start)
        table.items[key] = place
        return at

    def _read_keys(self, at: int, closing: str) -> tuple[list[tuple[str, int]], int]:
        """A dotted key with the offset of each part, read past the closing sign."""
        keys: list[tuple[str, int]] = []
        sign = "."
        while sign == ".":
            part = _key_part.match(self.text, at)
            if part is None:
                self._stop(at)
            bare, basic, literal, sign = part.groups()
            start = part.start()
            # Before the key is known to be whole: the parser's time grows with its square.
            self._deeper(len(keys) - 1, start)
            if bare is not None:
                keys.append((bare, start))
            elif basic is None:
                keys.append((literal, start))
            else:
                name = _unescape(basic)
                if name is None:
                    self._stop(start)
                keys.append((name, start))
            at = part.end()
        if sign != closing:
            self._stop(at)
        return keys, at

    def _read_value(self, depth: int, at: int, start: int) -> tuple[Place, int]:
        """The value at ``at``, whose key or own first sign stands at ``start``, and its end."""
        value = _value.match(self.text, at)
        if value is None:
            self._stop(at)
        kind = value.lastindex
        if kind is None:
            return start, value.end()
        if kind == _BARE:
            if value.end() - at > BARE_LENGTH_LIMIT:
                raise PastBoundError(
                    at,
                    f"found a value of {value.end() - at} characters without quotes; wanted at "
                    f"most {BARE_LENGTH_LIMIT}; shorten the number, or put text in quotes",
                )
            return start, value.end()
        self.opened.append(at)
        depth = self._deeper(depth, at)
        if kind == _LIST:
            place, at = self._read_list(depth, value.end(), start)
        else:
            place, at = self._read_inline_table(depth, value.end(), start)
        self.opened.pop()
        return place, at

    def _read_list(self, depth: int, at: int, start: int) -> tuple[Place, int]:
        array = Array(start)
        text, items = self.text, array.items
        at = _end(_gap, text, at)
        more = True
        while not text.startswith("]", at):
            if not more:
                self._stop(at)
            place, at = self._read_value(depth, at, at)
            items.append(place)
            between = _separator.match(text, at)
            assert between is not None, "it matches the empty text"
            more = bool(between[1])
            at = between.end()
        return array, at + 1

    def _read_inline_table(self, depth: int, at: int, start: int) -> tuple[Place, int]:
        table = Table(start)
        text = self.text
        at = _end(_gap, text, at)
        more = True
        while not text.startswith("}", at):
            if not more:
                self._stop(at)
            at = self._read_pair(table, depth, at)
            between = _separator.match(text, at)
            assert between is not None, "it matches the empty text"
            more = bool(between[1])
            at = between.end()
        return table, at + 1

    def _descend(self, table: Table, depth: int, keys: list[tuple[str, int]]) -> tuple[Table, int]:
        """The table that ``keys`` lead to from ``table``, made where it is new."""
        for key, start in keys:
            depth = self._deeper(depth, start)
            place = table.items.get(key)
            if place is None:
                place = table.items[key] = Table(start)
            else:
                self.met_again.append((start, _start(place)))
            if isinstance(place, Array):
                depth = self._deeper(depth, start)
                place = place.items[-1] if place.items else None
            if not isinstance(place, Table):
                self._stop(start)
            table = place
        return table, depth

    def _deeper(self, depth: int, at: int) -> int:
        if depth >= NESTING_LIMIT:
            raise PastBoundError(
                at,
                f"found tables or lists nested deeper than {NESTING_LIMIT}; wanted at most "
                f"{NESTING_LIMIT}; take some of the brackets or dots away",
            )
        return depth + 1

    def _stop(self, at: int) -> NoReturn:
        self.stopped = at
        raise _CannotReadError


def _start(place: Place) -> int:
    return place if isinstance(place, int) else place.start


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    """Where a pattern that also matches the empty text ends."""
    match = pattern.match(text, at)
    return at if match is None else match.end()


def _unescape(written: str) -> str | None:
    """What a key in double quotes names, or None where the escapes are not valid."""
    if "\\" not in written:
        return written
    try:
        (key,) = tomllib.loads(f'"{written}" = 0')
    except ValueError:
        return None
    return str(key)
