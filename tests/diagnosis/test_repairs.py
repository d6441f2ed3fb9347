"""What is put right on the way stays right: for results after it, and for what comes next."""

from __future__ import annotations

import itertools
import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simrig
from simrig.diagnosis import isolation as weighing
from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.campaign import Campaign
from simrig.diagnosis.check_results import BenchResults, Result
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.reasoning import explain
from simrig.diagnosis.repairs import repair
from simrig.diagnosis.suspects import Sheet, suspects
from simrig.diagnosis.system import Allowed
from simrig.expectation.observation import observe
from simrig.faults.candidates import Fault, fault_named, possible_faults
from simrig.interchange import isolation_document
from simrig.reports import isolation_text
from simrig.world.phases import Conditions
from tests.diagnosis.bench_machine import bench_machine
from tests.diagnosis.safety import plan_faults

FULL = bool(os.environ.get("SIMRIG_FULL"))
MILL = bench_machine()
FAULTS = possible_faults(MILL)


def sheet(*closed: str) -> Sheet:
    """A sheet with every loose ball out."""
    return Sheet(
        observation=observe(MILL, closed=closed, closed_named=True),
        conditions=Conditions(spots=frozenset()),
    )


def after(job: Job, *pairs: str) -> Isolation:
    """What is left after some results."""
    return job.isolation([job.result(*pair.split("=")) for pair in pairs])


def left(isolation: Isolation) -> set[str]:
    """The sets of faults left, by name."""
    return {
        " ".join(sorted([one.name for one in cause.faults] + [one.kind for one in cause.assumes]))
        for cause in isolation.diagnosis.causes
    }


BANK = Job(profile=MILL, sheets=(sheet("t1", "t2"),))
"""Both emitters of the bank behind plug-a are dark: its plug, or one fault at each."""
ONE = Job(profile=MILL, sheets=(sheet("t1"),))
"""The emitter of t1 is dark."""
TWO = Job(profile=MILL, sheets=(sheet("t1", "t3"),))
"""Emitters of two banks are dark: one fault at each."""


def test_after_a_plug_was_pushed_home_the_machine_reads_as_with_it_home() -> None:
    """The plug was off and t1 has a fault besides: pushed home, t1 alone reads wrong (by hand).

    The same reading before the plug was touched is no plug that was off: both were dark then.
    """
    mended = after(BANK, "reseat-plug-a=partly", "read-empty=t1")
    assert mended.diagnosis.conflict is None
    assert "plug-off:plug-a resistor-lead-broken:t1" in left(mended)
    assert all("plug-a" in names for names in left(mended))
    swapped = after(BANK, "read-empty=t1", "reseat-plug-a=partly")
    assert not any("plug-off:plug-a" in names for names in left(swapped))


def test_what_was_read_before_something_was_put_right_can_be_read_again() -> None:
    """The reading with all balls out tells more once the plug is home, the sheet's own does not."""
    before = after(BANK, "read-empty=t1+t2")
    assert "read-empty" not in {check.id for check in before.problem.checks}
    again = after(BANK, "read-empty=t1+t2", "reseat-plug-a=partly")
    offered = {check.id for check in again.problem.checks}
    assert {"camera-t1", "resistor-t1"} <= offered
    assert "read-again" not in offered
    assert "reseat-plug-a" not in offered


def test_a_repair_is_said_like_a_check_and_changes_what_is_read() -> None:
    """The resistor of t1 was replaced; t3 alone reads wrong after it: it was that resistor."""
    mended = after(TWO, "repair-resistor-lead-broken:t1=done", "read-empty=t3")
    assert mended.diagnosis.conflict is None
    assert "emitter-dead:t3 resistor-lead-broken:t1" in left(mended)
    assert "emitter-dead:t1 emitter-dead:t3" not in left(mended)
    unmended = after(TWO, "read-empty=t3")
    assert "emitter-dead:t3 resistor-lead-broken:t1" not in left(unmended)
    nothing = after(TWO, "repair-resistor-lead-broken:t1=done", "read-empty=t1+t3")
    assert not any("resistor-lead-broken:t1" in names for names in left(nothing))
    assert "emitter-dead:t1 emitter-dead:t3" in left(nothing)


