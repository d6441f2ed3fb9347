"""Event logs as value change dumps (IEEE 1364-2005): 1 is closed or on, 0 open or off.

What is written: sensors as ``wire`` in a scope for each place, coils as ``reg`` in
the scope of the machine, in microseconds.  Names become simple identifiers, which
every wave viewer shows: a hyphen becomes ``_``, any other character but letters and
digits ``$`` and its bytes in hexadecimal, and ``_`` leads where no letter does.

What is read: any dump; signals of one bit are sensors, or coils where their names
are given.  The names and kinds of a dump of our own come back as they were.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Final, Literal

import attrs

from simrig.interchange.csvlog import TimeUnit
from simrig.interchange.lines import Faults
from simrig.interchange.vcd import UNITS, Dump, Variable
from simrig.interchange.vcdtokens import need_pyvcd
from simrig.scan.events import Event, EventReading

_WRITTEN_BY: Final = "simrig event log"
_HEX: Final = re.compile(rb"\$([0-9a-f]{2})")
_CHUNK: Final = 65_536


def read_vcd(
    pieces: Iterable[bytes],
    *,
    file: str,
    time_unit: TimeUnit | None = None,
    coils: Collection[str] = (),
    one_is: Literal["closed", "open"] = "closed",
) -> Iterator[Event]:
    """Yield the events of a value change dump, in pieces cut anywhere, as they are read.

    A signal goes by its own name, and by that of its scopes too, with dots, where
    two signals are named alike.  A value x or z is no reading and gives no event;
    signals of several bits, real numbers and texts are left out.  ``time_unit``
    counts where the dump states no timescale.  ``one_is`` says what 1 means for a
    sensor.

    InputError at the end, with every malformed line, if there were any; at once
    where pyvcd is missing.
    """
    faults = Faults(file)
    dump = Dump(pieces, faults)
    signals = _signals(dump, coils)
    if dump.variables and not signals:
        faults.add(None, "$var", "found no signal of one bit; wanted one for each sensor")
    tick = dump.tick or (UNITS[time_unit] if time_unit else None)
    if tick is None and not faults.count:
        faults.add(None, "$timescale", "found none; wanted one, or the time unit stated beside it")
    number, per = tick or (1, 1)
    readings: dict[bool, dict[str, EventReading]] = {
        True: {"1": "on", "0": "off"},
        False: (
            {"1": "closed", "0": "open"} if one_is == "closed" else {"1": "open", "0": "closed"}
        ),
    }
    for change in dump:
        for signal in signals.get(change.code, ()):
            reading = readings[signal.coil].get(change.value)
            if reading is not None:
                time_ms = change.ticks * number / per
                try:
                    yield Event(
                        time_ms=time_ms, signal=signal.name, reading=reading, line=change.line
                    )
                except ValueError as error:
                    faults.add(change.line, "change", str(error))
            elif change.value not in ("x", "z"):
                faults.add(change.line, signal.name, f"found {change.value}; wanted 0, 1, x or z")
    faults.raise_any()


def write_vcd(
    events: Iterable[Event],
    *,
    machine: str,
    places: Mapping[str, str],
    coils: Collection[str] = (),
    end_ms: float | None = None,
) -> Iterator[bytes]:
    """Yield the bytes of a value change dump of events in order of time, none below 0.

    ``places`` holds the place of each sensor, or "" where it has none; ``end_ms`` is
    when the record ends.  Times are rounded to microseconds.  A reading that is said
    again is left out: a dump holds changes only.

    ValueError for an event without time or out of order, of a signal that is
    neither in ``places`` nor in ``coils``, or with a reading not of its kind.
    InputError where pyvcd is missing.
    """
    need_pyvcd("VCD")
    if both := set(places) & set(coils):
        raise ValueError(f"found {min(both)} as a sensor and as a coil; wanted one of them")
    from vcd.writer import VCDWriter

    sink = io.StringIO()
    writer = VCDWriter(
        sink,
        timescale="1 us",
        date="",
        comment="1 is closed or on, 0 is open or off",
        version=_WRITTEN_BY,
    )
    scope = identifier(machine)
    known = {}
    for name, place in places.items():
        path = (scope, identifier(place)) if place else (scope,)
        known[name] = writer.register_var(path, identifier(name), "wire", 1)
    for name in coils:
        known[name] = writer.register_var((scope,), identifier(name), "reg", 1)
    values = {name: {"closed": 1, "open": 0} for name in places}
    values |= {name: {"on": 1, "off": 0} for name in coils}
    # The header goes out now, so that changes at time 0 keep their order.
    writer.flush()
    latest = 0
    for event in events:
        ticks = latest if event.time_ms is None else round(event.time_ms * 1000)
        if event.time_ms is None or ticks < latest:
            raise ValueError(f"{event}: wanted a time of {latest / 1000:g} ms or later")
        latest = ticks
        value = values.get(event.signal, {}).get(event.reading)
        if value is None:
            raise ValueError(f"{event}: wanted a reading of a sensor or coil that is declared")
        writer.change(known[event.signal], ticks, value)
        if sink.tell() > _CHUNK:
            yield _drained(sink)
    writer.close(None if end_ms is None else max(latest, round(end_ms * 1000)))
    yield _drained(sink)


def identifier(name: str) -> str:
    """Return a name as a simple identifier of the standard; different for different names."""
    parts = []
    for letter in name:
        if letter.isascii() and letter.isalnum():
            parts.append(letter)
        else:
            parts.append(
                "_" if letter == "-" else "".join(f"${byte:02x}" for byte in letter.encode())
            )
    word = "".join(parts)
    return word if word[:1].isascii() and word[:1].isalpha() else f"_{word}"


def name_of(word: str) -> str:
    """Return the name that :func:`identifier` made an identifier of."""
    coded = word.removeprefix("_").replace("_", "-").encode()
    plain = _HEX.sub(lambda match: bytes([int(match.group(1), 16)]), coded)
    return plain.decode("utf-8", "replace")


@attrs.frozen(kw_only=True)
class _Signal:
    """What a code of the dump stands for."""

    name: str
    coil: bool


def _signals(dump: Dump, coils: Collection[str]) -> dict[str, list[_Signal]]:
    """Return the signals of one bit behind each code, each name once."""
    ours = dump.version.startswith(_WRITTEN_BY)

    def name(variable: Variable) -> str:
        return name_of(variable.name) if ours else variable.name

    one_bit = {code: alike for code, alike in dump.variables.items() if alike[0].size == 1}
    often = Counter(
        word for alike in one_bit.values() for word in {name(variable) for variable in alike}
    )
    signals: dict[str, list[_Signal]] = {}
    for code, alike in one_bit.items():
        for variable in alike:
            word = name(variable)
            if often[word] > 1:
                word = ".".join((*variable.scope, word))
            coil = (ours and variable.kind == "reg") or word in coils
            signal = _Signal(name=word, coil=coil)
            if signal not in signals.setdefault(code, []):
                signals[code].append(signal)
    return signals


def _drained(sink: io.StringIO) -> bytes:
    text = sink.getvalue()
    sink.seek(0)
    sink.truncate()
    return text.encode()
