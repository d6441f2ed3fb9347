"""A shorted diode by its phantom, on the smallest matrix that shows one."""

from __future__ import annotations

import attrs
import pytest

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.cells import system
from simrig.diagnosis.check_results import BenchResults
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.reasoning import explain
from simrig.diagnosis.suspects import Sheet, suspects
from simrig.diagnosis.system import Allowed, Conflict
from simrig.expectation.observation import Observation
from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.faults.modes import FAULT_KINDS
from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Phase, Place
from simrig.profile.machine import Profile
from simrig.profile.wiring import Matrix
from simrig.scan.scanner import links, readings
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

CORNERS = ((0, 0), (0, 1), (1, 0), (1, 1))
SHORTED = tuple(kind for kind in FAULT_KINDS if kind.id == "diode-shorted")


def square() -> Profile:
    """Two columns and two rows, a diode at each crossing; closed but at (1, 1)."""
    return Profile(
        format=1,
        id="square",
        balls=Balls(installed=1, store="trough"),
        place=(Place(id="trough", kind="trough", seats=1),),
        phase=(Phase(id="idle", placements=({"trough": "rest"},)),),
        sensor=tuple(
            Sensor(
                id=f"at-{c}-{r}",
                kind="leaf switch",
                at="none",
                contact="normally open" if (c, r) == (1, 1) else "normally closed",
                address=f"column {c + 1} row {r + 1}",
            )
            for c, r in CORNERS
        ),
        matrix=Matrix(columns=2, rows=2, diodes="all"),
    )


@pytest.mark.parametrize(("short", "phantom"), [((0, 0), True), ((0, 1), False), ((1, 0), False)])
def test_phantom_of_a_shorted_diode(short: tuple[int, int], phantom: bool) -> None:
    """Of the three closed corners only the one opposite makes the phantom. Source: MAT-07, OWN
    (derived)."""
    profile = square()
    fault = fault_named(
        possible_faults(profile, SHORTED), f"diode-shorted:at-{short[0]}-{short[1]}"
    )
    many = worlds(profile, legal_placements(profile, Conditions()))
    frame = readings(profile, inject(profile, links(profile), (fault,)), many)
    assert (frame.reading("at-1-1") == "closed") is phantom
    assert all(frame.reading(f"at-{c}-{r}") == "closed" for c, r in CORNERS[:3])


def test_the_guilty_diode_is_opposite_the_phantom() -> None:
    """All four read closed: the one shorted diode that explains it is diagonally opposite.

    Source: MAT-07, OWN (derived)."""
    profile = square()
    observation = Observation(readings={f"at-{c}-{r}": "closed" for c, r in CORNERS})
    sheet = Sheet(observation=observation, conditions=Conditions())
    faults = possible_faults(profile, SHORTED)
    among = tuple(one for one in suspects(profile, [sheet], faults=faults) if one.fault)
    about = Circumstances.of(profile, among, 0, sheet.conditions, limit=2)
    found = explain(system(about, observation), limit=2)
    assert [[among[i].name for i in one.members] for one in found.minimal] == [
        ["diode-shorted:at-0-0"]
    ]


def test_what_a_phantom_hides_at_one_switch_is_told_beside_another_fault() -> None:
    """Without diodes (1, 1) reads closed whatever is open there, and a clip lead changes nothing.

    With (0, 0) open too there is no phantom: the clip lead gets past the contact, not past the
    wire (worked out by hand).  Neither may stand for the other in the search.
    """
    profile = square()
    bare = attrs.evolve(profile, matrix=attrs.evolve(profile.matrix, diodes="none"))
    job = Job(profile=bare, sheets=())
    among = suspects(bare, (), faults=job.models.faults)
    index = {one.name: number for number, one in enumerate(among)}
    result = BenchResults(results=(job.result("bridge-at-1-1", "answers"),))
    system = result.system(among, 2)
    contact, wire = index["contact-stuck-open:at-1-1"], index["wire-open:at-1-1"]
    beside = index["contact-stuck-open:at-0-0"]
    assert isinstance(system.outcomes(frozenset((contact, beside))), Allowed)
    assert isinstance(system.outcomes(frozenset((wire, beside))), Conflict)
    class_of = system.classes().class_of
    assert class_of[contact] != class_of[wire]
    left = {frozenset(fault.name for fault in one.faults) for one in job.diagnosis(
        (*result.results, job.result("contact-at-1-1", "stays-open"))).causes}  # fmt: skip
    assert {"contact-stuck-open:at-1-1", "contact-stuck-open:at-0-0"} in left
