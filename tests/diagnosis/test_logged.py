"""What a log points to, and what it rules out."""

import attrs
import pytest

import simrig
from simrig.diagnosis.diagnose import diagnose
from simrig.diagnosis.logged import Logged
from simrig.expectation.flow import Flow
from simrig.expectation.recording import Recorder
from simrig.expectation.replay import replay
from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.scan.events import Event
from simrig.scan.scanner import links
from simrig.world.moves import parse, start
from simrig.world.phases import Conditions, legal_placements

PROFILE = simrig.load("tidal-clockwork")
MOVES = ("serve", "launch", "left-drain", "serve", "launch", "lock-shot", "lock-eject")


def logged(*faults):
    """The log of a run on a machine with these faults, and a while after it."""
    here = start(PROFILE, legal_placements(PROFILE, Conditions())[0])
    possible = possible_faults(PROFILE)
    table = inject(PROFILE, links(PROFILE), [fault_named(possible, name) for name in faults])
    flow = Flow.of(PROFILE, here, table=table)
    moves = [parse(PROFILE, text) for text in MOVES]
    log = list(Recorder(flow.motions, table).record(here, moves))
    return [*log, attrs.evolve(log[-1], time_ms=log[-1].time_ms + 30_000.0)]


def causes(log, **options):
    evidence = Logged(profile=PROFILE, replay=replay(PROFILE, log))
    found = diagnose(PROFILE, (), evidence=(evidence,), **options)
    return [tuple(sorted(fault.name for fault in cause.faults)) for cause in found.causes]


def test_exchanged_leads_come_first():
    """The pair that the log names, or the two rows that carry just these."""
    found = causes(logged("leads-exchanged:trough-4+trough-5"))
    assert found[0] == ("leads-exchanged:trough-4+trough-5",)
    assert set(found) == {
        ("leads-exchanged:trough-4+trough-5",), ("rows-exchanged:4+5",)
    }  # fmt: skip


def test_a_flicker_after_a_kick_points_to_the_joint_beside_the_kicker():
    """Parts that come and go, the shaken ones first; nothing that stays broken."""
    log = logged()
    time = log[-1].time_ms
    times = [time + 1012.0, time + 1021.0, time + 1030.0, time + 1037.0]
    log.append(Event(time_ms=time + 1000.0, signal="trough-kicker", reading="on"))
    for number, when in enumerate(times):
        reading = ("open", "closed")[number % 2]
        log.append(Event(time_ms=when, signal="trough-2", reading=reading))
    log.append(attrs.evolve(log[-1], time_ms=time + 20_000.0))
    found = causes(log)
    assert found[0] == ("emitter-joint-loose:trough-2",)
    assert ("resistor-lead-broken:trough-2",) not in found


def test_a_sensor_that_has_changed_has_nothing_that_holds_it():
    """A clean log rules out every fault that would have kept a sensor where it is."""
    judged = replay(PROFILE, logged())
    assert judged.agrees
    held = Logged(profile=PROFILE, replay=judged)
    possible = possible_faults(PROFILE)
    from simrig.diagnosis.suspects import suspects

    among = suspects(PROFILE, (), faults=possible)
    system = held.system(among, 2)
    excluded = {among[index].fault.name for index in system.excluded}
    assert {"emitter-dead:trough-1", "wire-open:launcher-ball", "bank-open:trough-low"} & excluded
    assert "emitter-dead:ramp-entry" not in excluded
    assert not any(name.startswith("emitter-joint-loose") for name in excluded)


@pytest.mark.parametrize("fault", ["emitter-dead:trough-5", "channel-open:trough-5"])
def test_a_sensor_that_never_changes_points_to_what_holds_it(fault):
    """Dark for good, or open for good: the planted part is among the causes."""
    found = causes(logged(fault), limit=2)
    assert any(fault in cause for cause in found), found[:5]


def test_a_log_that_agrees_leaves_all_as_assumed():
    """Nothing is wrong in it, nothing need be."""
    evidence = Logged(profile=PROFILE, replay=replay(PROFILE, logged()))
    assert diagnose(PROFILE, (), evidence=(evidence,)).as_assumed
