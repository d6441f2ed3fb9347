"""The rows of a CSV file (RFC 4180), one at a time, whatever its quotes are worth.

A quote that is never closed would swallow the rest of a file.  Here a row may run
over a few lines only; if it cannot be read, its first line is the problem and the
next ones are read again on their own.
"""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterable, Iterator
from typing import Final

from simrig.interchange.lines import LONGEST_LINE, Faults, MalformedError, lines, shown

ROW_LINES: Final = 20
"""Lines over which one row may run, by line breaks inside quotes."""


def rows(
    pieces: Iterable[bytes], faults: Faults, *, comments: bool = True
) -> Iterator[tuple[int, list[str]]]:
    """Yield the cells of each row, with the line on which the row starts.

    Blank lines are left out, and lines that start with ``#`` if ``comments``.
    The first row decides between semicolon, tab and comma.  Lines that cannot be
    read are noted in ``faults``.
    """
    numbered = enumerate(lines(pieces), start=1)
    again: deque[tuple[int, bytes]] = deque()
    delimiter: str | None = None

    def following() -> tuple[int, bytes] | None:
        return again.popleft() if again else next(numbered, None)

    while (item := following()) is not None:
        number, raw = item
        if number == 1 and raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
            faults.add(1, "log", "found UTF-16; wanted UTF-8: save it again as CSV UTF-8")
            return
        try:
            text = _text(raw)
        except MalformedError as error:
            faults.add(number, error.where, error.message)
            continue
        content = text.strip()
        if not content or (comments and content.startswith("#")):
            continue
        if delimiter is None:
            delimiter = next((mark for mark in ";\t" if mark in content), ",")
        if '"' not in text:
            yield number, text.rstrip("\r\n").split(delimiter)
            continue
        taken: list[tuple[int, bytes]] = []
        try:
            whole = text
            while whole.count('"') % 2 and len(taken) < ROW_LINES:
                more = following()
                if more is None:
                    break
                taken.append(more)
                whole += _text(more[1])
            yield number, _cells(whole.rstrip("\r\n"), delimiter)
        except MalformedError:
            again.extendleft(reversed(taken))
            faults.add(
                number,
                "row",
                f"cannot read {shown(content)}; wanted quotes round a whole cell, closed"
                " again, and doubled inside it",
            )


def _cells(text: str, delimiter: str) -> list[str]:
    try:
        (cells,) = csv.reader([text], delimiter=delimiter, strict=True, skipinitialspace=True)
    except (csv.Error, ValueError) as error:
        raise MalformedError("row", str(error)) from error
    return cells


def _text(raw: bytes) -> str:
    """Return a line as text, with its end."""
    if len(raw) > LONGEST_LINE:
        raise MalformedError(
            "line", f"found more than {LONGEST_LINE} bytes in one line; wanted one row a line"
        )
    try:
        text = raw.decode()
    except UnicodeDecodeError as error:
        raise MalformedError(
            "line",
            f"found byte 0x{raw[error.start]:02x} at column {error.start + 1};"
            " wanted UTF-8: save it again as CSV UTF-8",
        ) from error
    if "\r" in text.rstrip("\r\n") or "\0" in text:
        raise MalformedError(
            "line",
            "found a carriage return or a NUL inside a line; wanted lines of text that end"
            " in LF or CRLF",
        )
    return text
