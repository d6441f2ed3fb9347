"""Event logs as CSV (RFC 4180): one row an event, time,sensor,reading.

What is taken: a header with these names in any order, with further columns, or
none and the columns in this order; no time column where only the order is
known; commas, or semicolons or tabs (then with decimal commas too); LF or CRLF;
blank lines; lines that start with ``#``; capitals and blanks anywhere.  What is
written: a header, commas, CRLF.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from typing import Final, Literal

import attrs

from simrig.interchange.lines import Faults, MalformedError, shown
from simrig.interchange.rows import rows
from simrig.scan.events import Event, EventReading

TimeUnit = Literal["us", "ms", "s"]

_WORDS: Final[dict[str, EventReading]] = {
    "closed": "closed",
    "close": "closed",
    "shut": "closed",
    "open": "open",
    "opened": "open",
    "on": "on",
    "fired": "on",
    "off": "off",
}
_LEVELS: Final = {"1": True, "true": True, "high": True, "0": False, "false": False, "low": False}
_TIME_COLUMN: Final = re.compile(
    r"(?:time|timestamp|t)(?:[ _]*[(\[]?(us|µs|μs|ms|s)[)\]]?)?"  # micro sign, Greek mu
)
_SENSOR_COLUMNS: Final = ("sensor", "switch", "signal", "coil", "name", "address")
_READING_COLUMNS: Final = ("reading", "state", "value")
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_GREATEST_TIME: Final = 1e12


def read_csv(
    pieces: Iterable[bytes],
    *,
    file: str,
    time_unit: TimeUnit | None = None,
    coils: Collection[str] = (),
    one_is: Literal["closed", "open"] | None = None,
) -> Iterator[Event]:
    """Yield the events of a CSV log, in pieces cut anywhere, as they are read.

    ``time_unit`` is the unit of its times: the header's where it has one, or ms.
    ``one_is`` says what 1, high or true means for a switch; without it such
    readings are refused.  They are on for the names in ``coils``.

    InputError at the end, with every malformed line, if there were any.
    """
    faults = Faults(file)
    columns: _Columns | None = None
    timed: bool | None = None
    latest: float | None = None
    for line, cells in rows(pieces, faults):
        try:
            if columns is None:
                columns = _header(cells, time_unit)
                if columns is not None:
                    continue
                columns = _without_header(cells, time_unit)
            time_ms = columns.time_ms(cells)
            event = Event(
                time_ms=time_ms,
                signal=columns.name(cells),
                reading=columns.reading_of(cells, coils, one_is),
                line=line,
            )
            if timed is None:
                timed = time_ms is not None
            elif timed != (time_ms is not None):
                raise MalformedError(
                    "time",
                    "found a row with a time among rows without, or the reverse;"
                    " wanted a time in every row or in none",
                )
            if time_ms is not None:
                before, latest = latest, time_ms
                if before is not None and time_ms < before:
                    raise MalformedError(
                        "time",
                        f"found {time_ms:.15g} ms after {before:.15g} ms; wanted rows in order"
                        " of time: sort them, or split the log where the clock starts again",
                    )
        except MalformedError as error:
            faults.add(line, error.where, error.message)
            if columns is None:
                break
        except ValueError as error:
            faults.add(line, "sensor", str(error))
        else:
            yield event
    if columns is None and not faults.count:
        faults.add(None, "log", "found no rows; wanted time,sensor,reading")
    faults.raise_any()


def write_csv(events: Iterable[Event]) -> Iterator[bytes]:
    """Yield the bytes of a CSV log, in ms; without a time column where the first has none.

    ValueError for a log with times in some events only, or out of order.
    """
    timed: bool | None = None
    latest = float("-inf")
    written: list[str] = []
    for event in events:
        if timed is None:
            timed = event.time_ms is not None
            written.append("time,sensor,reading\r\n" if timed else "sensor,reading\r\n")
        if timed != (event.time_ms is not None):
            raise ValueError(f"{event}: wanted a time in every event or in none")
        row = f"{_quoted(event.signal)},{event.reading}\r\n"
        if event.time_ms is not None:
            if event.time_ms < latest:
                raise ValueError(f"{event}: comes before {latest:g} ms; wanted order of time")
            latest = event.time_ms
            row = f"{repr(float(latest)).removesuffix('.0')},{row}"
        written.append(row)
        if len(written) >= 1000:
            yield "".join(written).encode()
            written.clear()
    if timed is None:
        written.append("time,sensor,reading\r\n")
    if written:
        yield "".join(written).encode()


def _quoted(name: str) -> str:
    if name.startswith("#") or any(mark in name for mark in ',";\t'):
        return '"' + name.replace('"', '""') + '"'
    return name


@attrs.frozen(kw_only=True)
class _Columns:
    """Where in a row to find what; MalformedError where it is not."""

    width: int
    time: int | None
    sensor: int
    reading: int
    unit: str

    def time_ms(self, cells: list[str]) -> float | None:
        """The time of a row, None where it has none."""
        if len(cells) != self.width:
            raise MalformedError(
                "row", f"found {len(cells)} columns; wanted {self.width}, as in the first row"
            )
        text = "" if self.time is None else cells[self.time].strip()
        if not text:
            return None
        number = text.replace(",", ".", 1)
        time = float(number) if _NUMBER.fullmatch(number) else float("nan")
        if not abs(time) <= _GREATEST_TIME:
            raise MalformedError(
                "time", f"found {shown(text)}; wanted a number of {self.unit} such as 12.5"
            )
        return {"us": time / 1000, "ms": time, "s": time * 1000}[self.unit]

    def name(self, cells: list[str]) -> str:
        """The name of a row's signal."""
        return cells[self.sensor].strip()

    def reading_of(
        self, cells: list[str], coils: Collection[str], one_is: str | None
    ) -> EventReading:
        """The reading of a row."""
        text = cells[self.reading].strip()
        word = text.casefold()
        if word in _WORDS:
            return _WORDS[word]
        hint = ""
        if word in _LEVELS:
            level = _LEVELS[word]
            if self.name(cells) in coils:
                return "on" if level else "off"
            if one_is is not None:
                return "closed" if level == (one_is == "closed") else "open"
            hint = f": {text} alone does not say which, so say what 1 means"
        raise MalformedError(
            "reading",
            f"found {shown(text)}; wanted closed or open, or on or off for a coil{hint}",
        )


