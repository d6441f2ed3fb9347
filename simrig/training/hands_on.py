"""A hidden fault on a simulated machine: the trainee orders checks and pays their minutes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from random import Random

import attrs

from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.check_results import Result, followed
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.profile.machine import Profile
from simrig.training.readings import PART_EFFECTS, at_home, reads

MOST_STEPS = 30


@attrs.frozen(kw_only=True)
class Paid:
    """A check that was ordered: its result, and the minutes with the bench's changes."""

    result: Result
    minutes: float


@attrs.frozen(kw_only=True, eq=False, slots=False)
class HandsOn:
    """One machine with one fault in it, found at some number of balls.

    ``job`` is what a technician knows who has read the sheet.
    """

    profile: Profile = attrs.field(repr=False)
    fault: Fault
    readings: dict[str, str] = attrs.field(repr=False)
    balls: int
    job: Job = attrs.field(repr=False)

    @cached_property
    def _case(self) -> Case:
        return Case(ground=self.job.bench.ground, faults=(self.fault,))

    def order(self, paid: Sequence[Paid], name: str) -> Paid | None:
        """Make a check; None where the rules of the bench do not allow it.

        Raises ValueError, in words, for a check that the machine does not have.
        """
        from simrig.diagnosis.checks import check_named

        check = check_named(self.job.bench.checks, name)
        return self._made(paid, check)

    def _made(self, paid: Sequence[Paid], check: Check) -> Paid | None:
        state = self.job.bench.after([one.result for one in paid])
        way = self.job.bench.way(state, check)
        if way is None:
            return None
        # A check that can show either way shows the same at each asking.
        _, now = followed([one.result for one in paid], self._case)
        shown = sorted(check.outcomes(now))
        if not shown:
            return None
        return Paid(
            result=Result(check=check, result=shown[0]), minutes=way.minutes + check.minutes
        )

    def named(self, name: str) -> bool:
        """Whether an answer names the fault, or one that no check tells from it."""
        known = {one.name: one for one in possible_faults(self.profile)}
        if name not in known:
            raise ValueError(f'no fault of this machine is called "{name}"; wanted KIND:PART')
        if name == self.fault.name:
            return True
        diagnosis = self.job.diagnosis(())
        groups = {
            one.name: cause.group
            for cause in diagnosis.causes
            if len(cause.faults) == 1 and not cause.assumes
            for one in cause.faults
        }
        return name in groups and groups[name] == groups.get(self.fault.name)

    @cached_property
    def best(self) -> tuple[Paid, ...]:
        """The checks that the plan would have ordered, one after the other."""
        paid: list[Paid] = []
        while len(paid) < MOST_STEPS:
            results = [one.result for one in paid]
            isolation = self.job.isolation(results)
            if isolation.diagnosis.conflict is not None or isolation.next is None:
                break
            made = self._made(paid, isolation.next.check)
            if made is None or made.result in results:
                break
            paid.append(made)
        return tuple(paid)


def hands_on(profile: Profile, chance: Random) -> HandsOn | None:
    """Return a machine with a hidden fault; None where no fault of it can be seen."""
    faults = [
        one
        for one in possible_faults(profile)
        if one.kind.effect in PART_EFFECTS and not one.kind.intermittent and one.sensor
    ]
    chance.shuffle(faults)
    for fault in faults[:60]:
        for balls in chance.sample(range(profile.balls.installed + 1), profile.balls.installed + 1):
            conditions = at_home(profile, balls)
            sound = reads(profile, conditions)
            here = reads(profile, conditions, (fault,))
            if sound is None or here is None or here == sound:
                continue
            sheet = Sheet(
                observation=Observation(readings=here, taken_for_open=0, taken_for_closed=0),
                conditions=conditions,
            )
            job = Job(profile=profile, sheets=(sheet,), limit=1)
            return HandsOn(profile=profile, fault=fault, readings=here, balls=balls, job=job)
    return None
