"""A log held against what the balls must have done."""

import os
import random
import tracemalloc

import attrs
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

import simrig
from simrig.expectation.flow import Flow
from simrig.expectation.recording import Recorder
from simrig.expectation.replay import StartError, replay
from simrig.expectation.transfers import carried, elsewhere
from simrig.profile.reader import read
from simrig.scan.events import Event
from simrig.world.moves import parse, start
from simrig.world.phases import Conditions, legal_placements
from tests.moving_machines import machines, runs
from tests.planted_logs import MACHINES, PLANTERS, Run, found, plant

FULL = bool(os.environ.get("SIMRIG_FULL"))
PERIODS = (None, 1.0, 5.0)


def logged(name, *texts, seed=None, conditions=None):
    """A profile, and the log of moves on it from idle."""
    profile = simrig.load(name)
    here = start(profile, legal_placements(profile, conditions or Conditions())[0])
    flow = Flow.of(profile, here)
    moves = [parse(profile, text) for text in texts]
    return profile, list(Recorder(flow.motions, flow.table, seed=seed).record(here, moves))


def event(time, signal, reading, line=0):
    return Event(time_ms=time, signal=signal, reading=reading, line=line)


def later(log, milliseconds=30_000.0):
    """The log, and after a time in which nothing happens one more row that says nothing new."""
    last = [one for one in log if one.reading in ("open", "closed")][-1]
    return [*log, attrs.evolve(last, time_ms=log[-1].time_ms + milliseconds)]


def told(found_in):
    return [(one.kind, one.sensor) for one in found_in.anomalies]


@pytest.mark.parametrize("kind", sorted(PLANTERS))
def test_one_planted_anomaly_of_each_kind_is_told_as_that_kind_at_that_time(kind):
    """At a random place of a random run; at least 98 of 100 seeds (10 of 10 here)."""
    seeds = range(100 if FULL else 10)
    missed = []
    for seed in seeds:
        # At the slow scan a fast ball may go unseen, and then no other comes too early.
        periods = PERIODS[:2] if kind == "early" else PERIODS
        run, planted = plant(kind, seed, period_ms=periods[seed % len(periods)])
        judged = replay(run.profile, run.log, sampling=run.sampling)
        if not found(judged.anomalies, planted):
            missed.append((seed, planted, told(judged)))
    assert len(missed) <= len(seeds) // 50, missed


