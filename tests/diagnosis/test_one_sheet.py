"""Sheets seen under the same conditions share one model: the answers are those of one each."""

from __future__ import annotations

import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis.cells import system
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.one_sheet import Models, systems
from simrig.diagnosis.reasoning import Together, explain
from simrig.diagnosis.suspects import suspects
from simrig.faults.candidates import possible_faults
from tests.diagnosis.small_machines import Case, cases

FULL = bool(os.environ.get("SIMRIG_FULL"))


@given(case=cases(), data=st.data())
@settings(max_examples=300 if FULL else 8)
def test_a_shared_model_answers_the_same(case: Case, data: st.DataObject) -> None:
    """Whatever the sheets, also when one is there twice: the same sets with the same chances."""
    every = possible_faults(case.profile)
    faults = tuple(data.draw(st.permutations(every))[:14])
    sheets = (*case.sheets, case.sheets[0])
    among = suspects(case.profile, sheets, faults=faults)
    models = Models(profile=case.profile, faults=faults, limit=2)
    shared = explain(Together(systems=tuple(systems(models, among, sheets))), 2)
    apart = explain(
        Together(
            systems=tuple(
                [
                    system(
                        Circumstances.of(case.profile, among, number, one.conditions, 2),
                        one.observation,
                    )
                    for number, one in enumerate(sheets)
                ]
            )
        ),
        2,
    )
    assert {one.members: one.probability for one in shared} == pytest.approx(
        {one.members: one.probability for one in apart}, rel=1e-9
    )
    assert shared.count == apart.count
