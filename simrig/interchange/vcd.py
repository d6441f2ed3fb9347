"""Value change dumps (IEEE 1364-2005, clause 18): declarations first, then changes.

pyvcd's tokenizer does the reading; this module adds what it leaves open.  It goes
on after a malformed statement, at the line after the one on which it starts; it
notices a file that is cut off; it keeps memory flat; and it polices what the
standard wants of a file as a whole: the number of the timescale, the order of
time, scopes that are closed, values of signals that were declared.
"""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, Final

import attrs

from simrig.errors import InputError, Problem
from simrig.interchange.lines import LONGEST_LINE, Faults, MalformedError, lines, shown

if TYPE_CHECKING:
    from vcd.reader import Token

LONGEST_STATEMENT: Final = 65_536
"""Bytes over which one declaration, comment or change may run."""

MOST_VARIABLES: Final = 10_000
"""Signals that a dump may declare."""

_TOO_LONG: Final = "statement"
_LATEST: Final = 10**18
UNITS: Final = {
    "s": (1000, 1),
    "ms": (1, 1),
    "us": (1, 10**3),
    "ns": (1, 10**6),
    "ps": (1, 10**9),
    "fs": (1, 10**12),
}
"""Each unit in ms, as a ratio."""
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
                    where="VCD",
                    message="value change dumps need the package pyvcd, which is missing;"
                    " install it with: pip install 'simrig[vcd]'",
                )
            ]
        ) from error


@attrs.frozen(kw_only=True)
class Variable:
    """A declared signal: its scopes from the outermost, name, type and width in bits."""

    scope: tuple[str, ...]
    name: str
    kind: str
    size: int
    code: str


@attrs.frozen(kw_only=True)
class Change:
    """A value from a time on: bits such as ``0``, ``x`` or ``10010``, of the signal with a code."""

    ticks: int
    code: str
    value: str
    line: int


class Dump:
    """A value change dump, read as it comes: declarations when made, then its changes.

    ``tick`` is the length of a tick in ms as a ratio, None where the file states
    no timescale; ``variables`` holds the signals of each code, ``version`` the
    text of the program that wrote it.  What is malformed is noted in ``faults``.
    """

    def __init__(self, pieces: Iterable[bytes], faults: Faults) -> None:
        need_pyvcd(faults.file)
        self.faults = faults
        self.version = ""
        self.tick: tuple[int, int] | None = None
        self.variables: dict[str, list[Variable]] = {}
        self.ended_at = 0
        self._declared = False
        self._feed = _Feed(pieces)
        self._tokens = _tokens(self._feed, faults)
        self._scope: list[str] = []
        self._count = 0
        for line, token in self._tokens:
            try:
                if self._declare(token):
                    break
            except MalformedError as error:
                faults.add(line, error.where, error.message)
        if not self._declared:
            faults.add(None, "VCD", "found no $enddefinitions; wanted declarations, then changes")

    def _declare(self, token: Token) -> bool:
        """Take a declaration; True where it ends them."""
        kind, data = token.kind.name, token.data
        if kind == "ENDDEFINITIONS":
            self._declared = True
            if self._scope:
                raise MalformedError(
                    "$enddefinitions",
                    f"found the scope {shown(self._scope[-1])} open; wanted an $upscope for it",
                )
            return True
        if kind == "VERSION":
            self.version = str(data).strip()
        elif kind == "TIMESCALE":
            self._take_timescale(data)
        elif kind == "SCOPE":
            self._scope.append(_field(data, "ident"))
        elif kind == "UPSCOPE":
            if not self._scope:
                raise MalformedError("$upscope", "found no scope to leave; wanted a $scope before")
            self._scope.pop()
        elif kind == "VAR":
            self._take_variable(data)
        elif kind not in ("COMMENT", "DATE", "ATTRBEGIN", "ATTREND"):
            raise MalformedError(
                "declarations", "found a change; wanted declarations and $enddefinitions before"
            )
        return False

    def _take_timescale(self, data: Any) -> None:
        number, unit = data.magnitude, data.unit.value
        if self.tick is not None:
            raise MalformedError("$timescale", "found a second one; wanted one")
        if unit not in UNITS:
            raise MalformedError("$timescale", f"found {unit}; wanted one of {', '.join(UNITS)}")
        self.tick = (number * UNITS[unit][0], UNITS[unit][1])
        if number not in (1, 10, 100):
            raise MalformedError(
                "$timescale", f"found {number} {unit}; wanted 1, 10 or 100 of a unit"
            )

    def _take_variable(self, data: Any) -> None:
        self._count += 1
        if self._count > MOST_VARIABLES:
            raise MalformedError(
                "$var", f"found more than {MOST_VARIABLES} signals; wanted fewer in one log"
            )
        variable = Variable(
            scope=tuple(self._scope),
            name=data.ref_str,
            kind=data.type_.value,
            size=data.size,
            code=data.id_code,
        )
        alike = self.variables.setdefault(variable.code, [])
        if alike and alike[0].size != variable.size:
            raise MalformedError(
                "$var",
                f"found {variable.name} of {variable.size} bits under the code of"
                f" {alike[0].name} of {alike[0].size}; wanted the same width under one code",
            )
        alike.append(variable)

    def __iter__(self) -> Iterator[Change]:
        """Yield the changes in order; ``ended_at`` follows the latest time stated."""
        dumping = False
        for line, token in self._tokens if self._declared else ():
            kind, data = token.kind.name, token.data
            try:
                if kind in ("CHANGE_SCALAR", "CHANGE_VECTOR"):
                    code = _field(data, "id_code")
                    if code not in self.variables:
                        raise MalformedError(
                            "change", f"found the code {shown(code)}; wanted one that $var declares"
                        )
                    yield Change(
                        ticks=self.ended_at, code=code, value=_bits(data), line=line
                    )
                elif kind == "CHANGE_TIME":
                    self._take_time(data)
                elif kind in ("DUMPALL", "DUMPOFF", "DUMPON", "DUMPVARS"):
                    dumping = True
                elif kind == "END":
                    if not dumping:
                        raise MalformedError("$end", "found nothing that it closes; leave it out")
                    dumping = False
                elif kind not in ("CHANGE_REAL", "CHANGE_STRING", "COMMENT"):
                    raise MalformedError(
                        f"${kind.lower()}", "found a declaration; wanted it before $enddefinitions"
                    )
            except MalformedError as error:
                self.faults.add(line, error.where, error.message)
        if dumping:
            self.faults.add(None, "VCD", "found values behind a $dump command; wanted its $end")

    def _take_time(self, ticks: Any) -> None:
        if ticks > _LATEST:
            raise MalformedError("time", f"found a time above {_LATEST}; wanted fewer ticks")
        before, self.ended_at = self.ended_at, ticks
        if ticks < before:
            raise MalformedError("time", f"found #{ticks} after #{before}; wanted order of time")


