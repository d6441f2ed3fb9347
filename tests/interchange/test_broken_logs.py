"""Logs broken in every way: refused with file and line, or read; never anything else."""

import contextlib
import os
import random
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.errors import InputError
from simrig.interchange.logs import Event, read_csv, read_log, read_vcd, write_csv, write_vcd
from tests.interchange.logging_cases import COILS, PLACES

FULL = os.environ.get("SIMRIG_FULL") == "1"
MUTANTS = 20_000 if FULL else 1_500
MIB = 2**20

RUN = [
    Event(
        time_ms=turn * 37.5,
        signal=("kicker", "trough-1", "trough-2", "2-lane", "lock-a")[turn % 5],
        reading=(("on", "off") if turn % 5 == 0 else ("closed", "open"))[turn // 5 % 2],
    )
    for turn in range(20)
]
CSV = b"".join(write_csv(RUN))
VCD = b"".join(write_vcd(RUN, machine="basalt-freight", places=PLACES, coils=COILS))
WORDS = (
    b'"',
    b"\n",
    b"\r",
    b"\0",
    b",",
    b"#",
    b"$end",
    b"$comment ",
    b"$var ",
    b"b",
    b"\xff",
    b"9" * 40,
)


def mutant(draw, data):
    """Flip, drop, double or insert some bytes."""
    broken = bytearray(data)
    for _ in range(draw.randint(1, 6)):
        at = draw.randrange(len(broken) + 1)
        match draw.randrange(5):
            case 0:
                broken[at : at + 1] = bytes([draw.randrange(256)])
            case 1:
                del broken[at : at + draw.randint(1, 30)]
            case 2:
                broken[at:at] = broken[at : at + draw.randint(1, 60)]
            case 3:
                broken[at:at] = draw.choice(WORDS)
            case _:
                del broken[at:]
    return bytes(broken)


@pytest.mark.parametrize(("name", "data"), [("run.csv", CSV), ("run.vcd", VCD)])
def test_mutants_are_read_or_refused(name, data):
    """A log with bytes flipped, dropped, doubled or put in is read or refused by line."""
    draw = random.Random(6)
    refused = 0
    for _ in range(MUTANTS):
        broken = mutant(draw, data)
        last = broken.count(b"\n") + 1
        try:
            for event in read_log([broken], file=name):
                assert 1 <= event.line <= last
        except InputError as error:
            refused += 1
            for problem in error.problems:
                assert problem.file == name
                assert problem.line is None or 1 <= problem.line <= last
                assert problem.message.isprintable()
    assert MUTANTS // 2 < refused < MUTANTS


@given(st.binary(max_size=300), st.sampled_from([read_csv, read_vcd, read_log]))
def test_any_bytes_are_read_or_refused(data, reader):
    """Bytes of any kind are read or refused."""
    with contextlib.suppress(InputError):
        assert all(isinstance(event, Event) for event in reader([data], file="x"))


def csv_rows(size):
    """CSV rows of a number of bytes, a hundred in a piece."""
    for first in range(0, size // 27, 100):
        yield b"".join(b"%012d,trough-%d,open\n" % (first + n, n % 9) for n in range(100))


def vcd_changes(size):
    """A dump of a number of bytes, a hundred changes in a piece."""
    yield VCD
    for first in range(0, size // 13, 100):
        yield b"".join(b"#%08d\n%d!\n" % (1_000_000 + first + n, n % 2) for n in range(100))


def broken_rows(size):
    """CSV rows of which none can be read."""
    for first in range(0, size // 28, 100):
        yield b"".join(b'%012d,"trough-%d,open\n' % (first + n, n % 9) for n in range(100))


def one_line(size):
    """One line without end."""
    for _ in range(size // 8192):
        yield b"$" * 8192


def peak(pieces):
    """Return the peak of memory while a log is read, and the events in it."""
    tracemalloc.start()
    count = 0
    with contextlib.suppress(InputError):
        for _ in read_log(pieces, file="x"):
            count += 1
    found = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return found, count


@pytest.mark.parametrize("make", [csv_rows, vcd_changes, broken_rows, one_line])
def test_memory_stays_flat(make):
    """Four times the log takes no more memory, within a tenth."""
    size = 4 * MIB if FULL else MIB // 16
    peak(make(size // 4))  # imports, caches
    small, few = peak(make(size))
    large, many = peak(make(4 * size))
    assert large <= 1.1 * small
    if make in (csv_rows, vcd_changes):
        assert few > size // 30
        assert many > 3.9 * few
