"""Complaints: what a faulty machine does, and what can be wrong when it does."""

from __future__ import annotations

import os
import random

import pytest

import simrig
from simrig.diagnosis.complaint import Complained, Told, produced
from simrig.diagnosis.diagnose import diagnose
from simrig.diagnosis.reasoning import Allowed
from simrig.diagnosis.suspects import Sheet, suspects
from simrig.expectation.complaints import complaint_named, complaints
from simrig.expectation.observation import observe
from simrig.faults.candidates import Fault, fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.controller import ball_reading
from simrig.scan.scanner import links, readings
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")
FULL = "SIMRIG_FULL" in os.environ
PART_EFFECTS = ("kicks nothing", "moves balls")


@pytest.fixture(scope="module", params=MACHINES)
def machine(request: pytest.FixtureRequest) -> Profile:
    """One of the demo machines."""
    return simrig.load(request.param)


@pytest.fixture(scope="module")
def alone(machine: Profile) -> dict[str, set[str]]:
    """For each complaint the single faults that produce it, each asked alone."""
    among = suspects(machine, (), faults=possible_faults(machine))
    found = {}
    for one in complaints(machine):
        told = Told.of(machine, one, among, 1)
        found[one.id] = {
            other.name
            for index, other in enumerate(among)
            if other.fault is not None and isinstance(told.outcomes(frozenset((index,))), Allowed)
        }
    return found


def _of(profile: Profile, *names: str) -> list[str]:
    known = possible_faults(profile)
    faults = tuple(fault_named(known, name) for name in names)
    return [one.id for one in produced(profile, faults)]


def test_sound_machine_gives_no_complaint(machine: Profile) -> None:
    """With every part sound and every ball home the controller has nothing to complain of."""
    assert produced(machine, ()) == ()


def test_each_complaint_has_a_fault_that_produces_it(alone: dict[str, set[str]]) -> None:
    """No complaint is listed that no single fault of the machine can produce."""
    assert [name for name, faults in alone.items() if not faults] == []


def test_lost_board_and_lost_ball_keep_a_game_from_starting() -> None:
    """By hand: a trough board without output shows no ball home; neither does a missing ball."""
    profile = simrig.load("tidal-clockwork")
    assert _of(profile, "plug-off:trough-output") == ["will-not-start", "hunts-for-ball"]
    assert _of(profile, "ball-missing:any") == ["will-not-start", "hunts-for-ball"]


def test_dead_kick_serves_no_ball() -> None:
    """By hand: with the serving coil dead the readings are right, and no ball comes."""
    profile = simrig.load("tidal-clockwork")
    assert _of(profile, "coil-open:trough-kicker") == ["serves-none"]
    assert _of(profile, "interlock-stuck:door") == []


def test_launcher_contact_decides_how_often_it_serves() -> None:
    """By hand: never closed, it serves a second ball; always closed, it serves none."""
    profile = simrig.load("tidal-clockwork")
    assert _of(profile, "contact-stuck-open:launcher-ball") == ["serves-two"]
    assert _of(profile, "contact-stuck-closed:launcher-ball") == ["serves-none"]


def test_false_ball_at_the_last_position_ends_the_ball_early() -> None:
    """By hand: a dark last beam counts for the ball that is in play."""
    profile = simrig.load("tidal-clockwork")
    assert _of(profile, "emitter-dead:trough-5") == ["ends-early"]
    assert _of(profile, "emitter-dead:trough-1") == []


def _counts_too_few(profile: Profile, fault: Fault) -> bool:
    """Count world by world, by another way than the evidence does."""
    assert profile.controller is not None
    situation = complaint_named(profile, "will-not-start").situation
    placements = legal_placements(profile, situation.conditions)
    table = inject(profile, links(profile), [fault])
    for placement in placements:
        frame = readings(profile, table, worlds(profile, (placement,)))
        shown = [
            frame.reading(name) in (ball_reading(profile, name), "either")
            for name in profile.controller.home_sensors or ()
        ]
        if sum(shown) < (profile.controller.start_needs or 0):
            return True
    return False


def test_will_not_start_equals_counting_by_hand(
    machine: Profile, alone: dict[str, set[str]]
) -> None:
    """For each part fault the complaint comes exactly when too few home sensors show a ball."""
    faults = [one for one in possible_faults(machine) if one.kind.effect not in PART_EFFECTS]
    if not FULL:
        faults = random.Random(20261125).sample(faults, 60)
    for fault in faults:
        complained = fault.name in alone["will-not-start"]
        assert complained == _counts_too_few(machine, fault), fault.name


def test_the_cause_is_among_what_a_complaint_points_to(
    machine: Profile, alone: dict[str, set[str]]
) -> None:
    """Every single fault that makes the machine complain is named when that is diagnosed."""
    for one in complaints(machine) if FULL else complaints(machine)[2:4]:
        found = diagnose(
            machine, (), evidence=[Complained(profile=machine, complaint=one)], limit=1
        )
        named = {fault.name for cause in found.causes for fault in cause.faults}
        assert named == alone[one.id]
        assert not found.as_assumed


def test_complaint_and_readings_together_narrow_it_down() -> None:
    """By hand: it will not start, and all five positions read a ball: no part is at fault there.

    Then the readings that the technician took and those that the controller got must differ:
    only what comes and goes can do that, or a misread sheet.
    """
    profile = simrig.load("tidal-clockwork")
    closed = [f"trough-{number}" for number in range(1, 6)]
    sheet = Sheet(
        observation=observe(profile, closed=closed, closed_named=True), conditions=Conditions()
    )
    complaint = complaint_named(profile, "will-not-start")
    found = diagnose(
        profile, (sheet,), evidence=[Complained(profile=profile, complaint=complaint)], limit=1
    )
    assert found.causes
    for cause in found.causes:
        assert all(fault.kind.intermittent for fault in cause.faults)


def test_unknown_complaint_is_refused_in_words() -> None:
    """A complaint that no profile knows names those that it does."""
    profile = simrig.load("orchard-signal")
    with pytest.raises(ValueError, match='"rattles"; known: will-not-start, '):
        complaint_named(profile, "rattles")
