"""The public strategies: what they make is sound, varied, and shrinks to the plainest case."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, find, given, settings
from hypothesis import strategies as st

from simrig import strategies
from simrig.expectation.prediction import expect
from simrig.expectation.replay import replay
from simrig.expectation.rig import Rig
from simrig.host.catalogue import Catalogue
from simrig.interchange import profile_json, toml_writer
from simrig.interchange.logs import read_csv, write_csv
from simrig.profile.checking import contradictions
from simrig.profile.machine import Profile
from simrig.profile.reader import read
from simrig.scan.scanner import links
from simrig.world.phases import Conditions, legal_placements

ROOT = Path(__file__).parents[2]
SLOW = settings(suppress_health_check=[HealthCheck.too_slow], max_examples=25)


@given(strategies.profiles(unknown=True))
@SLOW
def test_no_machine_contradicts_itself(profile: Profile) -> None:
    """Every machine reads back as itself from TOML and JSON, which also finds contradictions."""
    assert not list(contradictions(profile))
    assert read(toml_writer.written(profile).encode(), "made") == profile
    assert profile_json.read(profile_json.write(profile).encode(), "made") == profile


@given(strategies.profiles())
@SLOW
def test_known_machines_leave_no_reading_open(profile: Profile) -> None:
    """Without unknown facts each reading of one position is definite."""
    found = expect(profile, Conditions(phase="idle"))
    assert len(found.placements) == 1
    assert {one.reading for one in found.readings} <= {"open", "closed"}


FEATURES = {
    "a sensor without address": lambda made: any(one.address is None for one in made.sensor),
    "an assumed fact": lambda made: any(one.assumed for one in made.sensor),
    "a bare opto in the matrix": lambda made: any(
        one.board == "none" and (one.address or "").startswith("column") for one in made.sensor
    ),
    "no diodes": lambda made: made.matrix is not None and made.matrix.diodes == "none",
    "an input board": lambda made: any("node" in (one.address or "") for one in made.sensor),
    "a captive ball": lambda made: any(one.captive for one in made.place),
    "numbering from the far end": lambda made: made.place[0].position_1 == "far end",
    "a sensor that follows a mechanism": lambda made: any(one.follows for one in made.sensor),
}


@pytest.mark.parametrize("feature", FEATURES)
def test_every_feature_is_drawn(feature: str) -> None:
    """Each kind of wiring, layout and missing fact turns up within a few hundred machines."""
    found = find(
        strategies.profiles(unknown=True),
        FEATURES[feature],
        settings=settings(max_examples=600, derandomize=True, database=None, phases=QUICK),
    )
    assert FEATURES[feature](found)


QUICK = [phase for phase in settings.default.phases if phase.name != "shrink"]


FEW = settings(max_examples=15, derandomize=True, database=None)


def test_a_machine_shrinks_to_the_plainest() -> None:
    """The smallest machine has one ball and no sensor."""
    found = find(strategies.profiles(unknown=True), lambda made: True, settings=FEW)
    assert (found.balls.installed, len(found.place), found.sensor) == (1, 4, ())
    two = find(
        strategies.profiles(),
        lambda made: made.balls.installed > 1 and len(made.sensor) > 0,
        settings=FEW,
    )
    assert (two.balls.installed, len(two.sensor)) == (2, 1)
    assert str(two.sensor[0].address).startswith("direct")


DEMO = [Catalogue().load(name) for name in ("tidal-clockwork", "orchard-signal")]
MACHINES = st.sampled_from(range(len(DEMO))).map(DEMO.__getitem__) | strategies.profiles(
    unknown=True
)


@given(MACHINES, st.data())
@SLOW
def test_runs_of_moves_can_be_made(profile: Profile, data: st.DataObject) -> None:
    """Each move of a run can be made after those before it, and no ball is lost."""
    rig = Rig(profile)
    rig.do(*data.draw(strategies.moves(profile)))
    assert rig.placement.balls + rig.in_hand == profile.balls.installed


@given(MACHINES, st.data())
@SLOW
def test_placements_hold_the_balls_asked_for(profile: Profile, data: st.DataObject) -> None:
    """With a number of balls stated, every position is one that a phase allows with so many."""
    balls = data.draw(st.integers(0, profile.balls.installed))
    placement = data.draw(strategies.placements(profile, balls=balls))
    if balls < profile.balls.installed:
        assert placement.balls == balls
    assert placement.spots <= set(profile.spots)


def test_placements_need_a_phase() -> None:
    """A machine without phases has no placements, said in words."""
    import attrs

    with pytest.raises(ValueError, match="no phase is stated"):
        strategies.placements(attrs.evolve(DEMO[0], phase=()))


@given(MACHINES, st.data())
@SLOW
def test_faults_are_those_of_the_machine(profile: Profile, data: st.DataObject) -> None:
    """Each fault can be injected into the links of its machine."""
    from simrig.faults.injection import inject

    fault = data.draw(strategies.faults(profile))
    assert inject(profile, links(profile), [fault]) is not None


@given(MACHINES, st.data())
@SLOW
def test_observations_name_the_ball_sensors(profile: Profile, data: st.DataObject) -> None:
    """A sheet has a reading for each sensor that a ball works."""
    seen = data.draw(strategies.observations(profile))
    assert set(seen.readings) >= {one.id for one in profile.ball_sensors()}
    assert set(seen.readings.values()) <= {"open", "closed", "flickers", "unknown"}


@given(st.sampled_from(range(len(DEMO))).map(DEMO.__getitem__), st.data())
@settings(SLOW, max_examples=10)
def test_logs_read_back(profile: Profile, data: st.DataObject) -> None:
    """Times never fall, a log written as CSV reads back equal, and replaying it finds nothing."""
    events = data.draw(strategies.logs(profile))
    times = [event.time_ms for event in events]
    assert times == sorted(times)
    coils = [coil.id for coil in profile.coil]
    assert tuple(read_csv(write_csv(events), file="log", coils=coils)) == events
    assert replay(profile, events).agrees


def _run(code: str) -> str:
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)}, check=True,
    )  # fmt: skip
    return ended.stdout.strip()


def test_hypothesis_is_told_and_loads_nothing_else() -> None:
    """The entry point loads simrig.strategies alone; Profile is known once it is imported."""
    code = """
