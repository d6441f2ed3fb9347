"""From what can be wrong to the part: the dark-emitter story, safety in every plan, contradictions."""

from __future__ import annotations

import itertools
import os
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simrig.diagnosis import bench_state, sequencing
from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.check_results import BenchResults, Result
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.offered import LAST
from simrig.diagnosis.reasoning import explain
from simrig.diagnosis.suspects import Sheet
from simrig.diagnosis.system import Allowed
from simrig.expectation.observation import Observation, observe
from simrig.faults.candidates import Fault, fault_named, possible_faults
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.profile.wiring import Coil, CoilBank, Fuse, Interlock
from simrig.world.phases import Conditions
from tests.diagnosis.bench_machine import TEXT, bench_machine
from tests.diagnosis.safety import plan_faults
from tests.generated_profiles import profiles

FULL = bool(os.environ.get("SIMRIG_FULL"))
MILL = bench_machine()
FAULTS = possible_faults(MILL)
FULL_HOUSE = Sheet(
    observation=observe(MILL, closed=["t1", "t2", "t3"], closed_named=True), conditions=Conditions()
)


def empty(*closed: str, profile: Profile = MILL) -> Sheet:
    """A sheet with every loose ball out."""
    return Sheet(
        observation=observe(profile, closed=closed, closed_named=True),
        conditions=Conditions(spots=frozenset()),
    )


DARK = Job(profile=MILL, sheets=(FULL_HOUSE, empty("t1")))
"""Position 1 reads as a ball though every ball is out; beside a kicker."""


def named(*pairs: str, job: Job = DARK) -> list[Result]:
    """Results by their names."""
    return [job.result(*pair.split("=")) for pair in pairs]


def left(isolation: Isolation) -> list[str]:
    """The causes left, in words for a test."""
    return [
        "+".join([fault.name for fault in cause.faults] + [m.kind for m in cause.assumes])
        for cause in isolation.causes
    ]


def test_the_first_check_needs_no_tool_and_leaves_the_playfield_down() -> None:
    """The story of a dark emitter begins with eyes and hands, the camera comes before the meter."""
    results: list[Result] = []
    order = []
    for _ in range(12):
        isolation = DARK.isolation(results)
        found = isolation.next
        if found is None:
            break
        order.append(found.check)
        (word,) = found.check.outcomes(case_of("resistor-lead-broken:t1"))
        results.append(Result(check=found.check, result=word))
    assert order[0].work in ("look", "read", "press", "hand", "reach")
    assert order[0].easy
    ids = [check.id for check in order]
    meters = [n for n, check in enumerate(order) if check.work in ("ohms", "volts", "iron")]
    assert ids.index("camera-t1") < min(meters)
    assert left(DARK.isolation(results)) == ["resistor-lead-broken:t1"]


def test_a_raised_playfield_is_not_lowered_for_what_is_merely_easy() -> None:
    """The open contact is found under the raised playfield: what is there to measure comes next."""
    path = Path(__file__).parents[1] / "stories" / "frost-mill.toml"
    mill = read(path.read_bytes(), path.name)
    seen = observe(
        mill, closed=["trough-2", "trough-3", "trough-5", "lane-ball"], closed_named=True
    )
    job = Job(profile=mill, sheets=(Sheet(observation=seen, conditions=Conditions(phase="ready")),))
    results = [job.result("read-again", "same"), job.result("work-trough-4", "stays-open")]
    isolation = job.isolation(results)
    assert isolation.state.playfield == "raised"
    found = isolation.next
    assert found is not None
    assert all(move.id != "lower" for move in found.way.moves)


def test_a_look_comes_before_anything_is_opened() -> None:
    """A ball may be missing, or the cell misread: eyes first, and no button pressed for it."""
    seen = observe(MILL, closed=["t1", "t2"], closed_named=True)
    one_away = Sheet(observation=seen, conditions=Conditions())
    isolation = Job(profile=MILL, sheets=(one_away,)).isolation(())
    found = isolation.next
    assert found is not None
    assert found.check.work in ("look", "read")
    assert found.way.moves == ()


def case_of(*faults: str, job: Job = DARK) -> Case:
    """A case of Bench Mill."""
    return Case(ground=job.bench.ground, faults=tuple(fault_named(FAULTS, name) for name in faults))


