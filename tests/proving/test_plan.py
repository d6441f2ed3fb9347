"""The plan that proves a machine."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

import simrig
from simrig import strategies
from simrig.profile.machine import Profile
from simrig.proving.judging import judge
from simrig.proving.plan import balls_at_hand, prove
from simrig.proving.rehearsal import rehearse
from simrig.proving.step import DEAD, LIVE
from simrig.scan.scanner import links
from simrig.world.balls import count_by_place
from simrig.world.phases import Conditions

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


@pytest.fixture(scope="module", params=MACHINES)
def machine(request: pytest.FixtureRequest) -> Profile:
    """One of the demo machines."""
    return simrig.load(request.param)


def test_every_ball_sensor_is_proven(machine: Profile) -> None:
    """The whole plan leaves no ball sensor of a demo machine unproven."""
    plan = prove(machine)
    assert plan.unproven == ()
    assert set(plan.proven) == {name for step in plan.steps for name in step.proves}


def test_each_fed_ball_adds_one_closed_reading_at_rest(machine: Profile) -> None:
    """Common practice, no source: fed one at a time, each ball stops at the next free position.

    All three machines' troughs read closed with a ball there.
    """
    trough = {one.id for one in machine.ball_sensors() if one.id.startswith("trough-")}
    trough -= {"trough-jam"}
    closed = [
        sum(step.reads[name] == "closed" for name in trough)
        for step in prove(machine).steps
        if step.do.startswith("Feed ball") and "ball trough" in step.do
    ]
    assert closed == list(range(1, machine.balls.installed + 1))


def test_by_hand_first_then_by_itself(machine: Profile) -> None:
    """The bench changes once: coils dead while hands are in, live while they are out."""
    steps = prove(machine).steps
    coils = [step.coils for step in steps]
    assert coils == sorted(coils, key=(DEAD, LIVE).index)
    assert [step.caution != "" for step in steps].count(True) == 2
    assert all(step.coils == LIVE for step in steps if step.coil)
    assert not any(word in step.do for step in steps if step.coils == LIVE for word in ("by hand",))


def test_at_the_end_every_ball_is_home(machine: Profile) -> None:
    """The plan ends with all balls in the machine."""
    plan = prove(machine)
    assert sum(count_by_place(machine, plan.deeds[-1].after).values()) == machine.balls.installed


def test_interlock_is_tried_both_ways() -> None:
    """Where an interlock is fitted, coils are tried with the door open and shut."""
    steps = [step.do for step in prove(simrig.load("tidal-clockwork")).steps]
    assert [
        ("Open the coin door" in do, "Shut the coin door" in do) for do in steps if "door" in do
    ] == [
        (True, False),
        (False, True),
    ]
    none = prove(simrig.load("orchard-signal"))
    assert not any("coin door" in step.do for step in none.steps)


def test_short_plan_for_one_part() -> None:
    """By hand: after a repair at trough position 2, two balls are fed and taken out again."""
    plan = prove(simrig.load("tidal-clockwork"), repaired="trough-2")
    assert [step.do for step in plan.steps if step.coils == DEAD] == [
        "All balls out; captive ones stay. Read the ball sensors.",
        "Feed ball 1 by hand: ball trough.",
        "Feed ball 2 by hand: ball trough.",
        "Take one ball out at the exit: ball trough.",
        "Take one ball out at the exit: ball trough.",
        "Put all balls back by hand: 5 in the ball trough.",
    ]
    assert "trough-2" in plan.proven


def test_part_that_is_not_there() -> None:
    """A part that the machine does not have is refused in words."""
    with pytest.raises(ValueError, match='no part "flywheel"'):
        prove(simrig.load("tidal-clockwork"), repaired="flywheel")


@settings(suppress_health_check=[HealthCheck.too_slow], max_examples=25)
@given(strategies.profiles(unknown=True))
def test_any_machine_has_a_plan(profile: Profile) -> None:
    """Whatever a profile leaves out, the plan says what it proves and what it does not."""
    plan = prove(profile)
    assert {*plan.proven, *plan.unproven} == set(plan.steps[0].reads)
    assert all(step.do and step.expect for step in plan.steps)


def test_part_may_be_named_as_the_record_names_it() -> None:
    """The kind of part, the kind of fault and the part alone name the same sensors."""
    profile = simrig.load("tidal-clockwork")
    plans = [
        prove(profile, repaired=name)
        for name in ("resistor:trough-3", "resistor-lead-broken:trough-3")
    ]
    assert plans[0] == plans[1]


def test_misspelt_part_gets_the_nearest_name() -> None:
    """One wrong letter is met with the right word."""
    with pytest.raises(ValueError, match='did you mean "trough-3"'):
        prove(simrig.load("tidal-clockwork"), repaired="trogh-3")


def test_with_fewer_balls_it_proves_what_they_reach() -> None:
    """With three of five balls the plan feeds three and no more, ends with three, and leaves the
    positions that they do not reach for a ball held there by hand."""
    profile = simrig.load("tidal-clockwork")
    plan = prove(profile, conditions=Conditions(balls=3))
    fed = [
        step.do for step in plan.steps if step.do.startswith("Feed ball") and "trough" in step.do
    ]
    assert len(fed) == plan.balls == 3
    assert sum(count_by_place(profile, plan.deeds[-1].after).values()) == 3
    assert judge(plan, rehearse(profile, plan, links(profile))).passed
    assert not judge(prove(profile), rehearse(profile, plan, links(profile))).passed


@pytest.mark.parametrize(
    ("conditions", "balls"),
    [
        (Conditions(), 5),
        (Conditions(phase="idle"), 5),
        (Conditions(at={"trough": 2, "lock": 1}), 3),
        (Conditions(spots=frozenset(("trough.1", "launcher.1"))), 2),
        (Conditions(at={"trough": 2}, balls=4), 4),
    ],
)
def test_balls_at_hand(conditions: Conditions, balls: int) -> None:
    """As many as are stated; without a number as many as were seen; else all installed."""
    assert balls_at_hand(simrig.load("tidal-clockwork"), conditions) == balls


def test_mechanisms_begin_as_they_were_seen() -> None:
    """A mechanism that was seen in another state than at rest stands so when the plan begins."""
    profile = simrig.load("tidal-clockwork")
    name, state = next(
        (row.id, one) for row in profile.mechanism for one in row.states if one != row.rest
    )
    plan = prove(profile, conditions=Conditions(states={name: state}))
    assert dict(plan.empty.states)[name] == {state}
    assert dict(prove(profile).empty.states)[name] != {state}


def test_what_a_phantom_reads_proves_nothing_of_the_switch() -> None:
    """By hand: trough 1 of Meadow Telegraph never holds a ball but with 2, 3 and 4 closed, which
    close its address too; only a ball held there alone shows that its switch closes."""
    path = Path(__file__).parents[1] / "heldout" / "meadow-telegraph.toml"
    plan = prove(simrig.load(str(path)))
    assert not plan.unproven
    (step,) = (one for one in plan.steps if "t-1" in one.proves)
    assert step.do == "Hold a ball there and take it away again: trough position 1."
    assert step.reads["t-1"] == "open"
