"""The recipes of DEVELOPERS.md, carried out word by word in a copy of the repository.

Each block goes where its first line says.  What was made is then used at the front
door, and no other file of the copy has changed.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests import documents
from tests.documents import ROOT, Block

PLUGIN = """[build-system]
requires = ["setuptools"]
build-backend = "setuptools.build_meta"
[project]
name = "brings-a-kind"
version = "1"
[project.entry-points.simrig]
kind = "brings_a_kind"
[tool.setuptools]
py-modules = ["brings_a_kind"]
"""


def recipe(heading: str) -> list[Block]:
    """Return the blocks under a heading of DEVELOPERS.md that name their file."""
    found = [one for one in documents.blocks() if one.heading == heading and one.is_recipe]
    assert found, f"DEVELOPERS.md has no recipe under {heading!r}"
    return found


def test_every_recipe_is_carried_out() -> None:
    """No block of the documents names a file under a heading that no test here asks for."""
    calls = [
        node
        for node in ast.walk(ast.parse(Path(__file__).read_text()))
        if isinstance(node, ast.Call)
    ]
    asked = {ast.literal_eval(one.args[0]) for one in calls if ast.unparse(one.func) == "recipe"}
    assert {one.heading for one in documents.blocks() if one.is_recipe} == asked


def profile() -> str:
    """The machine of the first recipe."""
    (block,) = recipe("A machine")
    return block.text.partition("\n")[2]


class Copy:
    """A copy of the repository, beside it a folder to work in and one to install into."""

    def __init__(self, folder: Path) -> None:
        self.tree, self.work, self.site = (folder / name for name in ("tree", "work", "site"))
        unwanted = (".*", "build", "dist", "*.egg-info", "__pycache__", "bench", "mutations")
        shutil.copytree(ROOT, self.tree, ignore=shutil.ignore_patterns(*unwanted))
        self.work.mkdir()
        self.site.mkdir()
        self._folder = folder
        self._before = self._state()

    def _state(self) -> dict[str, str]:
        return {
            path.relative_to(self.tree).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in self.tree.rglob("*")
            if path.is_file()
        }

    def changed(self) -> set[str]:
        """The files of the copy that are new, gone or otherwise than they were."""
        return {name for name, _ in self._before.items() ^ self._state().items()}

    def python(self, *words: str, at: Path | None = None) -> subprocess.CompletedProcess[str]:
        """Run Python with the copy's simrig, in the folder to work in."""
        environ = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(map(str, (self.tree, self.tree / "plugins", self.site))),
            "PYTHONPYCACHEPREFIX": str(self._folder / "compiled"),
            "PYTHONDONTWRITEBYTECODE": "",
            "XDG_CACHE_HOME": str(self._folder / "cache"),
            "XDG_DATA_HOME": str(self._folder / "data"),
        }
        return subprocess.run(
            [sys.executable, *words], capture_output=True, text=True, env=environ,
            cwd=at or self.work,
        )  # fmt: skip

    def simrig(self, *words: str, code: int = 0) -> str:
        """Run a command that ends with this code and return what it prints."""
        ended = self.python("-m", "simrig", *words)
        assert ended.returncode == code, ended.stdout + ended.stderr
        assert ended.stderr == ""
        return ended.stdout

    def json(self, *words: str, code: int = 0) -> Any:
        """Run a command and return its JSON document."""
        return json.loads(self.simrig(*words, "--json", code=code))

    def install(self, project: Path) -> None:
        """Install a project as pip does, into the folder for that."""
        ended = self.python(
            "-m", "pip", "install", "--quiet", "--no-build-isolation", "--no-deps",
            "--target", str(self.site), str(project),
        )  # fmt: skip
        assert ended.returncode == 0, ended.stderr

    def plugin(self, body: str) -> None:
        """Install a plug-in of this code, found by its entry point."""
        project = self.work / "brings-a-kind"
        project.mkdir()
        (project / "pyproject.toml").write_text(PLUGIN)
        (project / "brings_a_kind.py").write_text(body)
        self.install(project)

    def shell(self, script: str) -> None:
        """Run the lines of a block as they stand: simrig is the copy's, pip installs beside."""
        for line in script.splitlines():
            program, *words = shlex.split(line)
            if program == "pip":
                assert words[0] == "install"
                self.install(self.work / words[1])
            else:
                assert program == "simrig"
                self.simrig(*words)

    def tests(self, *words: str) -> None:
        """Run some of the project's own tests in the copy."""
        ended = self.python("-m", "pytest", "-q", "-p", "no:cacheprovider", *words, at=self.tree)
        assert ended.returncode == 0, ended.stdout[-3000:]


