"""The four kinds of file that people hand over: samples, and how each is taken or refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import attrs

from simrig.errors import InputError, Problem, ProfileError
from simrig.expectation.prediction import expect
from simrig.interchange import running, scenarios, sheets
from simrig.interchange.logs import read_log
from simrig.profile.machine import Profile
from simrig.profile.reader import examine, read
from simrig.vetting.vet import vet_read
from simrig.world.phases import Conditions

ROOT = Path(__file__).parents[2]
MACHINES = ROOT / "plugins/simrig_machines"

SHEET = (
    b"\xef\xbb\xbfSensor, Reading\r\n\r\n# taken at rest\r\nTROUGH-1 , Closed\r\n"
    b"trough-2;closed\r\n13\tCLOSED\r\nouthole-ball,open\r\n shooter-ball,open # last\r\n"
)
SHEETS = b"""[[sheet]]
phase = "idle"
balls = 3
readings = { trough-1 = "closed", trough-2 = "closed", 11 = "closed" }

[[sheet]]
at = { trough = 2 }
seats = ["trough.2", "trough.3"]
state = { door = "open" }
others = "rest"
readings = { "column 1 row 1" = "closed", trough-2 = "flickers", trough-1 = "unknown" }
"""
CSV_LOG = (
    b"time,sensor,reading\n# a serve\n0,trough-3,closed\n12.5,trough-kicker,on\n40,trough-kicker,off\n"
    b"55,trough-3,open\n180,trough-3,closed\n182,trough-1,open\n600,shooter-ball,closed\n"
)
VCD_LOG = (
    b"$timescale 1 ms $end\n$scope module m $end\n$var wire 1 ! trough-1 $end\n"
    b"$var wire 1 # trough-2 $end\n$upscope $end\n$enddefinitions $end\n$dumpvars\n1!\n0#\n$end\n"
    b"#5\n0!\n#12\n1#\nx!\n#40\n1!\n"
)


@cache
def machine(name: str = "orchard-signal") -> Profile:
    """Return a demo machine."""
    path = MACHINES / f"{name}.toml"
    return read(path.read_bytes(), str(path))


def _profile(data: bytes, file: str) -> Sequence[Problem]:
    profile, problems = examine(data, file)
    if profile is None or problems:
        return problems
    for finding in vet_read(profile).findings:
        assert finding.message
    if profile.phase:
        expect(profile, Conditions())
    return ()


def _sheet(data: bytes, file: str) -> Sequence[Problem]:
    sheets.read(machine(), data, file, Conditions())
    return ()


def _scenario(data: bytes, file: str) -> Sequence[Problem]:
    scenario = scenarios.read(data, file)
    # Diagnosing is work of seconds by right, not of reading: it is left out here.
    steps = tuple(attrs.evolve(step, diagnosis=None) for step in scenario.step)
    running.run(machine(), attrs.evolve(scenario, step=steps))
    return ()


def _log(data: bytes, file: str) -> Sequence[Problem]:
    for event in read_log([data], file=file):
        assert event.line >= 1
    return ()


def _profiles() -> Iterator[bytes]:
    for path in sorted((ROOT / "tests/vetting/data").glob("*/sound.toml")):
        if path.parent.name not in ("FORM-02",):
            yield path.read_bytes()


def _scenarios() -> Iterator[bytes]:
    for path in sorted((ROOT / "scenarios/orchard-signal").glob("*.scenario.toml")):
        yield path.read_bytes()


@attrs.frozen(kw_only=True)
class Format:
    """One kind of file: sound samples, the class of its keys, and what takes it.

    ``take`` returns or raises the problems of a file that is refused.
    """

    name: str
    suffix: str
    samples: Callable[[], Sequence[bytes]]
    rows: type[Any] | None
    take: Callable[[bytes, str], Sequence[Problem]]


FORMATS = {
    one.name: one
    for one in (
        Format(
            name="profiles",
            suffix=".toml",
            samples=lambda: tuple(_profiles()),
            rows=Profile,
            take=_profile,
        ),
        Format(
            name="sheets",
            suffix=".csv",
            samples=lambda: (SHEET, SHEETS),
            rows=sheets.SheetFile,
            take=_sheet,
        ),
        Format(
            name="scenarios",
            suffix=".scenario.toml",
            samples=lambda: tuple(_scenarios()),
            rows=scenarios.Scenario,
            take=_scenario,
        ),
        Format(
            name="logs",
            suffix=".log",
            samples=lambda: (CSV_LOG, VCD_LOG),
            rows=None,
            take=_log,
        ),
    )
}


def judged(kind: Format, data: bytes, file: str) -> tuple[Problem, ...]:
    """Return the problems of a file, none where it is taken.

    Any error but those made for wrong input passes through.

    AssertionError where a problem does not say in which file and line, or is not
    made of words that can be printed.
    """
    try:
        problems = tuple(kind.take(data, file))
    except (InputError, ProfileError) as error:
        problems = error.problems
    last = data.count(b"\n") + data.count(b"\r") + 1
    for problem in problems:
        assert problem.file == file, problem
        assert problem.where, problem
        assert problem.line is None or 1 <= problem.line <= last, problem
        assert problem.line is not None or "bytes; wanted at most" in problem.message, problem
        assert str(problem).isprintable(), problem
    return problems