def _field(data: Any, name: str) -> str:
    return str(getattr(data, name))


def _bits(data: Any) -> str:
    value = data.value
    return f"{value:b}" if isinstance(value, int) else str(value).lower()


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
        while (item := self._next()) is not None:
            if item[1] is _LAST_LINE:
                self.hand_out_again([item])
                return
            self.last_line = item[0]
            if b"$end" in item[1]:
                return

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


def _tokens(feed: _Feed, faults: Faults) -> Iterator[tuple[int, Token]]:
    """Yield pyvcd's tokens, each with its line; go on after what is malformed."""
    from vcd.reader import TokenKind, VCDParseError, tokenize

    complete = False
    while not complete:
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
                faults.add(line or None, "VCD", "the file ends within what begins here;"
                           " it is cut off: record or copy it again")
            return


def _reason(error: Exception) -> str:
    """What pyvcd says, without its place and where it says something."""
    reason = str(error).partition(": ")[2]
    return f" ({reason[:80]})" if reason.startswith(("Expected", "Invalid")) else ""


def _failed_lines(feed: _Feed, first: int, end: tuple[int, int] | None) -> range:
    """Return the indices in ``feed.since`` of the lines of the statement that failed."""
    start = len(feed.since) - 1
    for at, (number, text) in enumerate(feed.since):
        rest = text
        if at == 0 and end is not None:
            if first + end[0] - 1 > number:
                continue  # The last token took the line up to its end.
            # Columns count from 1 on the first line, and from 2 on the others.
            rest = text[end[1] - (0 if end[0] == 1 else 1) :]
        if rest.strip():
            start = at
            break
    stop = start + 1
    if feed.since[start][1].lstrip().startswith(b"$"):
        # A declaration may run over lines, but not into the next one.
        while stop < len(feed.since) and b"$end" not in feed.since[stop - 1][1]:
            if feed.since[stop][1].lstrip().startswith(b"$"):
                break
            stop += 1
    return range(start, stop)
