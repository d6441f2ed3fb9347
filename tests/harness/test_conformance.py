"""The conformance suite: holds on sound profiles, and finds what is broken on purpose."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import junitparser
import pytest
from hypothesis import HealthCheck, given, settings

from simrig.cli.main import main
from simrig.harness.broken_runs import BrokenError, scenario
from simrig.harness.conformance import CHECKS, Suite, WaitsError
from simrig.host.catalogue import Catalogue
from simrig.interchange import running, scenarios, toml_writer
from simrig.profile.layout import Phase
from simrig.profile.machine import Profile
from simrig.strategies import profiles
from simrig.world import moves
from simrig.world.balls import Placement

ORCHARD = Catalogue().load("orchard-signal")
BY_ID = {check.id: check for check in CHECKS}


def _run(check: str, profile: Profile = ORCHARD, examples: int = 8) -> None:
    BY_ID[check].run(Suite(profile=profile, examples=examples))


@given(profiles(unknown=True))
@settings(max_examples=4, suppress_health_check=list(HealthCheck))
def test_the_suite_holds_on_any_machine(profile: Profile) -> None:
    """Every check holds, or waits for a fact, on machines that do not contradict themselves."""
    waiting = []
    for check in CHECKS:
        try:
            check.run(Suite(profile=profile, examples=2))
        except WaitsError:
            waiting.append(check.id)
    assert set(waiting) <= {"record", "readings", "stated"}


def _broken(check: str, profile: Profile = ORCHARD) -> BrokenError:
    with pytest.raises(BrokenError) as found:
        _run(check, profile, examples=40)
    return found.value


def _passes(profile: Profile, text: str) -> bool:
    found = scenarios.read(text.encode(), "saved.scenario.toml")
    return all(step.passed for step in running.run(profile, found))


def _filled_wrongly(monkeypatch: pytest.MonkeyPatch) -> None:
    """The trough, whose exit is at position 3, keeps a gap at position 2."""
    usual = moves.settled

    def settled(*arguments: Any, **more: Any) -> Any:
        for placement in usual(*arguments, **more):
            spots = placement.spots
            if {"trough.2", "trough.3"} <= spots and "trough.1" not in spots:
                spots = spots - {"trough.2"} | {"trough.1"}
            yield attrs.evolve(placement, spots=spots)

    monkeypatch.setattr(moves, "settled", settled)


def test_a_wrong_order_of_filling_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Balls that fill in another order are found; the smallest run is one move, and its scenario
    fails until the order is right again."""
    with monkeypatch.context() as broken:
        _filled_wrongly(broken)
        found = _broken("moves")
        assert found.run is not None
        assert "not in the order of filling" in str(found)
        assert len(found.run.steps) == 1
        text = scenario(ORCHARD, "orchard-signal", str(found), found.run)
        assert not _passes(ORCHARD, text)
    assert _passes(ORCHARD, text)


def test_a_lost_ball_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A route on which balls vanish is found by the smallest run that uses it."""
    usual = moves.MOVES["take"]

    def take(profile: Profile, placement: Placement, move: moves.Move) -> Placement:
        made = usual(profile, placement, move)
        if move.subject == "plunge":
            made = attrs.evolve(made, spots=frozenset(sorted(made.spots)[1:]))
        return made

    monkeypatch.setitem(moves.MOVES, "take", take)
    found = _broken("moves")
    assert found.run is not None
    assert "3 are installed" in str(found)
    assert found.run.steps[-1] == "take plunge"
    assert len(found.run.steps) == 2


def test_a_wrong_reading_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scan that loses one sensor is found, both after moves and in the phases."""
    from simrig.expectation import rig
    from simrig.harness import conformance
    from simrig.scan.scanner import readings
    from simrig.world.worlds import Value

    def wrong(*arguments: Any) -> Any:
        frame = readings(*arguments)
        return attrs.evolve(frame, cells={**frame.cells, "trough-2": Value(0, 0)})

    monkeypatch.setattr(rig, "readings", wrong)
    monkeypatch.setattr(conformance, "readings", wrong)
    for check in ("moves", "readings"):
        found = _broken(check)
        assert found.run is not None
        assert "trough-2" in str(found)
        assert "worked out alone it reads closed" in str(found)


