"""Files made to be slow: each is vetted, or refused, in bounded time."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from types import FrameType

import pytest

from simrig.vetting.vet import Vetted, vet

FULL = bool(os.environ.get("SIMRIG_FULL"))
SECONDS = 10
"""Of work: what is bounded takes a second or two, what is not never ends."""

HEAD = 'format = 1\nid = "x"\n[balls]\ninstalled = 20\n'
PLACES = "".join(f'[[place]]\nid = "p{n}"\nkind = "hold"\nseats = 20\n' for n in range(200))
ROUTES = "".join(
    f'[[route]]\nid = "r{n}"\nfrom = "p{n}"\nto = ["p{(n + 1) % 200}", "p{(n + 7) % 200}"]\n'
    'by = "shot"\npoints = 20\n'
    for n in range(200)
)
IDLE = '[[phase]]\nid = "idle"\nplacements = [{ p0 = 20 }]\n'


def _unknown_keys() -> str:
    return HEAD + "".join(f"key{n} = 1\n" for n in range(60_000))


def _unknown_names() -> str:
    return HEAD + "".join(
        f'[[sensor]]\nid = "s{n}"\nkind = "zz{n}"\nat = ["q{n}.1", "r{n}.2"]\nboard = "b{n}"\n'
        for n in range(512)
    )


def _wide_rows() -> str:
    row = ", ".join(f'p{n} = "0-20"' for n in range(1, 30))
    return HEAD + PLACES + f'[[phase]]\nid = "idle"\nplacements = [{{ {row}, p0 = "rest" }}]\n'


def _many_states() -> str:
    gates = "".join(
        f'[[mechanism]]\nid = "m{n}"\nkind = "gate"\nstates = ["a", "b", "c", "d"]\n'
        for n in range(300)
    )
    stand = ", ".join(f'm{n} = ["a", "b", "c"]' for n in range(300))
    return HEAD + PLACES + ROUTES + gates + IDLE + f"states = {{ {stand} }}\n"


def _many_rows() -> str:
    rows = ",".join(f"{{ id = 'a{n}', kind = 'hold', seats = 1 }}" for n in range(20_000))
    return f"place = [{rows}]\n" + HEAD


def _a_long_name() -> str:
    return HEAD.replace('"x"', '"' + "p" * 1_000_000 + '"')


def _no_diodes() -> str:
    sensors = "".join(
        f'[[sensor]]\nid = "s{n}"\nkind = "leaf switch"\nat = ["p{n % 200}.{1 + n // 200}"]\n'
        f'contact = "normally open"\naddress = "column {1 + n % 32} row {1 + n // 32}"\n'
        for n in range(512)
    )
    phases = "".join(
        f'[[phase]]\nid = "f{n}"\nplacements = [{{ p{n} = "rest", p{n + 1} = "0-9" }}]\n'
        for n in range(60)
    )
    matrix = '[matrix]\ncolumns = 32\nrows = 16\ndiodes = "none"\n'
    return HEAD + PLACES + ROUTES + phases + sensors + matrix


def _balls_apart() -> str:
    places = PLACES.replace("seats = 20", "seats = 1")
    row = ", ".join(f"p{n} = 1" for n in range(20))
    return HEAD + places + ROUTES + f'[[phase]]\nid = "idle"\nplacements = [{{ {row} }}]\n'


SLOW: tuple[Callable[[], str], ...] = (_no_diodes, _balls_apart)
FILES: tuple[Callable[[], str], ...] = (
    _unknown_keys, _unknown_names, _wide_rows, _many_states, _many_rows, _a_long_name,
    *(SLOW if FULL else ()),
)  # fmt: skip


def _vetted(text: str) -> Vetted:
    def stop(number: int, frame: FrameType | None) -> None:
        pytest.fail(f"more than {SECONDS} s of work")

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, SECONDS)
    try:
        return vet(text.encode(), "slow.toml")
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


@pytest.mark.parametrize("make", FILES, ids=lambda make: make.__name__)
def test_what_is_made_to_be_slow_ends(make: Callable[[], str]) -> None:
    """It ends soon, with findings that are bounded in number."""
    found = _vetted(make())
    assert 1 <= len(found.findings) <= 501


def test_too_many_ways_are_refused_at_their_row() -> None:
    """Ranges that allow more ways than the bound are refused, with how many they allow."""
    (found,) = _vetted(_wide_rows()).findings
    assert found.code == "FORM-02"
    assert "may allow 20000 in all; narrow the ranges" in found.message
    assert found.where == "phase idle, placements 1"
