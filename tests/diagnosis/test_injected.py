"""Faults put into the demo machines: the true one is always among what can be wrong."""

from __future__ import annotations

import os

import pytest

from simrig.api import load
from simrig.diagnosis.one_sheet import Models, systems
from simrig.diagnosis.reasoning import Together, explain
from simrig.diagnosis.suspects import Sheet, suspects
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.dispositions import placements_with
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links, readings
from simrig.signals import EITHER
from simrig.world.phases import Conditions
from simrig.world.worlds import worlds

FULL = bool(os.environ.get("SIMRIG_FULL"))
IN_CHECKS = 60


def _sheets(profile: Profile, table: Links, fault: Fault) -> tuple[Sheet, ...]:
    """Return what the faulty machine shows empty, half full and full, all ball sensors read."""
    installed = profile.balls.installed
    faulty = inject(profile, table, (fault,))
    found = []
    for balls in (0, (installed + 1) // 2, installed):
        conditions = Conditions(balls=balls)
        (lying, *_) = placements_with(profile, conditions, (fault,))
        frame = readings(profile, faulty, worlds(profile, (lying,)))
        seen = {one.id: frame.reading(one.id) for one in profile.ball_sensors()}
        known = {name: reading for name, reading in seen.items() if reading != EITHER}
        found.append(Sheet(observation=Observation(readings=known), conditions=conditions))
    return tuple(found)


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_the_true_fault_is_among_them(machine: str) -> None:
    """Whatever single fault the machine has, it is not missed: alone it explains the sheets."""
    profile = load(machine)
    faults = possible_faults(profile)
    models = Models(profile=profile, faults=faults, limit=1)
    table = links(profile)
    chosen = range(len(faults))[:: 1 if FULL else len(faults) // IN_CHECKS]
    missed, shown = [], 0
    for index in chosen:
        sheets = _sheets(profile, table, faults[index])
        among = suspects(profile, sheets, faults=faults)
        together = Together(systems=tuple(systems(models, among, sheets)))
        sets = {one.members for one in explain(together, limit=1)}
        shown += () not in sets
        if (index,) not in sets:
            missed.append(faults[index].name)
    assert len(chosen) >= IN_CHECKS
    assert missed == []
    assert shown >= len(chosen) // 10
