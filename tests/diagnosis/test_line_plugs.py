"""Plugs through which lines of the matrix go: off, the lines are open, and nothing else.

Copper Lantern: column 1 carries t1, t2, t3 in rows 1 to 3, column 2 the launcher in row 1.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.checks import catalogue, check_named, outcomes
from simrig.diagnosis.diagnose import Cause, diagnose
from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.scan.scanner import links, readings
from simrig.world.balls import Placement
from simrig.world.worlds import worlds
from tests.diagnosis.small_machine import TEXT, machine, sheet

LINES = """
[[matrix.column]]
number = 1
connector = "columns"
[[matrix.column]]
number = 2
connector = "{second}"
[[matrix.row]]
number = 1
connector = "rows"
[[matrix.row]]
number = 2
connector = "rows"
[[connector]]
id = "columns"
place = "controller"
[[connector]]
id = "rows"
[[supply]]"""


def _machine(second: str = "columns", text: str = TEXT) -> Profile:
    return machine(text.replace("\n[[supply]]", LINES.format(second=second), 1))


def _closed(profile: Profile, *faults: str) -> set[str]:
    """The sensors that read closed with balls at trough 1, 3 and in the launcher."""
    every = possible_faults(profile)
    table = inject(profile, links(profile), [fault_named(every, name) for name in faults])
    spots = frozenset(("trough.1", "trough.3", "launcher.1"))
    frame = readings(profile, table, worlds(profile, (Placement(spots=spots),)))
    return {sensor.id for sensor in profile.sensor if frame.reading(sensor.id) == "closed"}


@pytest.mark.parametrize(
    ("faults", "closed"),
    [
        ((), {"t1", "t3", "launcher-ball"}),
        (("plug-off:columns",), set()),
        # Row 3 has no stated plug.
        (("plug-off:rows",), {"t3"}),
        # A row held at the controller reads closed whatever the plug does.
        (("plug-off:rows", "row-held:1"), {"t1", "t3", "launcher-ball"}),
        # A column driver that is always on drives nothing through a plug that is off.
        (("plug-off:columns", "column-held:1"), set()),
    ],
)
def test_a_plug_that_is_off_opens_its_lines(faults: tuple[str, ...], closed: set[str]) -> None:
    """The lines through it read open, the others as before."""
    assert _closed(_machine(), *faults) == closed


def test_a_plug_can_carry_lines_and_wires() -> None:
    """The output plug of the board carries column 2 as well: off, both are open."""
    profile = _machine("output-plug")
    assert _closed(profile, "plug-off:output-plug") == set()
    assert _closed(profile, "plug-off:columns") == {"launcher-ball"}


def test_it_is_offered_beside_the_column() -> None:
    """All home and nothing closed: the plug of the columns explains it as the column does."""
    profile = _machine()
    found = diagnose(profile, (sheet(profile, ()),), limit=1)
    names = {fault.name for cause in found.causes for fault in cause.faults}
    assert {"column-open:1", "plug-off:columns", "plug-loose:columns"} <= names
    assert "plug-off:rows" not in names
    (why,) = [one.why for one in found.causes if _names(one) == ["plug-off:columns"]]
    assert why == (
        "plug off or not making: columns: nothing passes it; so t1, t2 and t3 read open with a "
        "ball there"
    )


def _names(cause: Cause) -> list[str]:
    return [fault.name for fault in cause.faults]


def test_checks_speak_of_it() -> None:
    """Reseating cures it, and a line rung through from the controller's pin is open."""
    path = Path(__file__).parents[1] / "stories" / "frost-mill.toml"
    profile = read(path.read_bytes(), path.name)
    about = Ground.of(profile)
    checks = catalogue(profile, ground=about)
    fault = fault_named(possible_faults(profile), "plug-off:p1")
    for check, result in {
        "line-column-2": "open",
        "line-row-1": "whole",
        "reseat-p1": "cured",
        "reseat-p2": "no-change",
        "work-lane-ball": "stays-open",
        "wire-trough-1": "through",
    }.items():
        assert outcomes(check_named(checks, check), fault) == {result}, check
    assert Case(ground=about, faults=(fault,)).touched == {one.id for one in profile.sensor}