def test_of_two_faults_that_come_and_go_one_can_show_while_the_other_hides() -> None:
    """Both showed on the sheet; the plug makes now, the dirt stays, and is wiped off (by hand).

    With both showing the reseat would be partly, with both hidden there were nothing to see.
    """
    found = after(BANK, "reseat-plug-a=no-change", "wipe-t1=cured")
    assert "beam-dirty:t1 plug-loose:plug-a" in left(found)
    weighed = [{one.name for one in cause.faults} for cause in found.causes]
    assert {"beam-dirty:t1", "plug-loose:plug-a"} in weighed


def test_who_has_found_out_what_symbols_mean_reads_them_so_from_then_on() -> None:
    """Noted the wrong way round, t1 dark besides: read anew after that, t1 alone is wrong (by hand).

    Read anew before it, all but t1 are.
    """
    swapped = Job(profile=MILL, sheets=(sheet("t2", "t3", "lane-ball"),))
    learnt = after(swapped, "symbols=other-way", "read-empty=t1")
    assert learnt.diagnosis.conflict is None
    assert "resistor-lead-broken:t1 symbols" in left(learnt)
    assert after(swapped, "read-empty=t1", "symbols=other-way").diagnosis.conflict is not None
    before = after(swapped, "read-empty=t2+t3+lane-ball", "symbols=other-way")
    assert "resistor-lead-broken:t1 symbols" in left(before)


def test_a_repair_speaks_of_its_part_beside_what_carries_it_elsewhere() -> None:
    """Nothing else was done at the beam: with it mended, it is no dead receiver, whatever else is.

    Suspects that results cannot part are tried as one: these a repair parts.
    """
    mended = BANK.result("repair-beam-obstructed:t1", "done")
    among = suspects(MILL, (), faults=FAULTS)
    system = BenchResults(results=(mended, BANK.result("read-empty", "right"))).system(among, 2)
    index = {one.name: number for number, one in enumerate(among)}
    assert index["beam-obstructed:t1"] in system.spoken_of[0]
    assert index["receiver-dead:t1"] not in system.spoken_of[0]


def test_a_part_that_can_have_failed_in_two_ways_is_put_right_either_way() -> None:
    """Its beam is dirty or out of line: who only wipes, and says it is put right, is led astray."""
    ground = BANK.bench.ground
    ways = [fault_named(FAULTS, f"beam-{word}:t1") for word in ("dirty", "misaligned")]
    title = repair(ground, *ways).title
    assert "wipe emitter and receiver; or, if it is beam out of line at t1: bend" in title
    dead, shorted = (fault_named(FAULTS, f"emitter-{word}:t1") for word in ("dead", "shorted"))
    assert repair(ground, dead, shorted).title == repair(ground, dead).title


def test_a_repair_that_was_skipped_is_not_offered_again_by_another_name() -> None:
    """The emitter of t1 is dead or shorted: skipped as the one, it is not offered as the other."""
    found = after(TWO, "camera-t1=dark", "resistor-t1=value", "joint-t1=sound", "supply-light=volts",
                  "bank-return-low=through", "reseat-plug-a=no-change",
                  "leads-t2+t3=right")  # fmt: skip
    assert found.certain is not None
    assert found.certain.id in ("repair-emitter-dead:t1", "repair-emitter-shorted:t1")
    for name in (found.certain.id, "repair-emitter-dead:t1", "repair-emitter-shorted:t1"):
        assert TWO.isolation(found.results, frozenset((name,))).certain is None


