"""Plug-ins in distributions of their own, built and installed in the test run."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = """[build-system]
requires = ["setuptools"]
build-backend = "setuptools.build_meta"
[project]
name = "{name}"
version = "0.3"
[project.entry-points.simrig]
{name} = "{module}"
[tool.setuptools]
packages = ["{module}"]
[tool.setuptools.package-data]
{module} = ["*.toml"]
"""
PLUGIN = """from pathlib import Path
from simrig.host import hookimpl

@hookimpl
def simrig_profiles():
    return [Path(__file__).with_name("harbour-lights.toml")]
"""


def _install(folder: Path, target: Path, name: str, code: str) -> None:
    module = name.replace("-", "_")
    package = folder / name / module
    package.mkdir(parents=True)
    (folder / name / "pyproject.toml").write_text(PROJECT.format(name=name, module=module))
    (package / "__init__.py").write_text(code)
    text = (ROOT / "plugins/simrig_machines/orchard-signal.toml").read_text()
    (package / "harbour-lights.toml").write_text(text.replace("orchard-signal", "harbour-lights"))
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "--quiet", "--no-build-isolation", "--no-deps",
         "--target", str(target), str(folder / name)],
        check=True, capture_output=True,
    )  # fmt: skip


def _simrig(target: Path, cache: Path, *words: str) -> subprocess.CompletedProcess[str]:
    environ = {
        **os.environ,
        "PYTHONPATH": f"{target}{os.pathsep}{ROOT}",
        "XDG_CACHE_HOME": str(cache),
    }
    return subprocess.run(
        [sys.executable, "-m", "simrig", *words], capture_output=True, text=True, env=environ
    )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two plug-ins: one good, one that fails on import."""
    folder = tmp_path_factory.mktemp("projects")
    target = tmp_path_factory.mktemp("site")
    _install(folder, target, "harbour-lights", PLUGIN)
    _install(folder, target, "broken-buoy", "raise RuntimeError('no tide table')\n")
    shutil.rmtree(folder)
    # The index is kept only for files that are not being written any more.
    for path in target.rglob("*"):
        os.utime(path, (1_700_000_000, 1_700_000_000))
    return target


def test_an_installed_plugin_works(installed: Path, tmp_path: Path) -> None:
    """A machine from a distribution of its own is found and answers."""
    ended = _simrig(installed, tmp_path, "expect", "harbour-lights", "--json")
    assert ended.returncode == 0
    assert json.loads(ended.stdout)["machine"] == "harbour-lights"


def test_a_failing_plugin_is_named(installed: Path, tmp_path: Path) -> None:
    """One that fails on import is named with its distribution and version; others go on."""
    for _ in range(2):  # cold and warm index
        ended = _simrig(installed, tmp_path, "machines", "--json")
        assert ended.returncode == 0
        ids = [one["id"] for one in json.loads(ended.stdout)["machines"]]
        assert "harbour-lights" in ids
        assert "broken-buoy 0.3" in ended.stderr
        assert "no tide table" in ended.stderr
        assert "Traceback" not in ended.stderr


def test_strict_plugins_end_with_three(installed: Path, tmp_path: Path) -> None:
    """With --strict-plugins any failed plug-in ends the command with 3."""
    ended = _simrig(installed, tmp_path, "machines", "--strict-plugins")
    assert ended.returncode == 3
    assert "broken-buoy" in ended.stderr


def test_a_warm_answer_loads_no_plugin_machinery(installed: Path, tmp_path: Path) -> None:
    """With a warm index neither pluggy nor importlib.metadata nor a plug-in is imported."""
    environ = {
        **os.environ,
        "PYTHONPATH": f"{installed}{os.pathsep}{ROOT}",
        "XDG_CACHE_HOME": str(tmp_path),
    }
    code = (
        "import sys; from simrig.cli.main import main; main(['expect','harbour-lights','--json']);"
        "print(sorted({'pluggy','importlib.metadata','harbour_lights','tabulate'} & set(sys.modules)))"
    )
    for _ in range(2):  # the first makes the index for this way to start Python
        ended = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, env=environ
        )
    assert ended.stdout.strip().endswith("[]")