def test_results_take_it_down_to_resistor_against_emitter_and_volts_part_them() -> None:
    """Beside a kicker the resistor's lead ranks above the LED; full supply or nothing decides."""
    before = named("look-t1=clear", "wipe-t1=no-change", "camera-t1=dark", "tap-low=steady")
    isolation = DARK.isolation(before)
    found = left(isolation)
    assert found[0] == "resistor-lead-broken:t1"
    assert {"emitter-dead:t1", "resistor-lead-broken:t1"} <= set(found)
    assert not any(name.startswith(("receiver", "channel", "beam-mis")) for name in found)
    none = left(DARK.isolation([*before, *named("volts-t1=none")]))
    full = left(DARK.isolation([*before, *named("volts-t1=full")]))
    assert "resistor-lead-broken:t1" in none
    assert "emitter-dead:t1" not in none
    assert "emitter-dead:t1" in full
    assert "resistor-lead-broken:t1" not in full


def test_good_mates_keep_the_bank_out_of_it() -> None:
    """With its neighbour lit, plug, fuse and supply are not among single causes."""
    names = left(DARK.isolation(()))
    assert not {"plug-off:plug-a", "fuse-blown:f1", "supply-lost:light"} & set(names)
    both = Job(profile=MILL, sheets=(FULL_HOUSE, empty("t1", "t2")))
    assert "plug-off:plug-a" in left(both.isolation(()))


def test_the_bench_moves_along_with_the_results() -> None:
    """After the camera the playfield is up, so that the next look there costs no raising."""
    after = DARK.isolation(named("camera-t1=dark"))
    assert after.state.playfield == "raised"
    assert after.state.coils == "absent"
    tapping = next(check for check in DARK.bench.checks if check.id == "tap-low")
    way = DARK.bench.way(after.state, tapping)
    assert way is not None
    assert way.moves == ()


def test_next_check_says_what_each_result_leaves() -> None:
    """The chances of the results sum to one, and every cause is left by one of them."""
    isolation = DARK.isolation(())
    found = isolation.next
    assert found is not None
    assert sum(one.probability for one in found.leaves) == pytest.approx(1)
    groups = {group for one in found.leaves for group, _ in one.groups}
    weighed = len(isolation.diagnosis.causes) - isolation.cut
    assert weighed >= 25
    assert groups == {cause.group for cause in isolation.causes[:weighed]}


def test_every_plan_of_the_story_ends_where_no_check_parts_what_is_left() -> None:
    """Each leaf is one cause, or causes that the whole catalogue gives the same results for."""
    isolation = DARK.isolation(())
    for group in isolation.plan.groups():
        causes = isolation.left_at(group)
        cases = [
            Case(ground=DARK.bench.ground, faults=cause.faults, mistakes=cause.assumes)
            for cause in causes
            if not any(fault.kind.intermittent for fault in cause.faults)
        ]
        for one, other in itertools.combinations(cases, 2):
            for check in isolation.bench.checks:
                if DARK.bench.way(isolation.state, check) is not None:
                    assert check.outcomes(one) & check.outcomes(other), check.id


# Safety


def machine(interlocked: bool, fused: bool, volts: int | None) -> Profile:
    """Bench Mill with other ways, or none, to make the coils dead, and another supply."""
    text = TEXT
    if not interlocked:
        text = text.replace("interlocked = true\n", "")
    if not fused:
        text = text.replace('fuse = "f3"\n', "")
    text = text.replace("volts = 12\n", f"volts = {volts}\n" if volts else "")
    return bench_machine(text)


def showing(profile: Profile) -> list[Fault]:
    """The faults that show with every ball out."""
    ground = Job(profile=profile, sheets=()).bench.ground
    sound = ground.sound.cells()
    found = []
    for fault in possible_faults(profile):
        case = Case(ground=ground, faults=(fault,))
        if any(
            case.reads(case.cells(), one.id, 0) != ground.sound.reads(sound, one.id, 0)
            for one in profile.ball_sensors()
        ):
            found.append(fault)
    return found


