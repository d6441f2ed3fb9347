"""Recorded proofs, judged."""

from __future__ import annotations

import os
import random

import attrs
import pytest

import simrig
from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.proving.judging import judge
from simrig.proving.plan import Plan, prove
from simrig.proving.rehearsal import rehearse
from simrig.scan.events import Event
from simrig.scan.scanner import links

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")
FULL = "SIMRIG_FULL" in os.environ
FAULTS = None if FULL else 30
MOMENTARY = {"diode-shorted:lock-2", "past-diode:lock-2"}
"""On tidal-clockwork: a phantom at trough 1 while the next ball rolls there looks like a rebound."""


@pytest.fixture(scope="module", params=MACHINES)
def machine(request: pytest.FixtureRequest) -> Profile:
    """One of the demo machines."""
    return simrig.load(request.param)


@pytest.fixture(scope="module")
def plan(machine: Profile) -> Plan:
    """Its whole plan."""
    return prove(machine)


def _heard(events: tuple[Event, ...]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for event in events:
        found.setdefault(event.signal, []).append(event.reading)
    return found


def test_sound_run_passes_whatever_goes_unseen(machine: Profile, plan: Plan) -> None:
    """What a scan may miss is no fault, in any combination."""
    for seed in range(200 if FULL else 12):
        chance = random.Random(seed)
        unseen = frozenset(number for number in range(400) if chance.random() < 0.5)
        found = judge(plan, rehearse(machine, plan, links(machine), unseen=unseen))
        assert found.anomalies == (), seed


def test_rebound_at_rest_passes(machine: Profile, plan: Plan) -> None:
    """A ball that rolls off its sensor and on again when it stops is no fault."""
    events = list(rehearse(machine, plan, links(machine)))
    at = next(
        index
        for index, event in enumerate(events)
        if (event.time_ms or 0) > 0 and event.signal in plan.steps[1].rests
    )
    here = events[at]
    away = "open" if here.reading == "closed" else "closed"
    again = (here.time_ms or 0.0) + 0.5
    events[at + 1 : at + 1] = [
        attrs.evolve(here, reading=away, time_ms=again),
        attrs.evolve(here, time_ms=again),
    ]
    assert judge(plan, events).passed


def test_each_fault_that_shows_is_named(machine: Profile, plan: Plan) -> None:
    """A part fault left in fails the run and names a sensor whose readings it changed."""
    sound = links(machine)
    healthy = rehearse(machine, plan, sound)
    faults = [
        one
        for one in possible_faults(machine)
        if one.kind.effect not in ("kicks nothing", "moves balls") and one.name not in MOMENTARY
    ]
    if FAULTS is not None:
        faults = random.Random(20261125).sample(faults, FAULTS)
    shown = 0
    for fault in faults:
        events = rehearse(machine, plan, inject(machine, sound, [fault]))
        heard, usual = _heard(events), _heard(healthy)
        differing = {name for name in usual if heard.get(name) != usual[name]}
        if not differing:
            continue
        shown += 1
        found = judge(plan, events)
        assert not found.passed, fault.name
        assert {one.sensor for one in found.anomalies} & differing, fault.name
    assert shown > len(faults) // 3


def test_dead_beam_is_stuck() -> None:
    """By hand: the emitter of trough 3 dark, it reads a ball with all balls out."""
    profile = simrig.load("tidal-clockwork")
    plan = prove(profile)
    dark = fault_named(possible_faults(profile), "emitter-dead:trough-3")
    found = judge(plan, rehearse(profile, plan, inject(profile, links(profile), [dark])))
    first = found.anomalies[0]
    assert (first.sensor, first.kind) == ("trough-3", "stuck")
    assert first.why == "it reads closed with all balls out; open was expected"


def test_crossed_leads_are_named_as_crossed() -> None:
    """By hand: leads of trough 2 and 3 crossed pass empty and full, not the feeding between."""
    profile = simrig.load("tidal-clockwork")
    plan = prove(profile)
    crossed = fault_named(possible_faults(profile), "leads-exchanged:trough-2+trough-3")
    found = judge(plan, rehearse(profile, plan, inject(profile, links(profile), [crossed])))
    assert {(one.sensor, one.kind) for one in found.anomalies} >= {
        ("trough-2", "swapped"),
        ("trough-3", "swapped"),
    }


def test_flicker_is_named_with_its_time() -> None:
    """One extra change of a sensor that nothing moved is a flicker at that time."""
    profile = simrig.load("tidal-clockwork")
    plan = prove(profile)
    events = list(rehearse(profile, plan, links(profile)))
    at = next(index for index, event in enumerate(events) if event.time_ms == 30_000.0)
    events[at:at] = [
        Event(time_ms=29_000.0, signal="lock-1", reading="closed"),
        Event(time_ms=29_010.0, signal="lock-1", reading="open"),
    ]
    (one,) = judge(plan, events).anomalies
    assert (one.sensor, one.kind, one.time_ms) == ("lock-1", "flicker", 29_000.0)


def test_phantom_that_stands_at_rest_is_named() -> None:
    """By hand: lock 1 (column 4 row 1) with its diode shorted passes trough 1 (column 3 row 1)
    back to column 4 and on over lock 2 (row 2): trough 2 (column 3 row 2) reads closed, empty,
    once all balls are back with both locks full and one ball in the trough.

    On the way it looks like a ball that rebounds; only what reads at rest tells.
    """
    profile = simrig.load("tidal-clockwork")
    plan = prove(profile)
    shorted = fault_named(possible_faults(profile), "diode-shorted:lock-1")
    events = rehearse(profile, plan, inject(profile, links(profile), [shorted]))
    anomalies = judge(plan, events).anomalies
    assert [one.sensor for one in anomalies] == ["trough-2"]
    assert "at rest" in anomalies[0].why
