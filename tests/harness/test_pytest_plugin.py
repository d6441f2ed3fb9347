"""Scenario files as tests of pytest."""

from __future__ import annotations

import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

SCENARIO = """format = 1
title = "One right, one wrong"
machine = "tidal-clockwork"
tags = ["bench"]

[[step]]
phase = "idle"
balls = 1
closed = ["trough-1"]

[[step]]
phase = "idle"
balls = 1
closed = ["trough-2"]
"""


def _pytest(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *words],
        capture_output=True, text=True, cwd=folder,
    )  # fmt: skip


def test_steps_are_tests(tmp_path: Path) -> None:
    """Each step passes or fails by itself, with the file and line of the step."""
    (tmp_path / "one.scenario.toml").write_text(SCENARIO)
    ended = _pytest(tmp_path, "--junitxml=found.xml")
    assert "1 failed, 1 passed" in ended.stdout
    assert "trough-1: reads closed, the scenario expects open" in ended.stdout
    assert "one.scenario.toml:11" in ended.stdout
    suite = ElementTree.parse(tmp_path / "found.xml").getroot()[0]
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")


def test_tags_are_markers(tmp_path: Path) -> None:
    """A scenario's tags choose it with -m, the step's name with -k."""
    (tmp_path / "one.scenario.toml").write_text(SCENARIO)
    assert "1 passed, 1 deselected" in _pytest(tmp_path, "-m", "bench", "-k", "step-1").stdout
    assert "2 deselected" in _pytest(tmp_path, "-m", "road").stdout


def test_a_broken_file_is_told_with_its_line(tmp_path: Path) -> None:
    """A scenario that cannot be read is a collection error with file and line, no traceback."""
    (tmp_path / "two.scenario.toml").write_text(SCENARIO.replace("title = ", "titel = "))
    ended = _pytest(tmp_path)
    assert (
        'two.scenario.toml:2: titel: this key is not known; did you mean "title"?' in ended.stdout
    )


def test_nothing_is_loaded_unasked(tmp_path: Path) -> None:
    """Without a scenario or the fixture, the plug-in imports nothing more of simrig."""
    (tmp_path / "test_it.py").write_text(
        "import sys\n"
        "def test_it():\n"
        "    found = {name for name in sys.modules if name.startswith('simrig')}\n"
        "    own = {'simrig.harness', 'simrig.harness.pytest_plugin'}\n"
        "    assert found <= {'simrig', 'simrig.version', *own}\n"
    )
    assert "1 passed" in _pytest(tmp_path).stdout


def test_rig_fixture(tmp_path: Path) -> None:
    """The rig fixture moves balls by hand and reads the sensors."""
    (tmp_path / "test_it.py").write_text(
        "def test_it(rig):\n"
        "    machine = rig('tidal-clockwork')\n"
        "    machine.do('serve')\n"
        "    assert machine.reading('launcher-ball') == 'closed'\n"
        "    assert machine.reading('trough-5') == 'open'\n"
    )
    assert "1 passed" in _pytest(tmp_path).stdout