def test_what_comes_and_goes_is_weighed_as_long_as_nothing_is_likelier() -> None:
    """It showed on the sheet, hid when that was read again, and shows at the next reading.

    The fault that comes and goes is likelier than a steady one with a reading noted wrong.
    """
    found = after(ONE, "read-again=changed", "read-empty=t1")
    first = [[one.name for one in cause.faults] for cause in found.causes[:2]]
    assert sorted(first) == [["beam-dirty:t1"], ["emitter-joint-loose:t1"]]


def test_a_sheet_that_reads_the_same_again_can_have_been_taken_while_a_fault_hid() -> None:
    """The lane's contact sticks at times: on the first sheet it did, on the last it made no odds.

    Read again, the last is the same; no reading need have been noted wrong.
    """
    ready = observe(MILL, closed=["t1", "t2"], closed_named=True)
    one = Sheet(observation=ready, conditions=Conditions(phase="ready"))
    job = Job(profile=MILL, sheets=(one, sheet()))
    found = after(job, "read-again=same", "work-lane-ball=answers")
    assert ["contact-gap-wide:lane-ball"] in [
        [fault.name for fault in cause.faults] for cause in found.causes
    ]
    fickle = fault_named(FAULTS, "contact-gap-wide:lane-ball")
    again = next(check for check in job.bench.checks if check.id == "read-again")
    case = job.bench.ground.case((), (fickle,))
    assert again.outcomes(case) == {"same", "changed"}
    assert again.outcomes(job.bench.ground.case((fickle,))) == {"same", "changed"}
    assert again.outcomes(job.bench.ground.sound) == {"same"}


def test_a_ball_that_was_seen_to_hang_can_be_freed_on_the_way() -> None:
    """Freed, it is counted with the others; not said, the count contradicts, and that is told."""
    seen = observe(MILL, closed=["t1", "t2"], closed_named=True)
    job = Job(profile=MILL, sheets=(Sheet(observation=seen, conditions=Conditions()),))
    unsaid = after(job, "way-serve=ball", "count-balls=as-assumed").diagnosis.conflict
    assert unsaid is not None
    assert "say repair-ball-hung:serve=done before it" in unsaid.way_back
    freed = ("way-serve=ball", "repair-ball-hung:serve=done", "count-balls=as-assumed")
    assert "ball-hung:serve" in left(after(job, *freed))
    made = job.result("repair-ball-hung:serve", "done").check
    assert made.title.startswith("Free the ball, then find what held it (")
    assert [need.coils for need in made.needs] == ["absent"]
    assert "coils proven dead" in made.caution


def test_a_fuse_that_was_changed_and_not_said_is_told() -> None:
    """All beams are dark behind a blown fuse; with another one in, t3 alone is (by hand)."""
    job = Job(profile=MILL, sheets=(sheet("t1", "t2", "t3"),))
    unsaid = after(job, "fuse-f1=open", "read-empty=t3").diagnosis.conflict
    assert unsaid is not None
    assert "say repair-fuse-blown:f1=done before it" in unsaid.way_back
    said = after(job, "fuse-f1=open", "repair-fuse-blown:f1=done", "read-empty=t3")
    assert "fuse-blown:f1 receiver-dead:t3" in left(said)


def test_a_repair_that_the_machine_does_not_have_is_told() -> None:
    """A part that is not there has no repair; near matches are named."""
    with pytest.raises(ValueError, match=r"there is no check.*did you mean repair-emitter-dead:t"):
        BANK.result("repair-emitter-dead:t9", "done")
    with pytest.raises(ValueError, match=r"there is no check.*wanted repair-KIND:PART"):
        BANK.result("repair-xyz", "done")
    with pytest.raises(ValueError, match="has no result"):
        BANK.result("repair-emitter-dead:t1", "perhaps")


def test_what_is_wrong_in_all_that_is_left_is_certain() -> None:
    """The meter finds the resistor of t1 open: it is in every pair, and what ails t3 is not known."""
    assert after(TWO).certain is None
    found = after(TWO, "resistor-t1=open")
    assert found.certain is not None
    assert found.certain.id == "repair-resistor-lead-broken:t1"
    assert found.mending is None  # few are left, and checks part them
    assert found.next is not None
    assert not found.next.check.id.startswith("repair-")
    assert after(TWO, "resistor-t1=open", "repair-resistor-lead-broken:t1=done").certain is None


