"""What a technician sees first in every bench story: short, safe, no culprit too early."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import pytest

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.complaint import Complained
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.complaints import complaint_named
from simrig.interchange.running import conditions_of, observation
from simrig.interchange.scenarios import Scenario, Step, read
from simrig.profile.machine import Profile
from simrig.profile.reader import read as read_profile
from simrig.reports import diagnosis_text, isolation_text
from tests.diagnosis.safety import check_faults, way_faults

HERE = Path(__file__).parent
STORIES = sorted(HERE.glob("*.scenario.toml"))


def _scenario(path: Path) -> tuple[Scenario, Profile]:
    scenario = read(path.read_bytes(), path.name)
    machine = HERE / scenario.machine
    return scenario, read_profile(machine.read_bytes(), machine.name)


def _job(profile: Profile, step: Step) -> Job:
    wanted = step.diagnosis
    assert wanted is not None
    rows = [(step, step.seen)] if step.seen is not None else [(row, row) for row in step.sheets]
    return Job(
        profile=profile,
        sheets=tuple(
            Sheet(observation=observation(profile, seen), conditions=conditions_of(row))
            for row, seen in rows
        ),
        others=tuple(
            Complained(profile=profile, complaint=complaint_named(profile, name))
            for name in wanted.complaints or ()
        ),
        limit=wanted.faults or 2,
    )


@pytest.mark.parametrize("path", STORIES, ids=lambda path: path.name.partition(".")[0])
def test_every_first_screen(path: Path) -> None:
    """At most 20 lines of 80; one culprit only where one is left; nothing at coil voltage while
    another check parts what is left, and every move to the check keeps the rules of safety."""
    scenario, profile = _scenario(path)
    assert len(scenario.step) > 1
    for number, step in enumerate(scenario.step, 1):
        job = _job(profile, step)
        results = [
            job.result(*pair.split("=")) for pair in (step.diagnosis and step.diagnosis.found) or ()
        ]
        found, isolation = job.diagnosis(results), job.isolation(results)
        step_lines = partial(isolation_text.next_lines, isolation)
        lines = diagnosis_text.screen(found, next_lines=step_lines)
        where = f"{path.name} step {number}"
        assert len(lines) <= diagnosis_text.MOST_LINES, where
        assert max(map(len, lines)) <= 80, where
        named = "Only this is left" in diagnosis_text.verdict(found)
        assert named == (len(found.causes) == 1 and not found.as_assumed), where
        if found.conflict is None and isolation.next is not None:
            check, way = isolation.next.check, isolation.next.way
            assert [*way_faults(profile, way), *check_faults(check, way)] == [], where
            if check.tier:
                others = [
                    one for one in isolation.problem.checks if not isolation.check(one.id).tier
                ]
                assert not any(isolation.bench.way(isolation.state, isolation.check(one.id))
                               for one in others), where  # fmt: skip
