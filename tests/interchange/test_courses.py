"""Scenarios as runs: recorded, and held against what the balls must have done."""

import glob
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simrig
from simrig.errors import InputError
from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.recording import Recorder
from simrig.expectation.replay import replay
from simrig.interchange import scenarios
from simrig.interchange.courses import course
from simrig.interchange.logs import read_log, write_csv, write_vcd
from simrig.scan.scanner import links
from simrig.world.moves import apply

FULL = bool(os.environ.get("SIMRIG_FULL"))
FILES = sorted(glob.glob("scenarios/*/*.scenario.toml"))


def read(file):
    with open(file, "rb") as opened:
        scenario = scenarios.read(opened.read(), file)
    profile = simrig.load(scenario.machine)
    return profile, course(profile, scenario, file)


def written(profile, events, form):
    if form == "csv":
        return list(write_csv(events))
    places = {sensor.id: "" for sensor in profile.sensor}
    coils = [coil.id for coil in profile.coil]
    return list(write_vcd(events, machine=profile.id, places=places, coils=coils))


def judged(profile, made, *, form, period_ms, seed):
    sampling = sampling_of(profile, period_ms=period_ms)
    recorder = Recorder(Motions(profile, sampling=sampling), links(profile), seed=seed)
    pieces = written(profile, recorder.record(made.start, made.moves), form)
    coils = [coil.id for coil in profile.coil]
    return replay(profile, read_log(pieces, file="log", coils=coils), sampling=sampling)


def test_there_are_scenarios_of_every_machine():
    """Nothing below is empty."""
    assert {file.split("/")[1] for file in FILES} == {
        "basalt-freight", "orchard-signal", "tidal-clockwork"
    }  # fmt: skip


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("form", ["csv", "vcd"])
def test_every_scenario_recorded_agrees_when_replayed(file, form):
    """Typical times, in both forms of a log."""
    profile, made = read(file)
    found = judged(profile, made, form=form, period_ms=None, seed=None)
    assert found.agrees, found.anomalies


@given(
    st.sampled_from(FILES),
    st.sampled_from(["csv", "vcd"]),
    st.sampled_from([None, 1.0, 5.0]),
    st.integers(0, 10_000),
)
@settings(max_examples=1000 if FULL else 25, deadline=None)
def test_any_scenario_drawn_within_its_windows_agrees_at_any_scan_period(
    file, form, period_ms, seed
):
    """Jittered times, speeds and rebounds; the profile's scan, a fast one and a slow one."""
    profile, made = read(file)
    found = judged(profile, made, form=form, period_ms=period_ms, seed=seed)
    assert found.agrees, found.anomalies


def text(*steps):
    head = 'format = 1\ntitle = "x"\nmachine = "tidal-clockwork"\n'
    return (head + "".join(f"[[step]]\n{step}\n" for step in steps)).encode()


def test_positions_set_outright_follow_by_hand():
    """From five home to three, and a ball laid on the jam beam: out, out, and laid."""
    scenario = scenarios.read(
        text('phase = "idle"', "balls = 3", 'seats = ["trough.1", "trough.jam"]'), "a"
    )
    profile = simrig.load("tidal-clockwork")
    made = course(profile, scenario, "a")
    assert [str(move) for move in made.moves] == [
        "remove trough", "remove trough", "remove trough", "remove trough", "put trough.jam",
    ]  # fmt: skip


def test_moves_follow_from_where_the_step_before_leaves_the_balls():
    """Each move can be made from the placement before it."""
    profile, made = read("scenarios/tidal-clockwork/moves.scenario.toml")
    here = made.start
    for move in made.moves:
        here = apply(profile, here, move)
    assert [move.subject for move in made.moves][:3] == ["serve", "launch", "lock-shot"]


def test_steps_that_cannot_be_made_are_all_told_with_their_lines():
    """A move from an empty place, and a phase that does not exist."""
    scenario = scenarios.read(text('do = ["launch"]', 'phase = "nap"'), "a.scenario.toml")
    with pytest.raises(InputError) as caught:
        course(simrig.load("tidal-clockwork"), scenario, "a.scenario.toml")
    lines = str(caught.value).splitlines()
    assert lines[0] == ("a.scenario.toml:4: step 1: the launcher is empty; no ball can leave it")
    assert lines[1].startswith('a.scenario.toml:6: step 2: no phase is called "nap"')
