"""Runs as a recorder writes them: drawn within the windows, scanned, the same for one seed."""

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simrig
from simrig.expectation.flow import Flow
from simrig.expectation.motions import sampling_of
from simrig.expectation.recording import Recorder, scanned
from simrig.expectation.timeline import reading_now, worked_at_rest
from simrig.scan.sampling import Sampling
from simrig.scan.scanner import links
from simrig.world.moves import parse, start
from simrig.world.phases import Conditions, legal_placements
from tests.moving_machines import machines, runs


def recorder(profile, seed=None, period_ms=None):
    placement = start(profile, legal_placements(profile, Conditions())[0])
    flow = Flow.of(profile, placement, sampling=sampling_of(profile, period_ms=period_ms))
    return Recorder(flow.motions, flow.table, seed=seed), placement


def made(profile, seed=None, texts=("serve", "launch", "left-drain"), period_ms=None):
    here, placement = recorder(profile, seed, period_ms)
    return here.record(placement, [parse(profile, text) for text in texts])


@given(st.data())
@settings(max_examples=40)
def test_a_log_begins_with_every_reading_and_ends_at_those_of_rest(data):
    """The last reading of each sensor is the one at rest after the last move."""
    profile = data.draw(machines())
    placement, moves = data.draw(runs(profile))
    flow = Flow.of(profile, placement)
    seed = data.draw(st.none() | st.integers(0, 1000))
    log = Recorder(flow.motions, flow.table, seed=seed).record(placement, moves)
    for move in moves:
        flow, _ = flow.step(move)
    rest = reading_now(profile, flow.table, worked_at_rest(profile, flow.placement))
    last = {one.signal: one.reading for one in log if one.reading in ("closed", "open")}
    assert last.items() <= rest.items()
    times = [one.time_ms for one in log]
    assert times == sorted(times)


def test_the_same_seed_gives_the_same_log_and_another_one_another():
    """Seeded: no other chance comes in."""
    profile = simrig.load("tidal-clockwork")
    assert made(profile, 7) == made(profile, 7)
    assert made(profile, 7) != made(profile, 8)


def test_readings_change_at_scans_only():
    """Every change lies on the controller's grid, whatever its start."""
    profile = simrig.load("basalt-freight")
    log = [one for one in made(profile, 3, period_ms=5.0) if one.reading in ("open", "closed")]
    phases = {round(one.time_ms % 5.0, 6) for one in log if one.time_ms}
    assert len(phases) == 1


def test_a_pulse_shorter_than_the_debounce_is_not_recorded():
    """Three readings 2 ms apart want more than 4 ms. Source: derived (SCN-02)."""
    sampling = Sampling(period_ms=2, equal_readings=3)
    assert list(scanned("open", [(10.0, "closed"), (13.9, "open")], sampling, 0.5)) == []
    seen = list(scanned("open", [(10.0, "closed"), (17.0, "open")], sampling, 0.5))
    assert seen == [(14.5, "closed"), (22.5, "open")]


@given(st.floats(0, 1.999), st.floats(4.001, 50))
def test_a_scanned_pulse_is_as_often_seen_as_the_formula_says(phase, width):
    """w, T, n: seen for certain from n T on. Source: derived (SCN-02)."""
    sampling = Sampling(period_ms=2, equal_readings=3)
    seen = list(scanned("open", [(10.0, "closed"), (10.0 + width, "open")], sampling, phase))
    if width >= sampling.certain_ms:
        assert len(seen) == 2
    for time, reading in seen:
        if reading == "closed":
            assert 10.0 + 4.0 - 1e-9 <= time <= 10.0 + 6.0 + 1e-9


def test_a_fraction_of_short_pulses_is_seen():
    """SCN-02: w 5 ms, T 2 ms, n 3: half of them, over all starts of the scan."""
    sampling = Sampling(period_ms=2, equal_readings=3)
    pulse = [(10.0, "closed"), (15.0, "open")]
    hits = sum(bool(list(scanned("open", pulse, sampling, phase / 100))) for phase in range(200))
    assert hits / 200 == pytest.approx(0.5, abs=0.01)


def test_an_input_filter_swallows_what_is_shorter_and_delays_the_rest():
    """A filter of 3 ms: 2 ms are ignored, 5 ms come 3 ms later. Source: FIL (SCN-05)."""
    sampling = Sampling(period_ms=0.1, filter_ms=3)
    assert list(scanned("open", [(10.0, "closed"), (12.0, "open")], sampling, 0.0)) == []
    seen = list(scanned("open", [(10.0, "closed"), (15.0, "open")], sampling, 0.0))
    assert [round(time, 1) for time, _ in seen] == [13.0, 18.0]


def test_coils_are_recorded_with_the_moves_they_make():
    """A kick is a pulse of its coil as long as the profile says."""
    log = made(simrig.load("tidal-clockwork"))
    kicks = [one.time_ms for one in log if one.signal == "trough-kicker"]
    assert kicks[1] - kicks[0] == pytest.approx(35)


def test_a_machine_of_unknown_polarity_records_what_is_known():
    """A reading that may be either is left out of a log."""
    profile = simrig.load("tidal-clockwork")
    sensors = tuple(
        attrs.evolve(one, contact=None, rest_reads=None, worked_reads=None)
        if one.id == "launcher-ball"
        else one
        for one in profile.sensor
    )
    log = made(attrs.evolve(profile, sensor=sensors))
    assert "launcher-ball" not in {one.signal for one in log}
    assert links(profile).leads == {}