def test_a_phase_that_nothing_leads_to_is_found() -> None:
    """A phase with balls in a place that no route enters is named, with its row."""
    place = attrs.evolve(ORCHARD.place[0], id="attic")
    phase = Phase(id="stored", placements=({"attic": 1, "trough": "rest"},))
    lost = attrs.evolve(ORCHARD, place=(*ORCHARD.place, place), phase=(*ORCHARD.phase, phase))
    assert "stored (row 1: attic 1, trough rest)" in str(_broken("phases", lost))


def test_lost_polarity_is_found_and_saved() -> None:
    """A contact stated the other way round contradicts what the sensor is said to read; the saved
    scenario fails with that profile and holds with the right one."""
    sensor = next(one for one in ORCHARD.sensor if one.contact and one.rest_reads and one.spots)
    turned = {"normally open": "normally closed", "normally closed": "normally open"}
    wrong = attrs.evolve(sensor, contact=turned[str(sensor.contact)])
    rows = tuple(wrong if one is sensor else one for one in ORCHARD.sensor)
    profile = attrs.evolve(ORCHARD, sensor=rows)
    found = _broken("stated", profile)
    assert f"{sensor.id} reads" in str(found)
    assert found.run is not None
    text = scenario(ORCHARD, "orchard-signal", str(found), found.run)
    assert not _passes(profile, text)
    assert _passes(ORCHARD, text)


def test_a_fault_that_is_not_found_again_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """When readings do not come from the fault that is blamed, the fault is named."""
    from simrig.harness import recovering

    monkeypatch.setattr(recovering, "inject", lambda profile, table, faults: table)
    assert "diagnose does not offer it for these readings" in str(_broken("diagnosis"))


def test_a_recording_that_misses_a_beam_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """When what is recorded lacks one sensor's changes, the run does not replay."""
    from simrig.harness.recorded import Recorder

    usual = Recorder.record

    def record(self: Recorder, *arguments: Any) -> Any:
        events = usual(self, *arguments)
        return [one for one in events if one.signal != "trough-1" or not one.time_ms]

    monkeypatch.setattr(Recorder, "record", record)
    found = _broken("record")
    assert "does not replay: trough-1" in str(found)
    assert found.run is not None
    assert found.run.steps == ("take serve", "take plunge")


def test_an_export_that_loses_facts_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """An export that reads back as another profile fails."""
    monkeypatch.setattr(
        toml_writer, "written", lambda profile: 'format = 1\nid = "x"\n[balls]\ninstalled = 1\n'
    )
    assert "written as TOML and read back" in str(_broken("export"))


@pytest.mark.parametrize(
    ("without", "check", "waits"),
    [
        ({"phase": ()}, "moves", "a [[phase]]"),
        ({"phase": ()}, "phases", "a [[phase]]"),
        ({"phase": ()}, "diagnosis", "a [[phase]]"),
        ({"route": (), "sensor": ()}, "moves", "a [[route]]"),
        ({"sensor": ()}, "readings", "a [[sensor]]"),
        ({"scan": None}, "record", "[scan] period_ms"),
        ({"sensor": ()}, "stated", "rest_reads or worked_reads"),
    ],
)
def test_a_check_that_cannot_be_made_waits(without: dict[str, Any], check: str, waits: str) -> None:
    """Each check names the fact that it waits for."""
    with pytest.raises(WaitsError) as found:
        _run(check, attrs.evolve(ORCHARD, **without))
    assert str(found.value).startswith(waits)


pytest_plugins = ["pytester"]


@pytest.fixture
def project(pytester: pytest.Pytester) -> Path:
    """A folder with a profile file and a test of its own."""
    (pytester.path / "mine.toml").write_text(toml_writer.written(attrs.evolve(ORCHARD, scan=None)))
    (pytester.path / "test_own.py").write_text("def test_own():\n    pass\n")
    return pytester.path


