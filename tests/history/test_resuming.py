"""A sheet goes into the record and comes back to the diagnosis as it was."""

from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig import history
from simrig.expectation.observation import Observation
from simrig.faults.candidates import possible_faults
from simrig.history import Seen, priors
from simrig.profile.reader import read
from simrig.world.phases import Conditions

TIDAL = Path(__file__).parents[2] / "plugins" / "simrig_machines" / "tidal-clockwork.toml"

names = st.sampled_from(("lock", "launcher", "trough"))


@given(
    st.builds(
        Conditions,
        phase=st.none() | st.just("idle"),
        balls=st.none() | st.integers(0, 8),
        at=st.none() | st.dictionaries(names, st.integers(0, 5)),
        spots=st.none() | st.frozensets(st.sampled_from(("trough.1", "lock.2"))),
        states=st.dictionaries(names, st.sampled_from(("open", "closed"))),
    )
)
def test_conditions_come_back(conditions):
    """What was stated comes back as stated, what was not stays unsaid: none is not nowhere."""
    assert history.conditions_of(history.plain_conditions(conditions)) == conditions


def test_a_sheet_comes_back(path, now):
    """Readings and conditions are the same in the hands of a colleague."""
    observation = Observation(readings={"trough-1": "closed", "trough-2": "unknown"})
    conditions = Conditions(phase="idle", balls=5, spots=frozenset(("trough.1",)))
    with history.open_store(path, write=True) as store:
        job = history.open_job(store, "tidal-clockwork", "7", now=now)
        history.file_seen(store, job.id, observation, conditions, now=now)
    with history.open_store(path) as store:
        (sheet,) = history.job_file(store, job.id).sheets
    again, stated = history.seen_again(sheet)
    assert again.readings == {"trough-1": "closed"}
    assert stated == conditions


@pytest.fixture(scope="module")
def profile():
    return read(TIDAL.read_bytes(), str(TIDAL))


def test_records_raise_a_fault_by_exactly_the_dirichlet_rule(profile):
    """Fifty resistors beside the kicker raise the resistors there to (prior + 50)/(10 + 50) of
    the odds, lower every other kind there to prior/(10 + 50), and leave the rest alone.
    Derived."""
    faults = possible_faults(profile)
    beside = [fault for fault in faults if priors.is_beside_kicker(profile, fault)]
    assert {fault.kind.part for fault in beside} >= {"resistor", "emitter"}
    total = sum(fault.odds for fault in beside)
    resistors = sum(fault.odds for fault in beside if fault.kind.part == "resistor")
    share = resistors / total
    seen = [Seen(machine=profile.id, part_kind="resistor", beside_kicker=True, count=50)]
    changed = priors.with_records(profile, faults, seen)
    for fault, after in zip(faults, changed, strict=True):
        if fault not in beside:
            factor = 1.0
        elif fault.kind.part == "resistor":
            factor = ((10 * share + 50) / 60) / share
            assert factor > 2
        else:
            factor = 10 / 60
        assert after.odds == pytest.approx(fault.odds * factor)
        assert attrs.evolve(after, odds=fault.odds) == fault


def test_without_records_the_documented_odds_stand(profile):
    """No record, no change."""
    faults = possible_faults(profile)
    for fault, after in zip(faults, priors.with_records(profile, faults, []), strict=True):
        assert after.odds == pytest.approx(fault.odds)
