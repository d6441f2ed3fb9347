"""The tokens of a value change dump, by pyvcd, with what its tokenizer leaves open.

It goes on after a malformed statement, notices a file that is cut off, keeps memory
flat, and tells each statement's line.
"""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, Final

from simrig.errors import InputError, Problem
from simrig.interchange.lines import LONGEST_LINE, Faults, MalformedError, lines, shown

if TYPE_CHECKING:
    from vcd.reader import Token

LONGEST_STATEMENT: Final = 65_536
"""Bytes over which one declaration, comment or change may run."""

_TOO_LONG: Final = "statement"
_NEVER_ASCII: Final = bytes(range(128)) + b"\x7f" * 128
_END_OF_FILE: Final = "simrig-end-of-file"
_LAST_LINE: Final = f"\n$comment {_END_OF_FILE} $end\n".encode()


def need_pyvcd(file: str) -> None:
    """Raise InputError, with the line that installs it, where pyvcd is missing."""
    try:
        import vcd.reader  # noqa: F401
    except ImportError as error:
        raise InputError(
            [
                Problem(
                    file=file,
                    where="extra [vcd]",
                    message="value change dumps need the package pyvcd, which is missing;"
                    " install it with: pip install 'simrig[vcd]'",
                )
            ]
        ) from error


def tokens(pieces: Iterable[bytes], faults: Faults) -> Iterator[tuple[int, Token]]:
    """Yield pyvcd's tokens, each with the line on which it starts.

    What is malformed is noted in ``faults``, and reading goes on after it.
    """
    from vcd.reader import TokenKind, VCDParseError, tokenize

    feed = _Feed(pieces)
    complete = False
    while True:
        feed.forget()
        first = 0
        end: tuple[int, int] | None = None
        line = 0
        try:
            for token in tokenize(feed, LONGEST_LINE + 1):
                first = first or feed.since[0][0]
                start, end = token.span
                line = min(first + start.line - 1, feed.last_line)
                feed.taken()
                if token.kind is TokenKind.COMMENT and _END_OF_FILE in str(token.data):
                    complete = str(token.data).strip() == _END_OF_FILE
                    continue
                yield line, token
        except (VCDParseError, MalformedError, ValueError) as error:
            failed = _failed_lines(feed, first, end)
            number, text = feed.since[failed.start]
            if not faults.full:
                feed.hand_out_again(feed.since[failed.stop :])
            if isinstance(error, MalformedError):
                faults.add(number, error.where, error.message)
                if error.where == _TOO_LONG:
                    feed.skip_statement()
            else:
                found = shown(text.decode("ascii", "replace").strip())
                faults.add(
                    min(number, feed.last_line or 1),
                    "VCD",
                    f"cannot read {found}{_reason(error)}; wanted a declaration closed by $end,"
                    " a time such as #120, or a value and its code such as 1!",
                )
        else:
            if not complete:
                faults.add(
                    line or None,
                    "VCD",
                    "the file ends within what begins here; it is cut off: record or copy it again",
                )
            return


class _Feed(io.RawIOBase):
    """A stream that hands out one line at a time, and can hand lines out again."""

    def __init__(self, pieces: Iterable[bytes]) -> None:
        super().__init__()
        self._lines = enumerate(lines(pieces), start=1)
        self._again: deque[tuple[int, bytes]] = deque()
        self._ended = False
        self.last_line = 0
        self.since: list[tuple[int, bytes]] = []
        self._amount = 0

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer with the next line."""
        item = self._next()
        if item is None:
            return 0
        number, line = item
        self.since.append(item)
        self._amount += len(line)
        if len(line) > LONGEST_LINE:
            raise MalformedError(
                "line", f"found more than {LONGEST_LINE} bytes; wanted shorter lines"
            )
        if self._amount > LONGEST_STATEMENT:
            raise MalformedError(
                _TOO_LONG, f"found no $end within {LONGEST_STATEMENT} bytes; wanted one"
            )
        if line is not _LAST_LINE:
            self.last_line = number
        buffer[: len(line)] = line
        return len(line)

    def _next(self) -> tuple[int, bytes] | None:
        if self._again:
            return self._again.popleft()
        for number, line in self._lines:
            # Bytes beyond ASCII are legal in comments only; they end a name.
            return number, line.translate(_NEVER_ASCII)
        if self._ended:
            return None
        self._ended = True
        return self.last_line + 1, _LAST_LINE

    def skip_statement(self) -> None:
        """Leave lines out up to the one that closes a statement."""
        while (item := self._next()) is not None and item[1] is not _LAST_LINE:
            self.last_line = item[0]
            if b"$end" in item[1]:
                return
        self.hand_out_again([item] if item else [])

    def taken(self) -> None:
        """Forget the lines before the one handed out last: their tokens are complete."""
        del self.since[:-1]
        self._amount = 0

    def forget(self) -> None:
        """Forget all lines handed out."""
        self.since.clear()
        self._amount = 0

    def hand_out_again(self, items: Iterable[tuple[int, bytes]]) -> None:
        """Put lines back in front of those to come."""
        self._again.extendleft(reversed(list(items)))


def _reason(error: Exception) -> str:
    """What pyvcd says, without its place and where it says something."""
    reason = str(error).partition(": ")[2]
    return f" ({reason[:80]})" if reason.startswith(("Expected", "Invalid")) else ""


def _failed_lines(feed: _Feed, first: int, end: tuple[int, int] | None) -> range:
    """Return the indices in ``feed.since`` of the lines of the statement that failed."""

    def untaken(at: int) -> bytes:
        """What of a line no token has taken."""
        number, text = feed.since[at]
        if at > 0 or end is None:
            return text
        if first + end[0] - 1 > number:
            return b""  # The last token took the line up to its end.
        # Columns count from 1 on the first line, and from 2 on the others.
        return text[end[1] - (0 if end[0] == 1 else 1) :]

    lines_handed = range(len(feed.since))
    start = next((at for at in lines_handed if untaken(at).strip()), lines_handed[-1])
    stop = start + 1
    if feed.since[start][1].lstrip().startswith(b"$"):
        # A declaration may run over lines, but not into the next one.
        while stop < len(feed.since) and b"$end" not in feed.since[stop - 1][1]:
            if feed.since[stop][1].lstrip().startswith(b"$"):
                break
            stop += 1
    return range(start, stop)