def looked_at(profile: Profile, faults: tuple[Fault, ...]) -> Job:
    """A job on a machine with these faults: every ball out, whatever then reads wrong."""
    job = Job(profile=profile, sheets=(empty(profile=profile),))
    case = Case(ground=job.bench.ground, faults=faults)
    cells = case.cells()
    readings = {}
    for sensor in profile.ball_sensors():
        can = case.reads(cells, sensor.id, 0)
        readings[sensor.id] = next(iter(can)) if len(can) == 1 else "unknown"
    seen = Observation(readings=readings, taken_for_open=0, taken_for_closed=0)
    sheet = Sheet(observation=seen, conditions=Conditions(spots=frozenset()))
    return Job(profile=profile, sheets=(sheet,))


@settings(max_examples=60 if FULL else 4)
@given(
    st.booleans(), st.booleans(), st.sampled_from((12, 24, 36, None)),
    st.integers(0, 10_000), st.booleans(),
)  # fmt: skip
def test_the_rules_of_safety_hold_in_every_step_of_every_plan(
    interlocked: bool, fused: bool, volts: int | None, which: int, start_open: bool
) -> None:
    """Over machines, faults and plans; the rules are those of tests/diagnosis/safety.py."""
    profile = machine(interlocked, fused, volts)
    faults = showing(profile)
    job = looked_at(profile, (faults[which % len(faults)],))
    isolation = job.isolation(())
    assert isolation.diagnosis.conflict is None
    assert len(steps(isolation)) > 2
    assert plan_faults(isolation) == []
    if not (interlocked or fused):
        assert all(
            isolation.bench.way(isolation.state, isolation.check(step)) is not None
            for step in steps(isolation)
        )
        assert not any(step.startswith(("camera", "volts", "wipe")) for step in steps(isolation))


@st.composite
def benches(draw: st.DrawFn) -> Profile:
    """A made-up machine with coils behind fuses, an interlock, both or neither."""
    fuse = draw(st.sampled_from(("f1", "none", None)))
    cut = draw(st.sampled_from((True, False, None)))
    fitted = draw(st.sampled_from((True, False, None)))
    banks = (
        CoilBank(id="one", fuse=fuse, interlocked=cut),
        CoilBank(id="two", fuse="f1", interlocked=True),
    )
    return attrs.evolve(
        draw(profiles()),
        fuse=(Fuse(id="f1"),),
        coil_bank=banks[: draw(st.integers(0, 2))],
        coil=(Coil(id="kicker", bank="one"),),
        interlock=Interlock(fitted=fitted),
    )


@settings(max_examples=60 if FULL else 5)
@given(benches(), st.integers(0, 10_000))
def test_the_rules_of_safety_hold_on_every_machine(profile: Profile, which: int) -> None:
    """Matrices, boards of both polarities, contacts, coils with and without a way to kill them."""
    faults = showing(profile)
    if not faults:
        return
    isolation = looked_at(profile, (faults[which % len(faults)],)).isolation(())
    assert isolation.diagnosis.conflict is None
    assert steps(isolation)
    assert plan_faults(isolation) == []


def steps(isolation: Isolation) -> set[str]:
    """The ids of every check in the plan."""
    found, waiting = set(), [isolation.plan.root]
    while waiting:
        node = waiting.pop()
        if isinstance(node, sequencing.Step):
            found.add(node.check.id)
            waiting += [branch.node for branch in node.branches]
    return found


def plans_break(*, rule: str = "", forget_balls: bool = False) -> set[str]:
    """What plans break once a rule is out of the code, or checks forget the balls."""
    from simrig.diagnosis import bench_moves, measuring

    with pytest.MonkeyPatch.context() as patch:
        rules = bench_state.RULES
        patch.setattr(bench_state, "RULES", tuple(one for one in rules if one.id != rule))
        if forget_balls:
            patch.delitem(measuring.RAISED, "balls")  # type: ignore[arg-type]
        bench_moves.way.cache_clear()
        sheet = Sheet(
            observation=observe(MILL, closed=["t1", "t2"], closed_named=True),
            conditions=Conditions(),
        )
        found = set(plan_faults(Job(profile=MILL, sheets=(sheet,)).isolation(())))
    bench_moves.way.cache_clear()
    return found