@pytest.fixture
def copy(tmp_path: Path) -> Copy:
    """A copy of the repository, in which harbour-lights.toml is at hand to work with."""
    made = Copy(tmp_path)
    (made.work / "harbour-lights.toml").write_text(profile())
    return made


def test_a_machine(tmp_path: Path) -> None:
    """The profile is silent under vet, packaged, installed and found by its entry point; the
    check that its plug-in brings is in the catalogue and comes next where it pays best."""
    copy = Copy(tmp_path)
    for block in recipe("A machine"):
        documents.apply(block, copy.work)
    assert "No findings." in copy.simrig("vet", "harbour-lights.toml")
    (script,) = [
        one for one in documents.blocks() if one.heading == "A machine" and one.language == "sh"
    ]
    lines = script.text.splitlines(keepends=True)
    new = next(number for number, line in enumerate(lines) if line.startswith("simrig new"))
    copy.shell("".join(lines[: new + 1]))
    (hook,) = recipe("What a plug-in brings besides")
    documents.apply(hook, copy.work)
    copy.shell("".join(lines[new + 1 :]))

    machines = {one["id"]: one["source"] for one in copy.json("machines")["machines"]}
    assert machines["harbour-lights"].startswith("simrig-machine-harbour-lights ")
    expected = copy.json("expect", "harbour-lights", "--balls", "1")["readings"]
    assert [(one["sensor"], one["reading"]) for one in expected] == [
        ("t1", "closed"),
        ("t2", "open"),
    ]
    assert "trough position 2" in copy.simrig("show", "harbour-lights")
    assert copy.json("vet", "harbour-lights")["findings"] == []
    checks = {one["id"] for one in copy.json("checks", "harbour-lights")["checks"]}
    assert {"arm-t1", "arm-t2"} <= checks
    seen = ("diagnose", "harbour-lights", "--seats", "none", "--closed", "t1")
    assert copy.json(*seen, code=1)["next_check"]["id"] == "arm-t1"
    found = copy.json(*seen, "--found", "arm-t1=down", "--faults", "1", code=1)
    blamed = {one["part"] for cause in found["explanations"] for one in cause["faults"]}
    assert blamed == {"t1"}
    ended = copy.python("-m", "pytest", "-q", "-p", "no:cacheprovider", at=copy.work / "harbour")
    assert ended.returncode == 0, ended.stdout
    assert copy.changed() == set()


@pytest.mark.parametrize("how", ["built in", "by a plug-in"])
def test_a_sensor_kind(copy: Copy, how: str) -> None:
    """A profile that names the new kind is sound, shown with its title, and reads as its
    technology says; a profile with a kind that nobody brings is refused."""
    (block,) = recipe("A sensor kind")
    text = profile().replace('"micro-switch"', '"reed"')
    (copy.work / "reeds.toml").write_text(text)
    assert "reed" in copy.simrig("vet", "reeds.toml", code=1)
    if how == "built in":
        changed = {documents.apply(block, copy.tree)}
    else:
        changed = set()
        copy.plugin(
            "from simrig.host import SensorKind, hookimpl\n\n@hookimpl\n"
            f"def simrig_sensor_kinds():\n    return [{block.text}]\n"
        )
    assert copy.json("vet", "reeds.toml")["findings"] == []
    assert "trough position 1  reed\n" in copy.simrig("show", "reeds.toml")
    assert "t1: t1, reed contact;" in copy.simrig("part", "reeds.toml", "t1")
    expected = copy.json("expect", "reeds.toml", "--balls", "1")["readings"]
    assert [one["reading"] for one in expected] == ["closed", "open"]
    found = copy.json("diagnose", "reeds.toml", "--seats", "none", "--closed", "t1", code=1)
    kinds = {one["kind"] for cause in found["explanations"] for one in cause["faults"]}
    assert "contact-stuck-closed" in kinds
    assert copy.changed() == changed
    if how == "built in":
        copy.tests("tests/interchange/test_schema.py", "-k", "current or takes_the_same")


