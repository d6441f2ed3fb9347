"""What can be wrong with a machine: none missed and none extra, against trying everything."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings

from simrig.diagnosis.cells import system
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.reasoning import Together, explain
from simrig.diagnosis.suspects import Sheet, suspects
from simrig.expectation.observation import observe
from simrig.profile.reader import read
from simrig.world.phases import Conditions
from tests.diagnosis.small_machines import Case, cases

FULL = bool(os.environ.get("SIMRIG_FULL"))


def found(case: Case, limit: int) -> dict[tuple[int, ...], float]:
    """All sets that the reasoning finds, with their chances."""
    circumstances = Circumstances.of_each(
        case.profile,
        [(case.suspects, number, sheet.conditions) for number, sheet in enumerate(case.sheets)],
        limit,
    )
    systems = tuple(
        system(one, sheet.observation)
        for one, sheet in zip(circumstances, case.sheets, strict=True)
    )
    return {one.members: one.probability for one in explain(Together(systems=systems), limit)}


@given(case=cases())
@settings(max_examples=3000 if FULL else 150)
def test_two_at_once(case: Case) -> None:
    """All sets of up to two, and their chances, are those that simulating each set gives."""
    assert found(case, 2) == pytest.approx(case.consistent(2), rel=1e-9)


@given(case=cases(most=8))
@settings(max_examples=1500 if FULL else 40)
def test_three_at_once(case: Case) -> None:
    """All sets of up to three, and their chances, are those that simulating each set gives."""
    assert found(case, 3) == pytest.approx(case.consistent(3), rel=1e-9)


def test_more_balls_hang_than_there_are() -> None:
    """One ball, and two ways on which one hangs: as simulating it has it, whichever is seen."""
    path = Path(__file__).parents[1] / "stories" / "frost-mill.toml"
    profile = read(path.read_bytes(), path.name)
    seen = observe(profile, closed=["left-lane"], closed_named=True)
    sheets = (Sheet(observation=seen, conditions=Conditions(balls=1)),)
    wanted = {"ball-hung:serve", "ball-hung:left-drain", "ball-missing:any"}
    among = tuple(one for one in suspects(profile, sheets) if one.name in wanted)
    case = Case(profile=profile, sheets=sheets, suspects=among)
    assert found(case, 3) == pytest.approx(case.consistent(3), rel=1e-9)
    assert found(case, 3)


CORNERS = """
format = 1
id = "corners"
balls = { installed = 3, store = "trough", extra = ["field"] }
place = [
    { id = "trough", kind = "trough", seats = 3, position_1 = "exit end", jam = false },
    { id = "field", kind = "playfield", seats = "any" },
]
route = [
    { id = "serve", from = "trough", to = ["field"], by = "hand" },
    { id = "drain", from = "field", to = ["trough"], by = "gravity" },
]
phase = [{ id = "idle", placements = [{ trough = "rest" }] }]
matrix = { columns = 2, rows = 2, diodes = "all" }
sensor = [
    { id = "t1", at = ["trough.1"], address = "column 1 row 1", KIND },
    { id = "t2", at = ["trough.2"], address = "column 2 row 2", KIND },
    { id = "t3", at = ["trough.3"], address = "column 2 row 1", KIND },
    { id = "fourth", at = "none", address = "column 1 row 2", KIND },
]
""".replace("KIND", 'kind = "leaf switch", contact = "normally open"')


def test_a_phantom_that_more_balls_would_make_hides_nothing() -> None:
    """By hand: two balls, and the fourth corner reads closed.  Its contact is stuck; a diode
    shorted at t3 besides changes nothing while no ball is there, and rules nothing out."""
    profile = read(CORNERS.encode(), "corners.toml")
    seen = observe(profile, closed=["t1", "t2", "fourth"], closed_named=True)
    sheets = (Sheet(observation=seen, conditions=Conditions(balls=2)),)
    wanted = ("contact-stuck-closed:fourth", "diode-shorted:t3", "ball-missing:any", "count:3")
    among = tuple(one for one in suspects(profile, sheets) if one.name.startswith(wanted))
    assert [one.name.rpartition(":")[0] for one in among[:2]] == [
        "contact-stuck-closed",
        "diode-shorted",
    ]
    case = Case(profile=profile, sheets=sheets, suspects=among)
    for limit in (2, 3):
        assert found(case, limit) == pytest.approx(case.consistent(limit), rel=1e-9)
        assert {(0,), (0, 1)} <= found(case, limit).keys()