import sys
from hypothesis import strategies as st, find
from simrig.strategies import _register
_register()
print(sorted(name for name in sys.modules if name.startswith("simrig")))
from simrig.profile.machine import Profile
print(type(find(st.from_type(Profile), lambda made: made.id == 'made')).__name__)
print(any(type(one).__name__ == "_Waiting" for one in sys.meta_path))
"""
    assert _run(code).splitlines() == [
        "['simrig', 'simrig.strategies', 'simrig.version']",
        "Profile",
        "False",
    ]


def test_profile_imported_first_is_told_too() -> None:
    """With the machine's module loaded already, registration takes effect at once."""
    code = """
from simrig.profile.machine import Profile
from simrig.strategies import _register
_register()
from hypothesis import strategies as st, find
print(find(st.from_type(Profile), lambda made: True).id)
"""
    assert _run(code) == "made"


@pytest.mark.parametrize(
    "name", ["simrig.world.balls", "simrig.sensing.chain", "simrig.scan.scanner"]
)
def test_any_module_may_be_imported_first(name: str) -> None:
    """A module that wants that of Profile is loaded whole, whatever the strategies import."""
    code = f"""
from simrig.strategies import _register
_register()
import {name}
from simrig.profile.machine import Profile
from hypothesis import strategies as st, find
print(find(st.from_type(Profile), lambda made: True).id)
"""
    assert _run(code) == "made"


def test_the_entry_point_is_stated() -> None:
    """The project's metadata names the function for Hypothesis."""
    import tomllib

    points = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["entry-points"]
    assert points["hypothesis"] == {"simrig": "simrig.strategies:_register"}


def test_positions_shrink_to_home() -> None:
    """The plainest position is the first of the first phase."""
    profile = DEMO[0]
    found = find(strategies.placements(profile), lambda one: True, settings=FEW)
    assert found == legal_placements(profile, Conditions(phase=profile.phase[0].id))[0]