@pytest.fixture
def run_pytest(pytester: pytest.Pytester) -> Callable[..., pytest.RunResult]:
    """Run pytest in the project's folder."""
    return lambda *words: pytester.runpytest_inprocess("-p", "no:cacheprovider", "-rs", *words)


def test_the_suite_runs_from_any_project(
    project: Path, run_pytest: Callable[..., pytest.RunResult]
) -> None:
    """On a file, alone, in a folder that knows nothing of it; JUnit says what became of it."""
    ended = run_pytest(
        "--simrig-conformance", "mine.toml", "--simrig-examples", "3", "--simrig-seed",
        "5", "--junitxml", "found.xml",
    )  # fmt: skip
    assert ended.ret == 0, ended.stdout.str()
    assert "simrig conformance: mine.toml; 3 examples a check; seed 5" in ended.stdout.str()
    assert "waits for [scan] period_ms and debounce_readings" in ended.stdout.str()
    suite = next(iter(junitparser.JUnitXml.fromfile(str(project / "found.xml"))))
    assert (suite.tests, suite.failures, suite.errors) == (len(CHECKS), 0, 0)
    assert suite.skipped == 1
    assert [case.name for case in suite] == list(BY_ID)


def test_paths_that_are_named_run_too(
    project: Path, run_pytest: Callable[..., pytest.RunResult]
) -> None:
    """With a path on the command line the project's own tests run beside the suite."""
    ended = run_pytest("test_own.py", "--simrig-conformance", "mine.toml", "-k", "own or export")
    assert "2 passed" in ended.stdout.str()


def test_the_project_can_state_it(
    project: Path, run_pytest: Callable[..., pytest.RunResult]
) -> None:
    """Stated in the project's file, the suite runs beside its tests every time."""
    (project / "pytest.ini").write_text("[pytest]\nsimrig_conformance = mine.toml\n")
    ended = run_pytest("test_own.py", "-k", "own or export")
    assert "2 passed" in ended.stdout.str()


def test_a_failing_run_is_saved(
    project: Path,
    run_pytest: Callable[..., pytest.RunResult],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The failure is told in words with the seed, and the saved scenario reproduces it."""
    text = (project / "mine.toml").read_text()
    sensor = next(one for one in ORCHARD.sensor if one.contact and one.rest_reads and one.spots)
    start = text.index(f'id = "{sensor.id}"')
    end = text.index("[[", start)
    turned = text[start:end].replace("normally open", "normally closed")
    (project / "mine.toml").write_text(text[:start] + turned + text[end:])
    ended = run_pytest("--simrig-conformance", "mine.toml", "-k", "stated")
    assert ended.ret == 1
    assert "sensors read as they state" in ended.stdout.str()
    assert "Traceback" not in ended.stdout.str()
    assert "simrig run orchard-signal-stated.scenario.toml" in ended.stdout.str()
    saved = str(project / "orchard-signal-stated.scenario.toml")
    assert main(["run", saved]) == 1
    assert f"{sensor.id}: reads closed, the scenario expects open" in capsys.readouterr().out
    (project / "mine.toml").write_text(text)
    assert main(["run", saved]) == 0


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--simrig-conformance", "orchard-signall"], 'did you mean "orchard-signal"?'),
        (["--simrig-conformance", "broken.toml"], "broken.toml:1: "),
        (["--simrig-conformance", "mine.toml", "--simrig-examples", "0"], "1 or more"),
    ],
)
def test_a_wrong_option_is_told_without_a_traceback(
    words: list[str],
    told: str,
    project: Path,
    run_pytest: Callable[..., pytest.RunResult],
) -> None:
    """An unknown machine, a broken profile or no examples end the run with words."""
    (project / "broken.toml").write_text("format = 9\n")
    ended = run_pytest(*words)
    assert ended.ret == 4
    assert told in ended.stderr.str()
    assert "Traceback" not in ended.stderr.str() + ended.stdout.str()