@pytest.mark.parametrize("how", ["built in", "by a plug-in"])
def test_a_fault_kind(copy: Copy, how: str) -> None:
    """The new kind is put in by ``expect --fault``, and blamed by ``diagnose`` with its clause."""
    (block,) = recipe("A fault kind")
    if how == "built in":
        changed = {documents.apply(block, copy.tree)}
    else:
        changed = set()
        copy.plugin(
            "from simrig.host import FaultKind, hookimpl\n\n@hookimpl\n"
            f"def simrig_fault_kinds():\n    return [{block.text}]\n"
        )
    words = ("harbour-lights.toml", "--seats", "none")
    faulty = copy.json("expect", *words, "--fault", "arm-bent:t1")["readings"]
    assert [(one["sensor"], one["reading"]) for one in faulty] == [("t1", "closed"), ("t2", "open")]
    found = copy.json("diagnose", *words, "--closed", "t1", code=1)
    (blamed,) = [
        cause
        for cause in found["explanations"]
        if [(one["kind"], one["part"]) for one in cause["faults"]] == [("arm-bent", "t1")]
    ]
    assert "it is closed whatever works it" in blamed["why"]
    repair = ("--repair", "bent back", "--part", "arm-bent:t1", "--proven", "readings")
    unit = ("--profiles", ".", "--machine", "harbour-lights", "--unit", "7", "--complaint", "dead")
    (job,) = copy.json("history", "add", *unit, *repair)["entries"]
    (filed,) = job["repairs"]
    assert (filed["part_kind"], filed["part"], filed["fault"]) == ("contact", "t1", "arm-bent")
    (note,) = copy.json("vet", "harbour-lights.toml", code=1)["findings"]
    assert note["code"] == "TELL-03"
    assert {"arm-bent:t1", "contact-stuck-closed:t1"} <= set(re.findall(r"[^ ;]+", note["message"]))
    assert copy.changed() == changed


def test_a_bench_check(copy: Copy) -> None:
    """The new check is in the catalogue, comes next where it pays best, tells the new kind of
    fault from the one that reads alike, and ``vet`` is silent again."""
    for block in recipe("A fault kind"):
        documents.apply(block, copy.tree)
    changed = {documents.apply(block, copy.tree) for block in recipe("A bench check")}
    checks = {one["id"]: one for one in copy.json("checks", "harbour-lights.toml")["checks"]}
    assert checks["arm-t1"]["title"] == "Look at the arm of t1"
    words = ("diagnose", "harbour-lights.toml", "--seats", "none", "--closed", "t1")
    assert copy.json(*words, code=1)["next_check"]["id"] == "arm-t1"
    kinds = {}
    for result in ("bent", "straight"):
        found = copy.json(*words, "--faults", "1", "--found", f"arm-t1={result}", code=1)
        kinds[result] = {one["kind"] for cause in found["explanations"] for one in cause["faults"]}
    assert kinds["bent"] == {"arm-bent"}
    assert "contact-stuck-closed" in kinds["straight"] - {"arm-bent"} == kinds["straight"]
    assert copy.json("vet", "harbour-lights.toml")["findings"] == []
    assert changed == {"simrig/diagnosis/checks_wiring.py"}
    assert copy.changed() == changed | {"simrig/faults/modes.py"}


def test_a_command(copy: Copy) -> None:
    """The new command is in the help, answers people and tools, is completed in every shell, and
    the documents tell of it once they are written anew."""
    changed = {documents.apply(block, copy.tree) for block in recipe("A command")}
    assert "  sensors     how many sensors a machine has\n" in copy.simrig("--help")
    assert "id of a machine, or a file" in copy.simrig("sensors", "--help")
    assert copy.simrig("sensors", "harbour-lights.toml") == "harbour lights: 2 sensors.\n"
    assert copy.json("sensors", "harbour-lights.toml")["sensors"] == 2
    for shell in ("bash", "zsh", "fish"):
        assert "sensors" in copy.simrig("completion", shell)
    ended = copy.python("-m", "tests.documents", at=copy.tree)
    assert (ended.returncode, ended.stdout) == (0, "README.md is written anew\n"), ended.stderr
    assert copy.changed() == changed | {"README.md"}
    copy.tests("tests/test_documentation.py", "-k", "every_command or help")