@pytest.mark.parametrize("machine", MACHINES)
def test_clean_logs_raise_no_anomaly(machine):
    """Drawn within the windows, at three scan periods, with and without coils in the log."""
    for seed in range(1000 // 3 + 1 if FULL else 34):
        run = Run(seed, machine=machine, period_ms=PERIODS[seed % 3], coils=seed % 2 == 0, length=8)
        judged = replay(run.profile, run.log, sampling=run.sampling)
        assert judged.agrees, (seed, [str(move) for move in run.moves], judged.anomalies)


def test_the_moves_are_found_from_the_log_alone():
    """Nobody tells the judge what was done: the log does, with the balls at its end."""
    moves = ("serve", "launch", "lock-shot", "serve", "launch", "left-drain")
    profile, log = logged("tidal-clockwork", *moves)
    judged = replay(profile, log, keep_moves=True)
    assert [one.move.subject for one in judged.moves] == list(moves)
    assert dict(judged.balls) == {"trough": 4, "lock": 1}
    assert judged.phase == "idle"


def test_a_log_of_readings_alone_needs_no_coils():
    """Without rows of coils the same moves are found."""
    profile, log = logged("basalt-freight", "serve", "launch", "crane-way", "right-drain")
    judged = replay(profile, [one for one in log if one.reading in ("open", "closed")])
    assert judged.agrees
    assert dict(judged.balls) == {"trough": 7}


def test_balls_fed_by_hand_are_fed():
    """Common practice, no source: all out, then one by one into the trough."""
    conditions = Conditions(balls=0)
    profile, log = logged("tidal-clockwork", *["feed trough"] * 5, conditions=conditions)
    judged = replay(profile, log, conditions=conditions, keep_moves=True)
    assert judged.agrees
    assert [str(one.move) for one in judged.moves] == ["feed trough"] * 5
    assert dict(judged.balls) == {"trough": 5}


def test_a_flicker_just_after_a_kick_points_to_the_joint_beside_the_kicker():
    """The up-kicker's shocks crack joints beside it (common practice, no source)."""
    profile, log = logged("tidal-clockwork", "serve", "launch")
    log = [*later(log, 3000.0)]
    time = log[-1].time_ms
    log += [
        event(time + 100.0, "trough-kicker", "on"),
        event(time + 112.0, "trough-2", "open"),
        event(time + 121.0, "trough-2", "closed"),
        event(time + 130.0, "trough-2", "open"),
        event(time + 137.0, "trough-2", "closed"),
        event(time + 135.0 + 5.0, "trough-kicker", "off"),
    ]
    (one,) = replay(profile, later(log)).anomalies
    assert (one.kind, one.sensor, one.beside) == ("flicker", "trough-2", "trough-kicker")
    assert "changes and goes back 2 times, 25 ms in all" in one.why
    assert "within 12 ms of the pulse of the trough kicker" in one.why
    assert "look for a cracked joint there" in one.why


def test_a_rebound_that_stays_inside_is_no_anomaly_and_one_that_leaves_is():
    """A ball may roll off its position and back; out of the trough it cannot go."""
    profile, log = logged("tidal-clockwork", "serve", "launch", "serve", "launch", "left-drain")
    came = log[-1]
    assert (came.signal, came.reading) == ("trough-4", "closed")
    time = came.time_ms
    away = [
        event(time + 150.0, "trough-4", "open"),
        event(time + 190.0, "trough-5", "closed"),
        event(time + 260.0, "trough-5", "open"),
    ]
    back = event(time + 310.0, "trough-4", "closed")
    assert replay(profile, later([*log, *away, back])).agrees
    gone = replay(profile, later([*log, *away]))
    assert told(gone) == [("returned", "trough-4")]
    assert dict(gone.balls) == {"trough": 3, "playfield": 2}


def test_exchanged_leads_are_both_named():
    """The leads of trough 2 and 5 crossed: what one must read, the other reads."""
    profile, log = logged("tidal-clockwork", "serve", "launch", "centre-drain", "serve")
    crossed = {"trough-2": "trough-5", "trough-5": "trough-2"}
    log = [attrs.evolve(one, signal=crossed.get(one.signal, one.signal)) for one in log]
    (one,) = replay(profile, later(log)).anomalies
    assert one.kind == "swapped"
    assert {one.sensor, *one.others} == set(crossed)


def test_leads_exchanged_between_empty_and_full_positions_show_in_the_first_readings():
    """With four in the trough position 5 must be open; crossed with 1 it is the other way."""
    conditions = Conditions(phase="ready")
    profile, log = logged("tidal-clockwork", "launch", "left-drain", conditions=conditions)
    crossed = {"trough-1": "trough-5", "trough-5": "trough-1"}
    log = [attrs.evolve(one, signal=crossed.get(one.signal, one.signal)) for one in log]
    judged = replay(profile, later(log), conditions=conditions)
    assert [one.kind for one in judged.anomalies] == ["swapped"]


def test_a_log_that_starts_in_the_middle_is_taken_up_where_it_starts():
    """Neither the first readings nor the moves before are needed."""
    moves = ("serve", "launch", "ramp", "left-drain", "serve", "launch", "pool-shot")
    profile, log = logged("tidal-clockwork", *moves, seed=4)
    changes = [one for one in log if one.time_ms > 0]
    for cut in range(0, len(changes), 3):
        assert replay(profile, later(changes[cut:])).agrees, cut


def test_a_log_can_start_in_any_phase_without_being_told():
    """Its first readings say so."""
    profile, log = logged("tidal-clockwork", "launch", conditions=Conditions(phase="locked"))
    judged = replay(profile, log)
    assert judged.agrees
    assert judged.phase != "idle"
    assert dict(judged.balls) == {"trough": 2, "lock": 2, "playfield": 1}


def test_stated_conditions_are_held_against_the_first_readings():
    """Who says idle, while the log shows position 5 open and a ball in the launcher, is told so."""
    profile, log = logged("tidal-clockwork", "launch", conditions=Conditions(phase="ready"))
    judged = replay(profile, log, conditions=Conditions(phase="idle"))
    assert {judged.anomalies[0].sensor, *judged.anomalies[0].others} == {
        "trough-5", "launcher-ball"
    }  # fmt: skip
    with pytest.raises(StartError, match='there is no phase called "nap"'):
        replay(profile, log, conditions=Conditions(phase="nap"))


def test_repeated_states_say_nothing():
    """A recorder that says everything twice is as good as one that does not."""
    profile, log = logged("basalt-freight", "serve", "launch", "left-drain")
    twice = [one for each in log for one in (each, each)]
    assert replay(profile, twice).agrees


def test_an_unknown_sensor_is_left_out_with_a_message():
    """The rest of the log is judged."""
    profile, log = logged("tidal-clockwork", "serve")
    log.append(event(log[-1].time_ms + 10.0, "trough-55", "closed", line=61))
    log.append(event(log[-1].time_ms + 10.0, "trough-kik", "on", line=62))
    judged = replay(profile, log)
    assert judged.agrees
    assert judged.notes[0].startswith('line 61: no sensor is called "trough-55"; did you mean')
    assert judged.notes[0].endswith("its rows are left out")
    assert judged.notes[1].startswith('line 62: no coil is called "trough-kik"')


def test_sensors_go_by_address_and_by_the_manuals_number_too():
    """A log may name them as the manual does."""
    profile, log = logged("tidal-clockwork", "serve", "launch")
    by_number = {sensor.id: str(sensor.number) for sensor in profile.sensor if sensor.number}
    renamed = [attrs.evolve(one, signal=by_number.get(one.signal, one.signal)) for one in log]
    by_address = {name: str(address) for name, address in profile.address_of.items()}
    again = [attrs.evolve(one, signal=by_address.get(one.signal, one.signal)) for one in log]
    assert replay(profile, renamed) == replay(profile, log) == replay(profile, again)


def test_without_times_only_the_order_is_judged():
    """Order alone tells the moves, a missed beam and crossed leads; nothing can be late."""
    profile, log = logged("tidal-clockwork", "serve", "launch", "left-drain", "serve", "launch")
    order = [attrs.evolve(one, time_ms=None) for one in log if one.time_ms > 0]
    judged = replay(profile, order)
    assert judged.agrees
    assert not judged.timed
    assert dict(judged.balls) == {"trough": 4, "playfield": 1}
    crossed = {"trough-1": "trough-5", "trough-5": "trough-1"}
    wrong = [attrs.evolve(one, signal=crossed.get(one.signal, one.signal)) for one in order]
    assert not replay(profile, wrong).agrees
    assert all(one.time_ms is None for one in replay(profile, wrong).anomalies)


def test_a_sensor_of_unknown_polarity_is_not_judged_and_said_so():
    """Unknown facts widen: no anomaly rests on them."""
    profile, log = logged("tidal-clockwork", "serve", "launch")
    sensors = tuple(
        attrs.evolve(one, contact=None, rest_reads=None, worked_reads=None)
        if one.id == "launcher-ball"
        else one
        for one in profile.sensor
    )
    judged = replay(attrs.evolve(profile, sensor=sensors), log)
    assert judged.agrees
    assert judged.notes == (
        "launcher-ball is not judged: how it reads when a ball works it is not known",
    )


def test_a_log_without_a_known_row_is_no_reason_for_an_anomaly():
    """Nothing seen, nothing judged."""
    judged = replay(simrig.load("tidal-clockwork"), [])
    assert judged.agrees
    assert judged.events == 0


def test_memory_does_not_grow_with_the_log():
    """Streamed: four times the log, the same peak within a tenth."""

    def peak(rounds):
        profile, log = logged("basalt-freight", *["serve", "launch", "right-drain"] * rounds)
        tracemalloc.start()
        try:
            assert replay(profile, iter(log)).agrees
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    assert peak(120) < 1.1 * peak(30)


@pytest.mark.parametrize("seed", range(200 if FULL else 12))
def test_a_spoilt_log_is_judged_without_failing(seed):
    """Rows lost, doubled, exchanged, turned round: anomalies, but no failure."""
    run = Run(seed, length=8)
    drawn = random.Random(seed)
    log = list(run.log)
    for _ in range(drawn.randint(1, 25)):
        index = drawn.randrange(len(log))
        what = drawn.randrange(4)
        if what == 0:
            del log[index]
        elif what == 1:
            log.insert(index, log[index])
        elif what == 2:
            turned = {"open": "closed", "closed": "open", "on": "off", "off": "on"}
            log[index] = attrs.evolve(log[index], reading=turned[log[index].reading])
        else:
            other = drawn.randrange(len(log))
            if (log[index].reading in ("on", "off")) == (log[other].reading in ("on", "off")):
                one, two = log[index].signal, log[other].signal
                log[index] = attrs.evolve(log[index], signal=two)
                log[other] = attrs.evolve(log[other], signal=one)
    judged = replay(run.profile, log)
    assert sum(judged.balls.values()) <= run.profile.balls.installed + 1
    for one in judged.anomalies:
        assert run.profile.row("sensor", one.sensor) is not None
        assert one.why


BLIND = """\
format = 1
id = "blind-lane"
title = "Blind Lane"
balls = { installed = 2, store = "trough" }
place = [
  { id = "trough", kind = "trough", seats = 2, position_1 = "exit end" },
  { id = "lane", kind = "shooter lane", seats = 1, position_1 = "exit end" },
  { id = "field", kind = "playfield", seats = "any" },
]
route = [
  { id = "serve", from = "trough", to = ["lane"], by = "coil" },
  { id = "launch", from = "lane", to = ["field"], by = "plunger" },
  { id = "drain", from = "field", to = ["trough"], by = "gravity" },
]
phase = [{ id = "idle", placements = [{ trough = "rest" }] }]
sensor = [
  { id = "t1", kind = "leaf switch", at = ["trough.1"], contact = "normally open", address = "direct 1" },
  { id = "t2", kind = "leaf switch", at = ["trough.2"], contact = "normally open", address = "direct 2" },
]
"""


def test_a_place_that_nothing_watches_is_left_unseen_before_the_next_ball_comes():
    """The lane holds one ball and has no sensor: two are served, so the first was launched."""
    profile = read(BLIND.encode(), "blind-lane.toml")
    here = start(profile, legal_placements(profile, Conditions())[0])
    flow = Flow.of(profile, here)
    moves = [parse(profile, word) for word in ("serve", "launch", "serve")]
    log = Recorder(flow.motions, flow.table).record(here, moves)
    judged = replay(profile, log, keep_moves=True)
    assert judged.agrees, judged.anomalies
    assert [one.move.subject for one in judged.moves] == ["serve", "serve"]
    assert dict(judged.balls) == {"lane": 1, "field": 1}


@given(st.data())
@settings(max_examples=300 if FULL else 20, deadline=None, phases=[Phase.generate])
def test_any_machine_agrees_with_its_own_record_however_little_is_known_of_it(data):
    """Unknown lengths, slopes, scans and diodes: moves by machine and by hand, drawn times."""
    profile = data.draw(machines())
    placement, moves = data.draw(runs(profile))
    flow = Flow.of(profile, placement)
    seed = data.draw(st.none() | st.integers(0, 999))
    log = Recorder(flow.motions, flow.table, seed=seed).record(placement, moves)
    judged = replay(profile, log)
    assert judged.agrees, judged.anomalies


def test_a_ball_goes_on_unseen_where_a_route_leads_if_it_can():
    """From the full lane to the field, though the cellar comes first by name; nowhere from a
    place that is watched."""
    cellar = '  { id = "cellar", kind = "lock", seats = 1, position_1 = "exit end" },\n'
    text = BLIND.replace('  { id = "field"', cellar + '  { id = "field"')
    profile = read(text.encode(), "blind-lane.toml")
    unwatched = frozenset(("cellar", "field", "lane"))
    assert elsewhere(profile, unwatched, {"lane": 1}, "lane") == "field"
    assert elsewhere(profile, unwatched, {"field": 1}, "field") == "cellar"
    assert elsewhere(profile, frozenset(("lane",)), {"lane": 1}, "lane") is None
    assert elsewhere(profile, unwatched, {"trough": 2}, "trough") is None
    serve = parse(profile, "serve")
    counts, hand = carried(profile, unwatched, {"trough": 1, "lane": 1}, 0, serve)
    assert (counts, hand) == ({"lane": 1, "field": 1}, 0)
