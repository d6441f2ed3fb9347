"""Value change dumps (IEEE 1364-2005, clause 18): declarations first, then changes.

Here is policed what the standard wants of a file as a whole: the number of the
timescale, the order of time, scopes that are closed, values of declared signals.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, Final

import attrs

from simrig.interchange.lines import Faults, MalformedError, shown
from simrig.interchange.vcdtokens import need_pyvcd, tokens

if TYPE_CHECKING:
    from vcd.reader import Token

MOST_VARIABLES: Final = 10_000
"""Signals that a dump may declare."""

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
        self._tokens = tokens(pieces, faults)
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
        sound = number in (1, 10, 100)
        self.tick = ((number if sound else 1) * UNITS[unit][0], UNITS[unit][1])
        if not sound:
            raise MalformedError(
                "$timescale", f"found {str(number)[:40]} {unit}; wanted 1, 10 or 100 of a unit"
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
                    yield Change(ticks=self.ended_at, code=code, value=_bits(data), line=line)
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
