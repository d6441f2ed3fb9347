"""A finished profile packaged as a plug-in: the project works at once, and planted bugs show."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import pytest

from simrig.cli.main import main
from simrig.errors import SimrigError
from simrig.harness.broken_runs import BrokenError
from simrig.harness.conformance import CHECKS, Suite, WaitsError
from simrig.host.catalogue import Catalogue
from simrig.interchange import plugin_project, running, scenarios, toml_writer
from simrig.profile.machine import Profile
from simrig.profile.reader import read

ROOT = Path(__file__).parents[2]
DEMO = {
    name: Catalogue().load(name) for name in ("tidal-clockwork", "basalt-freight", "orchard-signal")
}
pytest_plugins = ["pytester"]


@pytest.fixture
def project(pytester: pytest.Pytester) -> Path:
    """The project of one machine, in an empty folder."""
    source = str(ROOT / "plugins/simrig_machines/orchard-signal.toml")
    assert main(["new", str(pytester.path), "--from", source]) == 0
    return pytester.path


def test_the_project_passes_at_once(project: Path, pytester: pytest.Pytester) -> None:
    """Its scenarios, its tests and the conformance suite pass, and vetting finds nothing."""
    ended = pytester.runpytest_inprocess("--simrig-examples", "1", "-p", "no:cacheprovider")
    found = ended.parseoutcomes()
    sys.modules.pop("simrig_machine_orchard_signal", None)
    assert ended.ret == 0, ended.stdout.str()
    steps = 4 + len(DEMO["orchard-signal"].phase)
    assert found["passed"] + found.get("skipped", 0) == 2 + steps + len(CHECKS)
    assert main(["vet", str(project / "simrig_machine_orchard_signal/orchard-signal.toml")]) == 0


def test_the_profile_is_the_file_as_it_was(project: Path) -> None:
    """The profile keeps its comments: it is copied, not written anew."""
    made = (project / "simrig_machine_orchard_signal/orchard-signal.toml").read_bytes()
    assert made == (ROOT / "plugins/simrig_machines/orchard-signal.toml").read_bytes()


def test_the_project_states_what_installers_need(project: Path) -> None:
    """Its pyproject names the entry point after the machine, and the package holds the profile."""
    found = tomllib.loads((project / "pyproject.toml").read_text())
    assert found["project"]["entry-points"]["simrig"] == {
        "orchard-signal": "simrig_machine_orchard_signal"
    }
    assert found["project"]["version"] == DEMO["orchard-signal"].version
    readme = (project / "README.md").read_text()
    assert "The file alone, or the plug-in" in readme


def test_a_title_of_any_signs_breaks_no_file() -> None:
    """Quotes, braces and line ends in a title, and an id that ends in a hyphen, do no harm."""
    odd = attrs.evolve(
        DEMO["orchard-signal"],
        id="9-class-",
        title='A "{quoted}" \\ \'\'\' """ title\n',
        version="v",
    )
    files = plugin_project.files(odd, toml_writer.written(odd), "1.0")
    made = tomllib.loads(files["pyproject.toml"])["project"]
    assert (made["name"], made["version"]) == ("simrig-machine-9-class", "0.1")
    for name, text in files.items():
        if name.endswith(".py"):
            compile(text, name, "exec")
        elif name.endswith(".scenario.toml"):
            assert scenarios.read(text.encode(), name).title.startswith('A "{quoted}"')


def _swapped_seats(profile: Profile) -> Profile:
    """Two sensors of the store exchanged: each is said to stand where the other does."""
    store = f"{profile.balls.store}."
    one, other = [
        sensor for sensor in profile.sensor if any(spot.startswith(store) for spot in sensor.spots)
        and profile.spots[sensor.spots[0]].resting
    ][:2]  # fmt: skip
    exchanged = {one.id: other.at, other.id: one.at}
    rows = [
        attrs.evolve(row, at=exchanged[row.id]) if row.id in exchanged else row
        for row in profile.sensor
    ]
    return attrs.evolve(profile, sensor=tuple(rows))


def _lost_polarity(profile: Profile) -> Profile:
    """One contact, or one board, works the other way round."""
    turned = {"normally open": "normally closed", "normally closed": "normally open"}
    rows = list(profile.sensor)
    at = next(i for i, row in enumerate(rows) if row.contact and row.spots)
    rows[at] = attrs.evolve(rows[at], contact=turned[str(rows[at].contact)])
    return attrs.evolve(profile, sensor=tuple(rows))


def _wrong_phase_count(profile: Profile) -> Profile:
    """A phase has one ball more in play than it should."""
    phases = list(profile.phase)
    for at, phase in enumerate(phases):
        row = dict(phase.placements[0])
        place = next((name for name, balls in row.items() if balls == 1), None)
        if place is not None and profile.row("place", place).open_area:
            changed = ({**row, place: 2}, *phase.placements[1:])
            phases[at] = attrs.evolve(phase, placements=changed)
            break
    else:
        raise AssertionError("no phase has one ball in play")
    return attrs.evolve(profile, phase=tuple(phases))


