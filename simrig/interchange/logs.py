"""Event logs in and out: CSV (time,sensor,reading) and VCD (IEEE 1364).

Everything here takes and gives pieces of bytes; files are opened elsewhere.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Iterator
from typing import Literal

from simrig.interchange.csvlog import TimeUnit, read_csv, write_csv
from simrig.interchange.lines import BYTE_ORDER_MARK
from simrig.interchange.vcdlog import read_vcd, write_vcd
from simrig.scan.events import Event, EventReading

__all__ = [
    "Event",
    "EventReading",
    "TimeUnit",
    "read_csv",
    "read_log",
    "read_vcd",
    "write_csv",
    "write_vcd",
]


def read_log(
    pieces: Iterable[bytes],
    *,
    file: str,
    time_unit: TimeUnit | None = None,
    coils: Collection[str] = (),
    one_is: Literal["closed", "open"] | None = None,
) -> Iterator[Event]:
    """Yield the events of a log of either form: a dump starts with ``$``, a CSV does not.

    For the options see :func:`read_csv` and :func:`read_vcd`.  InputError at the
    end, with every malformed line, if there were any.
    """
    source = iter(pieces)
    start = b""
    for piece in source:
        start += piece
        if start.removeprefix(BYTE_ORDER_MARK).strip() and len(start) > len(BYTE_ORDER_MARK):
            break
    whole = itertools.chain([start], source)
    if start.removeprefix(BYTE_ORDER_MARK).lstrip().startswith(b"$"):
        return read_vcd(
            whole, file=file, time_unit=time_unit, coils=coils, one_is=one_is or "closed"
        )
    return read_csv(whole, file=file, time_unit=time_unit, coils=coils, one_is=one_is)
