"""Work on a machine that changes: true results, in any order, never rule out what is true.

The machine keeps account of itself in other words than the code's: which faults are in it
still, which of those that come and go show at the moment, what its reader has learnt.
"""

from __future__ import annotations

import os
import random
from functools import cache
from pathlib import Path

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import simrig
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.check_results import BenchResults, Result, Shown
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.repairs import repair
from simrig.diagnosis.suspects import Mistake, suspects
from simrig.diagnosis.system import Allowed
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.faults.candidates import Fault, possible_faults
from simrig.profile.machine import Profile
from tests.diagnosis.bench_machine import bench_machine
from tests.diagnosis.safety import check_faults, way_faults

FULL = bool(os.environ.get("SIMRIG_FULL"))
ELSEWHERE = Path(__file__).parents[1]
MACHINES = {
    "bench-mill": bench_machine,
    "frost-mill": lambda: simrig.load(str(ELSEWHERE / "stories" / "frost-mill.toml")),
    "quartz-weir": lambda: simrig.load(str(ELSEWHERE / "heldout" / "quartz-weir.toml")),
}
MENDS = {
    "reseat": ("plug-off", "plug-loose"),
    "wipe": ("beam-dirty",),
    "aim": ("beam-misaligned",),
    "look": ("beam-obstructed",),
    "set": ("set-too-sensitive", "set-too-coarse", "set-marginal"),
}
"""What a check mends at the part that its id names, by the kinds of fault."""
LEARNT = {"symbols": "symbols", "end": "numbering"}
"""What a reader no longer has wrong after a check."""


@cache
def job_of(machine: str) -> Job:
    """A machine without a sheet."""
    return Job(profile=MACHINES[machine](), sheets=())


@cache
def faults_of(machine: str) -> tuple[Fault, ...]:
    """Everything that can be wrong with a machine."""
    return possible_faults(job_of(machine).profile)


@attrs.define
class Machine:
    """What is wrong at the moment, and what has been seen so far."""

    job: Job
    chance: random.Random
    faults: list[Fault]
    mistakes: list[Mistake]
    hidden: set[Fault] = attrs.field(factory=set)
    results: list[Result] = attrs.field(factory=list)

    def shows(self, check: Check) -> None:
        """Do a check: what it shows, and how the machine is after it."""
        for fault in self.faults:
            if fault.kind.intermittent and self.chance.random() < 0.2:
                self.hidden ^= {fault}
        case = self.job.bench.ground.case(
            tuple(one for one in self.faults if one not in self.hidden),
            tuple(one for one in self.faults if one in self.hidden),
            tuple(self.mistakes),
        )
        can = sorted(check.outcomes(case)) or sorted(check.results)
        self.results.append(Result(check=check, result=self.chance.choice(can)))
        does, _, part = check.id.partition("-")
        if does == "repair":
            mended = next(one.component for one in self.job.models.faults if one.name == part)
            self.faults = [one for one in self.faults if one.component != mended]
        elif check.heals is not None:
            self.faults = [
                one for one in self.faults if one.part != part or one.kind.id not in MENDS[does]
            ]
        elif does in LEARNT:
            self.mistakes = [
                one
                for one in self.mistakes
                if one.kind != LEARNT[does] or (does == "end" and one.value != part)
            ]


def drawn(machine: str, seed: int) -> Machine:
    """A machine with one thing or two that are wrong; what a check mends, or what comes and
    goes, more often than others."""
    job, chance = job_of(machine), random.Random(f"{machine} {seed}")
    found = faults_of(machine)
    often = [one for one in found if one.kind.part in ("connector", "beam", "sensing head")]
    fickle = [one for one in found if one.kind.intermittent]
    faults: list[Fault] = []
    for _ in range(chance.choice((1, 2, 2))):
        one = chance.choice(chance.choice((often, fickle, found)))
        if all(one.component != other.component for other in faults):
            faults.append(one)
    mistakes = []
    if chance.random() < 0.25:
        faults = faults[:1]
        mistakes = [chance.choice(_mistakes(job.profile))]
    return Machine(job, chance, faults, mistakes)


def _mistakes(profile: Profile) -> list[Mistake]:
    swapped = [Mistake(kind="symbols", value=one) for one in (ALL, *boards(profile))]
    return swapped + [Mistake(kind="numbering", value=one) for one in wrong_end(profile)]


def worked_on(made: Machine, steps: int) -> None:
    """Do checks of all kinds, those that mend and those that speak of what is wrong foremost."""
    checks = made.job.bench.checks
    healing = [one for one in checks if one.changes]
    for _ in range(steps):
        repairs = [repair(made.job.bench.ground, one) for one in made.faults]
        among = made.chance.choice((healing, repairs or checks, checks, checks))
        taken = {one.kind for one in made.mistakes}
        near = [one for one in among if any(map(one.speaks_of, made.faults)) or one.asks & taken]
        made.shows(made.chance.choice(near or among))


@pytest.mark.parametrize("machine", MACHINES)
@settings(max_examples=2000 if FULL else 120)
@given(st.integers(0, 2**32))
def test_the_truth_explains_its_own_results(machine: str, seed: int) -> None:
    """And where less is wrong, the conflict names what has to be wrong besides."""
    made = drawn(machine, seed)
    faults, mistakes = tuple(made.faults), tuple(made.mistakes)
    worked_on(made, made.chance.randint(2, 8))
    told = [str(one) for one in made.results]
    system, true = _system(made, machine, faults, mistakes)
    assert isinstance(system.outcomes(true), Allowed), (faults, mistakes, told)
    for less in (frozenset[int](), *(true - {one} for one in true)):
        outcome = system.outcomes(less)
        if not isinstance(outcome, Allowed):
            assert (true - less) & outcome.candidates, (faults, mistakes, told)


def _system(
    made: Machine, machine: str, faults: tuple[Fault, ...], mistakes: tuple[Mistake, ...]
) -> tuple[Shown, frozenset[int]]:
    among = suspects(made.job.profile, (), faults=faults_of(machine))
    true = {
        number
        for number, one in enumerate(among)
        if one.fault in faults or (one.mistake is not None and one.mistake in mistakes)
    }
    return BenchResults(results=tuple(made.results)).system(among, 2), frozenset(true)


@settings(max_examples=300 if FULL else 8)
@given(st.integers(0, 2**32))
def test_what_is_left_holds_the_truth_check_after_check(seed: int) -> None:
    """No conflict, nothing offered that parts nothing, no way that is unsafe, and no part called
    certain that is sound, or was put right already."""
    made = drawn("bench-mill", seed)
    faults, mistakes = set(made.faults), set(made.mistakes)
    worked_on(made, 2)
    for _ in range(4):
        isolation = made.job.isolation(made.results)
        told = [str(one) for one in made.results]
        assert isolation.diagnosis.conflict is None, told
        assert any(
            set(one.faults) <= faults and set(one.assumes) <= mistakes
            for one in isolation.diagnosis.causes
        ), told
        _offered(isolation, made)
        if isolation.next is None:
            break
        made.shows(isolation.next.check)


def _offered(isolation: Isolation, made: Machine) -> None:
    told = [str(one) for one in made.results]
    if isolation.certain is not None:
        part = isolation.certain.heals
        assert part is not None
        assert any(map(part, made.faults)), told
    found = isolation.next
    if found is not None:
        assert len(found.leaves) > 1 or found.check is isolation.mending, told
        assert not list(way_faults(made.job.profile, found.way))
        assert not list(check_faults(found.check, found.way))
        for left in found.leaves:
            assert set(left.result.split("+")) <= set(found.check.results), told
