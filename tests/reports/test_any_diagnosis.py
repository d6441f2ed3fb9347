"""Whatever the machine and whatever was seen: the answer holds together and fits the screen."""

from __future__ import annotations

import json
import os
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simrig.diagnosis.diagnose import ImpossibleError, diagnose, every_cause
from simrig.diagnosis.exclusion import CAN_BE, why_not
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.interchange import diagnosis_document as documents
from simrig.profile.machine import Profile
from simrig.reports import diagnosis_text as report
from simrig.strategies import profiles
from simrig.world.phases import Conditions

FULL = bool(os.environ.get("SIMRIG_FULL"))
FORBIDDEN = re.compile(r"\b(seats?|placements?|explanations?|posterior|hypothesis|frames?)\b")
READINGS = ("open", "open", "open", "closed", "closed", "unknown", "flickers")


def _sheet(profile: Profile, random: st.RandomsStrategy) -> Sheet:
    readings = {sensor.id: random.choice(READINGS) for sensor in profile.sensor}
    phases = [None, *[phase.id for phase in profile.phase]]
    balls = [None, *range(profile.balls.installed + 2)]
    conditions = Conditions(phase=random.choice(phases), balls=random.choice(balls))
    if random.random() < 0.3:
        conditions = Conditions(spots=frozenset())
    return Sheet(observation=Observation(readings=readings), conditions=conditions)


@given(st.booleans().flatmap(lambda unknown: profiles(unknown=unknown)), st.randoms())
@settings(max_examples=600 if FULL else 12, suppress_health_check=list(HealthCheck))
def test_the_answer_holds_together(profile: Profile, random: st.RandomsStrategy) -> None:
    """20 lines of 80 columns in plain words; chances make 1; a conflict exactly when nothing
    fits; why-not agrees with what is offered; JSON reads back; all sets are counted."""
    sheets = [_sheet(profile, random) for _ in range(random.choice((1, 1, 2)))]
    try:
        found = diagnose(profile, sheets, limit=random.choice((0, 1, 1, 2)))
    except ImpossibleError:
        return
    screen, everything = report.screen(found), report.everything(found)
    assert len(screen) <= 20
    assert all(len(line) <= 80 for line in [*screen, *everything])
    assert not FORBIDDEN.search("\n".join([*screen, *everything]).lower())
    assert (found.conflict is None) == bool(found.causes)
    if found.causes:
        assert sum(cause.chance for cause in found.causes) == pytest.approx(1)
        assert sorted({cause.group for cause in found.causes}) == [*range(1, found.groups + 1)]
    alone = {cause.members[0] for cause in found.causes if len(cause.members) == 1}
    for index in random.sample(range(len(found.suspects)), min(4, len(found.suspects))):
        assert (why_not(found, index).verdict == CAN_BE) == (index in alone)
    rows = (documents.explanation(found, cause) for cause in found.causes)
    read = json.loads("\n".join(documents.lines(documents.document(found), rows)))
    assert len(read["explanations"]) == len(found.causes)
    if found.count < 500:
        assert len(list(every_cause(found))) == found.count
