"""The text of a TOML file, read, with the line of each of its keys and items."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable
from typing import Any, Final

import attrs

from simrig.errors import Problem, ProfileError
from simrig.profile.positions import PastBoundError, Path, Positions

SIZE_LIMIT: Final = 1 << 20
"""The most bytes that a file may have: 1 MiB."""

_SHOWN = 48
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\Z")

#: How the parser's words begin, and what the author of a file has to do.
_WORDS: Final = (
    (
        "Cannot declare",
        "this table stands in the file already; wanted once; {also}take one of them out",
    ),
    ("Cannot overwrite", "this key is given already; wanted once; {also}take one of them out"),
    ("Duplicate inline", "this key is given already; wanted once; {also}take one of them out"),
    (
        "Cannot mutate immutable",
        "this adds to a table or list that was closed in its own brackets; wanted all of it in one "
        "place; write the keys inside the brackets",
    ),
    (
        "Cannot redefine",
        "this adds to a table that stands elsewhere; wanted all of it in one place; move the key "
        "there",
    ),
    (
        "Expected '=' after a key",
        "no = after the key; wanted key = value; put in the =, or quotes round a key of other "
        "signs than a to z, digits, - and _",
    ),
    (
        "Expected newline",
        "something follows where the line should end; wanted one key = value in a line; start a "
        "new line, put # before a remark, or write a number with a point and no leading zero",
    ),
    (
        "Expected ']",
        "the brackets round the name of a table do not close; wanted [name] or [[name]]"
        "; close them",
    ),
    (
        "Unclosed array",
        "a list does not go on as one; wanted values with commas between, then ]; put "
        "in the comma or the ]",
    ),
    (
        "Unclosed inline",
        "the pairs in braces do not go on; wanted commas between, then }; put in "
        "the comma or the }",
    ),
    ("Unterminated", "a text that is not closed; wanted the same quotes at its end; put them in"),
    ("Expected", "a text that is not closed; wanted the same quotes at its end; put them in"),
    (
        "Unescaped",
        "a \\ that stands for nothing; wanted \\\\ for the sign itself; double it, or use "
        "single quotes",
    ),
    (
        "Invalid hex",
        "a \\u without its digits; wanted four digits after \\u, eight after \\U; put them in",
    ),
    ("Escaped character", "a \\u that names no character; wanted a number of Unicode; look it up"),
    (
        "Illegal character",
        "a sign that may not stand here; wanted a text on one line, without "
        "control signs; close the quotes, or take it out",
    ),
    (
        "Found invalid",
        "a sign that may not stand here; wanted plain text without control signs; take it out",
    ),
    (
        "Invalid initial",
        "no key where one should stand; wanted letters, digits, - or _, or a name "
        "in quotes; put the key in",
    ),
    ("Invalid date", "no such day or time; wanted one of the calendar; mend it"),
    (
        "Invalid statement",
        "neither a key nor a table; wanted key = value or [name]; mend or take out the line",
    ),
    (
        "Invalid value",
        "no value that TOML knows; wanted a number, true, false, a date or text in "
        "quotes; put quotes round text",
    ),
)


@attrs.frozen(kw_only=True)
class Located:
    """A TOML file: what it says, and on which line each part of it stands."""

    file: str
    data: dict[str, Any]
    _positions: Positions = attrs.field(alias="positions", repr=False, eq=False)

    def line(self, path: Path) -> int:
        """Return the line, counted from 1, of the key or item that ``path`` leads to.

        A row of a ``[[table]]`` stands on the line of its header.  Where the path
        does not exist, the line is that of its nearest ancestor; ``()`` is line 1.
        """
        return self._positions.line_at(self._positions.reach(path)[1])


def decode(
    data: bytes,
    file: str,
    *,
    limit: int = SIZE_LIMIT,
    error: Callable[[Iterable[Problem]], Exception] = ProfileError,
) -> str:
    """Return the text of a file: UTF-8, at most ``limit`` bytes, without a byte order mark.

    Raises ``error`` with one Problem: too large, not UTF-8, a NUL, a second
    byte order mark (``locate`` would take it for the first).
    """
    if len(data) > limit:
        raise error(
            [
                Problem(
                    file=file,
                    where="file",
                    message=f"found {len(data)} bytes; wanted at most {limit}; split the file or "
                    "take out what does not belong in it",
                )
            ]
        )
    at = data.find(b"\0")
    message = "found a NUL; wanted plain text; save the file as UTF-8"
    if at < 0:
        try:
            text = data.decode("utf-8-sig")
            if not text.startswith("\ufeff"):
                return text
            at, message = 0, "found two byte order marks; wanted at most one; take one of them out"
        except UnicodeDecodeError as refused:
            # The mark, where there is one, is not counted; it holds no line end.
            at = refused.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
            message = (
                f"found the byte {data[at]:#04x}, which is not UTF-8; wanted plain text; save "
                "the file as UTF-8"
            )
    line = data.count(b"\n", 0, at) + 1
    raise error([Problem(file=file, line=line, where="text", message=message)])


def locate(
    text: str, file: str, *, error: Callable[[Iterable[Problem]], Exception] = ProfileError
) -> Located:
    """Read a TOML text.

    A byte order mark before the first line is dropped.  Raises ``error`` with one
    Problem where the text is not TOML 1.0, or nests tables and lists deeper than
    60, or holds a number of more than 500 signs.
    """
    text = text.removeprefix("\ufeff")
    lines = text.replace("\r\n", "\n")
    rule = "not-toml"
    try:
        positions = Positions(lines)
    except PastBoundError as exceeded:
        line = lines.count("\n", 0, exceeded.offset) + 1
        message, rule = exceeded.message, "past-bound"
    else:
        try:
            # The text as it came: the parser puts line ends right itself, and twice is once too many.
            return Located(file=file, data=tomllib.loads(text), positions=positions)
        except tomllib.TOMLDecodeError as refused:
            line, message = _refusal(str(refused), positions)
    raise error([Problem(file=file, line=line, where="TOML", message=message, rule=rule)])


def _refusal(said: str, positions: Positions) -> tuple[int, str]:
    """The line of the parser's objection, and its words made plain."""
    text = positions.text
    place = _PLACE.search(said)
    if place is not None and place[1] is not None:
        line, column = int(place[1]), int(place[2])
        before = positions.offset_of(line, column)
    else:
        # At the end of the text: what matters is where the open quote or bracket stands.
        line, column = positions.line_at(positions.unclosed()), 1
        before = len(text)
    words = next(
        (words for start, words in _WORDS if said.startswith(start)),
        "what TOML does not allow; wanted key = value, [table] or [[table]]; mend the line",
    )
    earlier = [first for again, first in positions.met_again if again <= before]
    also = f"it stands on line {positions.line_at(earlier[-1])} too: " if earlier else ""
    message = f"found {_shown(text, line, column)}: " + words.replace("{also}", also)
    around = [offset for offset in positions.opened if positions.line_at(offset) < line]
    if around:
        sign, opened = text[around[-1]], positions.line_at(around[-1])
        message += f"; the {sign} of line {opened} is still open here"
    return line, message


def _shown(text: str, line: int, column: int) -> str:
    """The line, or what stands round the column, with signs that cannot be printed spelt out."""
    written = text.split("\n")[line - 1]
    if len(written) > _SHOWN:
        written = written[max(0, min(column - _SHOWN // 2, len(written) - _SHOWN)) :][:_SHOWN]
    return (
        "".join(
            sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii")
            for sign in written.strip(" \t")
        )
        or "an empty line"
    )
