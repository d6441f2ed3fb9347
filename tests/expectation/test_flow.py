"""Balls in time: what each sensor does, certain or optional, and when."""

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simrig
from simrig.expectation.flow import Flow, Timed, expected_events, moved
from simrig.expectation.timeline import reading_now, worked_at_rest
from simrig.scan.scanner import links
from simrig.world.balls import Placement
from simrig.world.moves import IllegalMoveError, parse, start
from simrig.world.phases import Conditions, legal_placements
from tests.moving_machines import machines, runs

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


def idle(profile):
    return start(profile, legal_placements(profile, Conditions())[0])


def told(events, certain_only=False):
    return [
        f"{one.signal} {one.reading}" for one in events if one.certain or not certain_only
    ]  # fmt: skip


@given(st.data())
@settings(max_examples=60)
def test_certain_and_optional_events_end_at_the_readings_of_rest(data):
    """Whatever is moved, every reading is in the end what it is at rest."""
    profile = data.draw(machines())
    placement, moves = data.draw(runs(profile))
    table = links(profile)
    flow = Flow.of(profile, placement)
    readings = reading_now(profile, table, worked_at_rest(profile, placement))
    for move in moves:
        flow, events = flow.step(move)
        doubted = {one.signal for one in events if one.reason == "unknown"}
        for one in events:
            if one.reading not in ("on", "off"):
                readings[one.signal] = one.reading
        rest = reading_now(profile, table, worked_at_rest(profile, flow.placement))
        assert {k: v for k, v in readings.items() if k not in doubted} == {
            k: v for k, v in rest.items() if k not in doubted
        }
        readings = rest


FORGETTABLE = {
    "place": ("pitch_mm", "slope_deg", "contact_width_mm"),
    "route": ("length_mm", "slope_deg", "entry_speed_mm_s"),
    "sensor": ("beam_height_mm",),
}


def forgetful(profile):
    """The machine with one fact of its geometry less, in every way."""
    for table, facts in FORGETTABLE.items():
        rows = getattr(profile, table)
        for number, row in enumerate(rows):
            for fact in facts:
                if getattr(row, fact) is not None:
                    less = attrs.evolve(row, **{fact: None})
                    yield attrs.evolve(
                        profile, **{table: (*rows[:number], less, *rows[number + 1 :])}
                    )


@given(st.data())
@settings(max_examples=60)
def test_a_fact_forgotten_never_narrows_a_window_nor_makes_an_event_certain(data):
    """Unknown geometry only widens: every window holds that of the machine better known."""
    profile = data.draw(machines())
    placement, moves = data.draw(runs(profile, most=1))

    def passes(machine):
        motion = Flow.of(machine, placement).motions.of(placement, moves[0])
        return {
            (one.sensor, one.spot, one.worked, one.length_ms is None): (begins, one)
            for begins, one in zip(motion.begins, motion.passes, strict=True)
        }

    better = passes(profile)
    for less in forgetful(profile):
        worse = passes(less)
        assert better.keys() <= worse.keys()
        for name, (begins, one) in better.items():
            begins_worse, other = worse[name]
            assert begins_worse.low <= begins.low + 1e-6
            assert begins.high <= begins_worse.high + 1e-6
            assert one.certain or not other.certain
            if one.length_ms is not None:
                assert other.length_ms.low <= one.length_ms.low + 1e-6
                assert one.length_ms.high <= other.length_ms.high + 1e-6


@pytest.mark.parametrize("name", MACHINES)
def test_a_ball_fed_into_an_empty_trough_passes_every_sensor_and_stops_at_the_exit(name):
    """Common practice, no source: each ball fed adds one worked sensor, at the next free position."""
    profile = simrig.load(name)
    trough = profile.row("place", "trough")
    flow = Flow.of(profile, start(profile, Placement(spots=frozenset())))
    order = range(1, trough.capacity + 1)
    order = list(order) if trough.position_1 == "exit end" else list(reversed(order))
    for balls in range(profile.balls.installed):
        flow, events = flow.step("feed trough")
        own = [one for one in events if one.signal.startswith("trough-")]
        sensors = [f"trough-{number}" for number in order]
        passed = list(reversed(sensors[balls:]))
        assert list(dict.fromkeys(one.signal for one in own)) == passed
        assert told(own)[-1] == f"{passed[-1]} closed"
        worked = worked_at_rest(profile, flow.placement)
        assert [sensor for sensor in sensors if worked[sensor]] == sensors[: balls + 1]