def test_where_more_is_left_than_is_weighed_the_certain_part_is_put_right_first(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With room for two causes alone, the repair comes first: in words, plan and document."""
    monkeypatch.setattr(weighing, "MOST_CAUSES", 2)
    found = after(TWO, "resistor-t1=open")
    assert found.cut > 0
    assert found.next is not None
    assert found.next.check.id == "repair-resistor-lead-broken:t1"
    assert plan_faults(found) == []
    root = found.plan.root
    assert isinstance(root, sequencing.Step)
    assert [branch.result for branch in root.branches] == ["done"]
    told = " ".join(" ".join(isolation_text.next_lines(found)).split())
    assert "wrong in all that is left" in told
    assert "Never bridge the resistor itself" in told
    assert "--found repair-resistor-lead-broken:t1= done" in told
    assert any("Put right" in line for line in isolation_text.plan_lines(found))
    document = isolation_document.next_check(found)
    assert document is not None
    assert document["why"].startswith("it is wrong in all that is left")
    assert isolation_document.plan(found)["root"]["check"] == "repair-resistor-lead-broken:t1"
    mended = after(TWO, "resistor-t1=open", "repair-resistor-lead-broken:t1=done")
    assert mended.next is not None
    assert not mended.next.check.id.startswith("repair-")


def test_a_plan_ends_where_something_is_put_right_and_more_is_left() -> None:
    """What is read after it is of another machine: the plan says so, and is not called proven."""
    found = after(BANK, "camera-t1=dark", "camera-t2=dark", "work-t1=stays-closed")
    changing = [
        branch
        for node in _steps(found.plan.root)
        if node.check.id == "reseat-plug-a"
        for branch in node.branches
        if branch.result in ("cured", "partly")
    ]
    assert changing
    assert all(isinstance(branch.node, sequencing.Group) for branch in changing)
    assert any(len(branch.node.hypotheses) > 1 for branch in changing)  # type: ignore[union-attr]
    assert not found.plan.proven
    for node in _steps(found.plan.root):
        follow = sum(branch.probability * branch.node.expected_minutes for branch in node.branches)
        total = node.change_minutes + node.check.minutes + follow
        assert node.expected_minutes == pytest.approx(total)


def test_a_plan_says_to_read_again_only_where_that_tells_more() -> None:
    """Something taken out of the beam of t1 leaves what ails t3, and checks go on from there.

    A plug pushed home that leaves off or loose leaves nothing to be read, and where nothing
    has changed there is nothing new.
    """
    before = ("symbols=as-noted", "leads-t2+t3=right", "read-again=same")
    lines = isolation_text.plan_lines(after(TWO, *before))
    again = {line.strip() for line in lines if "then read again" in line}
    assert "then read again: --found look-t1=object" in again
    assert not any(line.endswith(("no-change", "clear", "was-right")) for line in again)
    dark = after(BANK, "camera-t1=dark", "camera-t2=dark", "work-t1=stays-closed")
    assert not any("then read again" in line for line in isolation_text.plan_lines(dark))


def _steps(node: sequencing.Step | sequencing.Group) -> list[sequencing.Step]:
    if isinstance(node, sequencing.Group):
        return []
    return [node, *(step for branch in node.branches for step in _steps(branch.node))]


def shown(check: Check, faults: tuple[Fault, ...], job: Job) -> frozenset[str]:
    """What a check shows on a machine with these faults."""
    return check.outcomes(job.bench.ground.case(faults))


def put_right(check: Check, faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """The faults of a machine after a check, in other words than the code's: by their names."""
    gone = {
        "reseat-plug-a": {"plug-off:plug-a", "plug-loose:plug-a"},
        "wipe-t1": {"beam-dirty:t1"},
        "look-t1": {"beam-obstructed:t1"},
        "repair-resistor-lead-broken:t1": {"resistor-lead-broken:t1"},
    }.get(check.id, set())
    return tuple(fault for fault in faults if fault.name not in gone)


def test_results_with_repairs_among_them_are_exact_against_every_set() -> None:
    """The search gives each minimal set that trying every set on a changing machine gives."""
    words = ("reseat-plug-a=partly", "wipe-t1=no-change", "read-empty=t1",
             "repair-resistor-lead-broken:t1=done", "read-empty=right")  # fmt: skip
    results = [BANK.result(*word.split("=")) for word in words]
    steady = [
        one
        for one in FAULTS
        if not one.kind.intermittent
        and ("t1" in one.part or one.part in ("low", "plug-a", "t2", "plug-b"))
    ]
    among = suspects(MILL, (), faults=tuple(steady))
    system = BenchResults(results=tuple(results)).system(among, 2)
    found = {frozenset(one.members) for one in explain(system, 2).minimal}
    allowed = []
    for size in range(3):
        for chosen in itertools.combinations(range(len(among)), size):
            ones = [among[index] for index in chosen]
            faults = tuple(one.fault for one in ones if one.fault is not None)
            if len({one.deviation.part for one in ones}) < size or len(faults) < size:
                continue
            fits = True
            for one in results:
                can = shown(one.check, faults, BANK)
                fits = fits and (not can or one.result in can)
                faults = put_right(one.check, faults)
            assert fits == isinstance(system.outcomes(frozenset(chosen)), Allowed), ones
            if fits:
                allowed.append(frozenset(chosen))
    assert found == {one for one in allowed if not any(other < one for other in allowed)}
    assert found


PLUGGED = [one for one in FAULTS if one.kind.part in ("connector", "beam")]


@settings(max_examples=150 if FULL else 12)
@given(
    st.sampled_from(PLUGGED),
    st.sampled_from([one for one in FAULTS if not one.kind.intermittent]),
    st.lists(st.integers(0, 10_000), min_size=2, max_size=5),
)
def test_two_faults_are_never_lost_while_one_of_them_is_put_right(
    one: Fault, other: Fault, picks: list[int]
) -> None:
    """Whatever is checked, mended and checked again, all of it or a part that explains it stays."""
    if one.component == other.component or "moves balls" in (one.kind.effect, other.kind.effect):
        return
    job = Job(profile=MILL, sheets=())
    faults, results = (one, other), []
    checks = [*job.bench.checks, repair(job.bench.ground, one)]
    healing = [check for check in checks if check.heals is not None]
    for number, pick in enumerate(picks):
        among = healing if number % 2 else checks
        check = among[pick % len(among)]
        case = job.bench.ground.case(faults)
        results.append(
            Result(check=check, result=min(check.outcomes(case), default=next(iter(check.results))))
        )
        faults = tuple(fault for fault in faults if check.heals is None or not check.heals(fault))
    causes = job.diagnosis(results).causes
    assert any(set(cause.faults) <= {one, other} and not cause.assumes for cause in causes), [
        str(result) for result in results
    ]


HIDDEN_BY_A_PLUG = [
    ("basalt-freight", "plug-off:p3", "column-broken:5@1"),
    ("basalt-freight", "plug-loose:p2", "row-broken:8@1"),
    ("tidal-clockwork", "plug-off:column-plug", "output-open:launch-lane"),
]


@pytest.mark.parametrize(("machine", "plug", "behind"), HIDDEN_BY_A_PLUG[: None if FULL else 2])
def test_a_plug_that_hides_the_rest_is_put_right_and_the_rest_found(
    machine: str, plug: str, behind: str
) -> None:
    """What was injected stays in the final group, and nothing parts that group any more."""
    campaign = Campaign(profile=simrig.load(machine))
    trial = campaign.trial(tuple(fault_named(campaign.faults, name) for name in (plug, behind)))
    assert trial.minutes is not None
    assert trial.held
    assert not trial.parted
    assert len(trial.left) <= 2
