"""On the demo machines, over kinds that stay on one address: equal to a solver's enumeration.

python-sat is the peer; it is asked for every set of up to two, sheet after sheet.
"""

from __future__ import annotations

import os
import random

import pytest

from simrig.api import load
from simrig.diagnosis.cells import system
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.reasoning import explain
from simrig.diagnosis.suspects import Sheet, Suspect, suspects
from simrig.expectation.observation import Observation
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links, readings
from simrig.world.phases import Conditions
from simrig.world.worlds import worlds
from tests.diagnosis.sat_peer import ON_CHAINS, ON_LINES, Formula, SatPeer

SHEETS = 40 if os.environ.get("SIMRIG_FULL") else 5


def _staying(
    profile: Profile, table: Links, conditions: Conditions, chance: random.Random
) -> tuple[Suspect, ...]:
    """Return suspects that stay on one address: also those of lines, where all have diodes.

    A hundred drawn from them: a sheet on which nothing shows is explained by nearly all pairs.
    """
    observation = Observation(readings=dict.fromkeys([one.id for one in profile.sensor], "open"))
    diodes = all(one.backward is None for one in table.circuit.crossings)
    effects = {*ON_CHAINS, "opens diode", *(ON_LINES if diodes else ())}
    every = [
        one
        for one in suspects(profile, [Sheet(observation=observation, conditions=conditions)])
        if (
            one.mistake is not None and one.mistake.kind == "misread"
            if one.fault is None
            else one.fault.kind.effect in effects
            and (one.fault.kind.effect != "holds line" or one.fault.kind.part == "row")
        )
    ]
    return tuple(every[index] for index in sorted(chance.sample(range(len(every)), 100)))


def _seen(
    profile: Profile, table: Links, about: Circumstances, chance: random.Random
) -> Observation:
    """Return what up to two things wrong show somewhere, a fifth of it not looked at."""
    faults = [one.fault for one in about.suspects if one.fault is not None]
    true = chance.sample(faults, chance.choice((0, 1, 1, 2, 2)))
    if len({fault.component for fault in true}) < len(true):
        true = true[:1]
    place = chance.choice(about.placements)
    shown = readings(profile, inject(profile, table, true), worlds(profile, (place,)))
    said = {}
    for name, value in shown.cells.items():
        said[name] = (
            "closed" if (value.maybe if chance.random() < 0.5 else value.surely) else "open"
        )
        if chance.random() < 0.2:
            said[name] = "unknown"
        elif chance.random() < 0.01:
            said[name] = {"open": "closed", "closed": "open"}[said[name]]
    return Observation(readings=said)


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_sets_are_those_of_a_solver(machine: str) -> None:
    """The sets of up to two that explain a sheet are exactly those that python-sat finds."""
    profile = load(machine)
    table = links(profile)
    chance = random.Random(machine)
    compared = 0
    for _ in range(SHEETS):
        conditions = Conditions(phase=chance.choice(profile.phase).id)
        staying = _staying(profile, table, conditions, chance)
        about = Circumstances.of(profile, staying, 0, conditions, limit=2)
        peer = SatPeer(Formula(profile, table, about.suspects, about.placements), limit=2)
        observation = _seen(profile, table, about, chance)
        found = {one.members for one in explain(system(about, observation), 2)}
        values = {"open": 0, "closed": 1}
        asked = {name: values.get(said) for name, said in observation.readings.items()}
        assert found == peer.sets(asked)
        compared += bool(found)
    assert compared >= SHEETS // 2
