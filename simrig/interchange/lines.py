"""Reading a file that may be of any length, and broken anywhere.

Pieces come in and lines go out, one at a time, and problems are collected up to a
bound, so that memory stays flat however long the file is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from simrig.errors import InputError, Problem

LONGEST_LINE: Final = 16_384
"""Bytes that a line may have, its line feed among them."""

MOST_PROBLEMS: Final = 50
"""Problems that are told one by one; the rest is counted."""

BYTE_ORDER_MARK: Final = b"\xef\xbb\xbf"


class MalformedError(Exception):
    """One thing in a line cannot be read: where in it, and a message for a Problem."""

    def __init__(self, where: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        self.message = message


def lines(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """Cut pieces, which may end anywhere, into lines, each with its line feed.

    A mark of UTF-8 at the start is dropped.  Of a line that is too long come the
    first ``LONGEST_LINE + 1`` bytes.
    """
    kept = b""
    first = True
    for piece in pieces:
        kept += piece
        if first and len(kept) >= len(BYTE_ORDER_MARK):
            kept = kept.removeprefix(BYTE_ORDER_MARK)
            first = False
        if b"\n" in piece:
            *whole, kept = kept.split(b"\n")
            for line in whole:
                yield (line + b"\n")[: LONGEST_LINE + 1]
        if len(kept) > 2 * LONGEST_LINE:
            kept = kept[: LONGEST_LINE + 1]
    if first:
        kept = kept.removeprefix(BYTE_ORDER_MARK)
    if kept:
        yield kept[: LONGEST_LINE + 1]


class Faults:
    """The problems of one file: the first ones kept, the rest counted."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._kept: list[Problem] = []

    @property
    def full(self) -> bool:
        """Whether further problems are only counted."""
        return self.count >= MOST_PROBLEMS

    def add(self, line: int | None, where: str, message: str) -> None:
        """Note a problem; one of the whole file is told at its first line."""
        if not self.full:
            line = 1 if line is None else line
            self._kept.append(Problem(file=self.file, line=line, where=where, message=message))
        self.count += 1

    def all(self) -> tuple[Problem, ...]:
        """Return all that was noted: the first ones, and how many more there are."""
        problems = list(self._kept)
        if more := self.count - len(problems):
            message = f"and {more} more; mend these first, then read it again"
            line = problems[-1].line
            problems.append(Problem(file=self.file, line=line, where="log", message=message))
        return tuple(problems)

    def raise_any(self) -> None:
        """Raise InputError with all that was noted, if anything was."""
        if problems := self.all():
            raise InputError(problems)


def shown(text: str) -> str:
    """Return what was found, short enough for a message."""
    return repr(text if len(text) <= 40 else text[:37] + "...")