def test_a_kick_moves_the_row_and_the_rest_is_optional_with_its_reason():
    """The exit clears for tenths of a second, the last occupied for good, gaps may be seen."""
    profile = simrig.load("tidal-clockwork")
    _, events = Flow.of(profile, idle(profile)).step("serve")
    assert told(events, certain_only=True) == [
        "trough-kicker on",
        "trough-1 open",
        "trough-kicker off",
        "launcher-ball closed",
        "trough-5 open",
        "trough-1 closed",
    ]
    gaps = {one.signal: one for one in events if one.reason == "touching"}
    assert set(gaps) == {"trough-2", "trough-3", "trough-4"}
    assert "two touching balls" in gaps["trough-2"].why
    assert "3 equal readings 2 ms apart" in gaps["trough-2"].why


def test_what_a_scan_may_miss_is_optional():
    """At 4.2 m/s a ball is over the lane's sensor for about 6 ms; three readings need that."""
    profile = simrig.load("tidal-clockwork")
    flow, _ = Flow.of(profile, idle(profile)).step("serve")
    _, events = flow.step("launch")
    lane = [one for one in events if one.signal == "launch-lane"]
    assert [one.certain for one in lane] == [False, False]


def test_a_scan_that_nobody_knows_makes_every_passing_ball_optional():
    """Without a scan period only what stays is certain."""
    profile = attrs.evolve(simrig.load("tidal-clockwork"), scan=None)
    flow = Flow.of(profile, start(profile, Placement(spots=frozenset())))
    _, events = flow.step("feed trough")
    assert told(events, certain_only=True) == ["trough-1 closed"]
    assert {one.why for one in events if not one.certain} == {
        "how the controller scans is not known"
    }


def test_an_exchanged_lead_shows_at_the_other_address_in_time_too():
    """The table of links with a fault in it gives the events that the fault makes of the run."""
    from simrig.faults.candidates import fault_named, possible_faults
    from simrig.faults.injection import inject

    profile = simrig.load("tidal-clockwork")
    fault = fault_named(possible_faults(profile), "leads-exchanged:trough-4+trough-5")
    table = inject(profile, links(profile), [fault])
    _, events = Flow.of(profile, idle(profile), table=table).step("serve")
    certain = told(events, certain_only=True)
    assert "trough-4 open" in certain
    assert "trough-5 open" not in certain


def test_a_phantom_comes_and_goes_with_the_ball_that_makes_it():
    """Rows without diodes: with a ball in the shooter lane the signal lane reads closed."""
    profile = simrig.load("orchard-signal")
    flow, events = Flow.of(profile, idle(profile)).step("serve")
    assert told(one for one in events if one.signal == "signal-lane")[-1] == "signal-lane closed"
    _, events = flow.step("plunge")
    assert "signal-lane open" in told(events)


def test_a_step_leaves_the_flow_as_it_was():
    """What if: the same flow can be stepped again, with the same result."""
    profile = simrig.load("basalt-freight")
    flow = Flow.of(profile, idle(profile))
    before = flow.placement
    first = flow.step("serve")
    assert flow.placement == before
    assert flow.step("serve") == first


def test_events_of_a_run_come_in_order_and_name_their_move():
    """A run is a list of moves in time."""
    profile = simrig.load("tidal-clockwork")
    moves = [
        Timed(move=parse(profile, text), at_ms=3000.0 * number)
        for number, text in enumerate(("serve", "launch", "centre-drain"))
    ]
    events = expected_events(profile, idle(profile), moves)
    times = [one.typical_ms for one in events]
    assert times == sorted(times)
    assert [one.move for one in events] == sorted(one.move for one in events)
    assert all(one.earliest_ms <= one.typical_ms <= one.latest_ms for one in events)


def test_a_move_that_cannot_be_made_is_refused_in_words():
    """The table of moves decides."""
    profile = simrig.load("tidal-clockwork")
    with pytest.raises(IllegalMoveError, match="the launcher is empty; no ball can leave it"):
        Flow.of(profile, idle(profile)).step("launch")


def test_two_beams_closer_than_a_ball_tell_the_direction():
    """First only the one, then both, then only the other; each beam is covered once."""
    profile = simrig.load("basalt-freight")
    placement = legal_placements(profile, Conditions(phase="play"))[0]
    _, events = Flow.of(profile, start(profile, placement)).step("crane-way")
    assert told(events) == ["crane-a open", "crane-b open", "crane-a closed", "crane-b closed"]


def test_a_hand_that_lays_a_ball_at_the_jam_beam_is_a_move_too():
    """What no place of rest holds is laid there, and taken away, by hand."""
    from simrig.expectation.transfers import PICK, PUT
    from simrig.world.moves import Move

    profile = simrig.load("tidal-clockwork")
    flow, events = Flow.of(profile, idle(profile)).step(Move(verb=PUT, subject="trough.jam"))
    assert told(events) == ["trough-jam closed"]
    assert moved(profile, flow.placement, Move(verb=PICK, subject="trough.jam")) == idle(profile)