def test_a_rule_broken_in_the_code_is_caught() -> None:
    """Without the rule on coil voltage, or on balls, plans break it, and that is seen.

    Checks that forget to ask for the balls out change nothing as long as the rule stands.
    """
    assert plans_break() == set()
    assert plans_break(forget_balls=True) == set()
    assert any("coil voltage" in one for one in plans_break(rule="coils-before-playfield"))
    broken = plans_break(rule="balls-before-playfield", forget_balls=True)
    assert any("balls aboard" in one for one in broken)


def test_work_that_demands_less_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """With ohms allowed under power in the code, plans do so, and that is seen."""
    from simrig.diagnosis import bench_check

    for module in (bench_state, bench_check):
        monkeypatch.setattr(module, "WORK", {**bench_state.WORK, "ohms": ({},)})
    job = Job(profile=MILL, sheets=DARK.sheets)
    assert any("ohms with charge" in fault for fault in plan_faults(job.isolation(())))


def test_coil_voltage_is_the_last_resort() -> None:
    """A kick is offered only where nothing else parts what is left, however cheap it is."""
    isolation = DARK.isolation(())
    assert not any(step.startswith("kick") for step in steps(isolation))
    tiers = {check.id: check.tier for check in isolation.problem.checks}
    assert all(tier == LAST for name, tier in tiers.items() if name.startswith("kick"))


# Contradictions


def test_a_result_that_nothing_can_give_is_told_with_the_way_back() -> None:
    """Behind an open resistor there cannot be the full supply, whatever else is wrong."""
    results = named("camera-t1=dark", "resistor-t1=open", "volts-t1=full")
    diagnosis = DARK.diagnosis(results)
    assert diagnosis.conflict is not None
    assert "nothing that is left" in diagnosis.conflict.words
    assert "do the check" in diagnosis.conflict.way_back
    assert "leave one of these out" in diagnosis.conflict.way_back
    assert "volts-t1=full" in diagnosis.conflict.way_back
    assert "resistor-t1=open" in diagnosis.conflict.way_back
    assert "camera-t1=dark" not in diagnosis.conflict.way_back


def test_a_fault_that_comes_and_goes_is_never_ruled_out_by_a_result() -> None:
    """Dirt that showed on the sheet may hide at one check and show at the next."""
    results = named("work-t1=answers", "camera-t1=lit", "light-t1=answers")
    found = DARK.diagnosis(results)
    assert any(cause.faults and cause.faults[0].name == "beam-dirty:t1" for cause in found.causes)


def test_results_as_evidence_are_exact_against_every_set() -> None:
    """The search over results gives each minimal pair that trying every set gives."""
    results = named("camera-t1=dark", "light-t1=stays-closed")
    few = [fault for fault in FAULTS if "t1" in fault.part or fault.part in ("low", "plug-a")]
    job = Job(profile=MILL, sheets=())
    from simrig.diagnosis.suspects import suspects

    among = suspects(MILL, (), faults=tuple(few))
    system = BenchResults(results=tuple(results)).system(among, 2)
    found = {frozenset(one.members) for one in explain(system, 2).minimal}
    allowed = []
    for size in range(3):
        for chosen in itertools.combinations(range(len(among)), size):
            parts = [among[index].deviation.part for index in chosen]
            if len(set(parts)) == size and isinstance(system.outcomes(frozenset(chosen)), Allowed):
                allowed.append(frozenset(chosen))
    minimal = {one for one in allowed if not any(other < one for other in allowed)}
    assert found == minimal
    assert len(found) > 3
    assert job.limit == 2


@settings(max_examples=60 if FULL else 6)
@given(st.integers(0, 10_000), st.integers(0, 3))
def test_the_true_fault_is_never_lost(which: int, pick: int) -> None:
    """Whatever is injected, and whichever checks are done, it stays among what is left.

    Each check shows what the machine shows that those before it have left.
    """
    fault = FAULTS[which % len(FAULTS)]
    job = looked_at(MILL, (fault,))
    isolation = job.isolation(())
    if isolation.diagnosis.as_assumed or isolation.diagnosis.conflict is not None:
        return
    case = Case(ground=job.bench.ground, faults=(fault,))
    checks = [one for one in job.bench.checks if one.sensors & case.touched][pick::4][:4]
    results = []
    for one in checks:
        results.append(Result(check=one, result=min(one.outcomes(case))))
        case = one.after(case)
    left_over = job.diagnosis(results).causes
    assert any(cause.faults == (fault,) and not cause.assumes for cause in left_over)
