"""What can be wrong with a machine: none missed and none extra, against trying everything."""

from __future__ import annotations

import os

import pytest
from hypothesis import given, settings

from simrig.diagnosis.cells import system
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.reasoning import Together, explain
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