def _without_header(cells: list[str], time_unit: str | None) -> _Columns:
    if len(cells) not in (2, 3):
        raise MalformedError(
            "row",
            f"found {len(cells)} columns in {shown(','.join(cells))}; wanted"
            " time,sensor,reading, or sensor,reading, or a header that names them",
        )
    return _Columns(
        width=len(cells),
        time=0 if len(cells) == 3 else None,
        sensor=len(cells) - 2,
        reading=len(cells) - 1,
        unit=time_unit or "ms",
    )


def _header(cells: list[str], time_unit: str | None) -> _Columns | None:
    """Take the first row for a header; None where it is an event."""
    names = [cell.strip().casefold() for cell in cells]
    times = [at for at, name in enumerate(names) if _TIME_COLUMN.fullmatch(name)]
    sensors = [at for at, name in enumerate(names) if name in _SENSOR_COLUMNS]
    readings = [at for at, name in enumerate(names) if name in _READING_COLUMNS]
    known = len(times) + len(sensors) + len(readings)
    if not known or any(name in _WORDS for name in names):
        return None
    # A column of an unknown name may be the time, misspelt.
    doubtful = known < len(names) and not times
    if len(sensors) != 1 or len(readings) != 1 or len(times) > 1 or doubtful:
        raise MalformedError(
            "header",
            f"found the columns {shown(', '.join(cell.strip() for cell in cells))}; wanted"
            " sensor and reading, once each, and time unless only the order is known",
        )
    match = _TIME_COLUMN.fullmatch(names[times[0]]) if times else None
    stated = match.group(1) if match else None
    stated = "us" if stated in ("µs", "μs") else stated
    if stated and time_unit and stated != time_unit:
        raise MalformedError(
            "header",
            f"found times in {stated}; wanted {time_unit}, as stated beside the log:"
            " leave that out, or mend the header",
        )
    return _Columns(
        width=len(cells),
        time=times[0] if times else None,
        sensor=sensors[0],
        reading=readings[0],
        unit=stated or time_unit or "ms",
    )