def _scenarios_fail(profile: Profile, files: dict[str, str]) -> bool:
    found = [
        scenarios.read(text.encode(), name)
        for name, text in files.items()
        if name.endswith(".scenario.toml")
    ]
    return any(not step.passed for one in found for step in running.run(profile, one))


def _suite_fails(profile: Profile) -> bool:
    for check in CHECKS:
        if check.id in ("phases", "readings", "stated"):
            try:
                check.run(Suite(profile=profile, examples=1))
            except WaitsError:
                continue
            except BrokenError:
                return True
    return False


@pytest.mark.parametrize("plant", [_swapped_seats, _lost_polarity, _wrong_phase_count])
@pytest.mark.parametrize("name", DEMO)
def test_planted_bugs_are_caught(
    name: str, plant: Callable[[Profile], Profile], tmp_path: Path
) -> None:
    """A bug planted in the packaged profile is caught by its reader, its scenarios, the
    conformance suite or vetting; the sound profile by none of them."""
    sound = DEMO[name]
    files = plugin_project.files(sound, toml_writer.written(sound), "1.0")
    assert not _scenarios_fail(sound, files)
    assert not _suite_fails(sound)
    wrong = plant(sound)
    assert wrong != sound
    text = toml_writer.written(wrong)
    try:
        read(text.encode(), "planted")
    except SimrigError:
        return
    path = tmp_path / "planted.toml"
    path.write_text(text)
    assert _scenarios_fail(wrong, files) or _suite_fails(wrong) or main(["vet", str(path)]) == 1


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda folder: (folder / "kept").write_text("mine"), "is there and not empty"),
        (lambda folder: (folder / "from.toml").write_text("format = 1\nid = 3\n"), "from.toml:2"),
        (
            lambda folder: (folder / "from.toml").write_text(
                'format = 1\nid = "bare"\n[balls]\ninstalled = 3\n'
            ),
            "states no [[phase]] yet",
        ),
        (lambda folder: (folder / "from.toml").unlink(), "it cannot be read"),
    ],
)
def test_refusals_write_nothing(
    make: Callable[[Path], Any], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder in use, a broken or unfinished profile, a missing file: 2, words, no file made."""
    (tmp_path / "from.toml").write_text(toml_writer.written(DEMO["orchard-signal"]))
    make(tmp_path)
    target = tmp_path if (tmp_path / "kept").exists() else tmp_path / "new"
    before = sorted(tmp_path.rglob("*"))
    assert main(["new", str(target), "--from", str(tmp_path / "from.toml")]) == 2
    assert words in capsys.readouterr().err
    assert sorted(tmp_path.rglob("*")) == before


def test_json_names_the_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --json the answer names the machine and every file; a JSON profile becomes TOML."""
    source = tmp_path / "from.json"
    assert main(["export", "orchard-signal", "-o", str(source)]) == 0
    assert main(["new", str(tmp_path / "made"), "--from", str(source), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["machine"] == "orchard-signal"
    assert all((tmp_path / "made" / name).is_file() for name in found["files"])


@pytest.mark.skipif("SIMRIG_FULL" not in os.environ, reason="a long run: set SIMRIG_FULL")
def test_in_a_fresh_environment(tmp_path: Path) -> None:
    """Installed with simrig in a new environment, the project's pytest passes, the machine is at
    hand by its name and vets clean."""
    folder, venv = tmp_path / "project", tmp_path / "venv"
    source = str(ROOT / "plugins/simrig_machines/tidal-clockwork.toml")
    assert main(["new", str(folder), "--from", source]) == 0
    environ = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    environ["XDG_CACHE_HOME"] = str(tmp_path / "cache")

    def run(*words: str) -> str:
        ended = subprocess.run(words, capture_output=True, text=True, cwd=folder, env=environ)
        assert ended.returncode == 0, ended.stdout + ended.stderr
        return ended.stdout

    run(sys.executable, "-m", "venv", str(venv))
    python, command = str(venv / "bin/python"), str(venv / "bin/simrig")
    run(python, "-m", "pip", "install", "--quiet", f"{ROOT}[test]")
    run(python, "-m", "pip", "install", "--quiet", ".")
    assert " passed" in run(python, "-m", "pytest", "-q", "--simrig-examples", "10")
    listed = json.loads(run(command, "machines", "--json"))["machines"]
    assert [(one["id"], one["source"].split()[0]) for one in listed] == [
        ("tidal-clockwork", "simrig-machine-tidal-clockwork")
    ]
    run(command, "vet", "tidal-clockwork")
