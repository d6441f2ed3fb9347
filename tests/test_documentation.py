"""What the documents show and say is what the tool does, and what there is."""

from __future__ import annotations

import argparse
import ast
import fnmatch
import importlib.util
import inspect
import os
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import simrig
from simrig.api import Stated
from simrig.cli.main import COMMANDS, command_parser
from simrig.errors import InputError, PluginError, ProfileError
from simrig.host.acceptance import SPECIFICATIONS
from simrig.interchange.schema import schema
from simrig.profile.components import SENSOR_KINDS, Sensor
from simrig.profile.keys import keys_of
from simrig.profile.machine import Profile
from tests import documents
from tests.documents import DOCUMENTS, ROOT, Block, document, section

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
BLOCKS = documents.blocks()


def _named(*languages: str) -> list[Any]:
    chosen = [one for one in BLOCKS if one.language in languages and not one.is_recipe]
    return [pytest.param(one, id=str(one)) for one in chosen]


def _code(text: str) -> list[str]:
    """Return what stands in single backticks, outside blocks, line ends taken for blanks."""
    without = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    return [" ".join(one.split()) for one in re.findall(r"`([^`]+)`", without)]


# What is shown.


@pytest.mark.parametrize(
    ("command", "output"),
    [pytest.param(command, output, id=command) for _, command, output in documents.shown()],
)
def test_shown_output_is_real(
    command: str, output: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A block that shows a command shows all that it prints."""
    # Chances stand on the shop's record where there is one: here there is none.
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert documents.printed(command) == output.strip("\n") + "\n"


def test_every_block_is_held_by_a_test() -> None:
    """A block is shown output, commands, a file, code, or the one diagram; there is no other."""
    known = {"console", "sh", "toml", "python", "text"}
    for block in BLOCKS:
        assert block.is_recipe or block.language in known, f"{block}: {block.mark or 'no mark'}"
    assert {one.language for one in BLOCKS} >= {"console", "sh", "toml", "python", "text"}


@pytest.mark.parametrize("block", _named("python"))
def test_shown_code_runs(block: Block) -> None:
    """Python that a document shows runs as it stands, and what it asserts is so."""
    exec(compile(block.text, str(block), "exec"), {"__name__": "shown"})


def test_shown_files_parse() -> None:
    """TOML that a document shows is TOML."""
    for block in BLOCKS:
        assert block.language != "toml" or tomllib.loads(block.text), block


@pytest.mark.parametrize("block", [one for one in BLOCKS if one.heading == "The house"])
def test_the_diagram_names_values(block: Block) -> None:
    """Each word with a capital in the diagram of the chain is a class of simrig."""
    trees = [ast.parse(path.read_text()) for path in (ROOT / "simrig").rglob("*.py")]
    classes = {one.name for tree in trees for one in tree.body if isinstance(one, ast.ClassDef)}
    assert set(re.findall(r"\b[A-Z]\w+", block.text)) - classes == set()


TRIED = {
    "ruff check .": ["ruff", "check", "simrig/bounds.py"],
    "ruff format --check .": ["ruff", "format", "--check", "simrig/bounds.py"],
    "mypy": ["mypy", "--version"],
    "lint-imports": ["lint-imports", "--help"],
    "python -m pytest -q": ["python", "-m", "pytest", "-q", "--co", "tests/test_bounds.py"],
    "python -m tests.mutations.run 200000 1": ["python", "-m", "tests.mutations.run", "1", "1"],
    "coverage erase": ["coverage", "erase", "--help"],
    "coverage run -m pytest -q tests/profile tests/history tests/host tests/interchange": [
        "coverage",
        "run",
        "-m",
        "pytest",
        "--version",
    ],
    "coverage combine -q": ["coverage", "combine", "--help"],
    "coverage report": ["coverage", "report", "--help"],
    "python -m tests.biting.run --group world --group sensing --group scan --group mending": [
        "python",
        "-m",
        "tests.biting.run",
        "--help",
    ],
    "python -m tests.biting.run --group reasoning --sample 300": [
        "python",
        "-m",
        "tests.biting.run",
        "--help",
    ],
    "python -m tests.bench": ["python", "-c", "import tests.bench.registry"],
    "python -m tests.documents": ["python", "-c", "import tests.documents"],
    "python tests/bench/bench_startup.py": ["python", "-c", "import tests.bench.bench_startup"],
}
"""How each command for developers is shown to be one, in short."""
BROUGHT_BY = {"lint-imports": "import-linter"}
"""The distribution that brings a program, where it has another name."""


def _commands(block: Block) -> Iterator[tuple[dict[str, str], str]]:
    """Yield each command of a block, with the environment that it sets."""
    for line in block.text.replace("\\\n", " ").splitlines():
        for part in line.partition("#")[0].split("&&"):
            words = part.split()
            environ = dict(word.split("=", 1) for word in words if re.match(r"[A-Z_]+=", word))
            yield environ, " ".join(words[len(environ) :])


@pytest.mark.parametrize("block", _named("sh"))
def test_shown_commands_start(block: Block, tmp_path: Path) -> None:
    """Each command of a block is one that starts; the README's are run by .ci/run, those of a
    recipe by its test."""
    if block.mark == "sh run":
        assert "sh run" in (ROOT / ".ci/run").read_text()
        return
    if block.heading == "A machine":
        return
    extras = PROJECT["project"]["optional-dependencies"]
    brought = " ".join((*extras["dev"], *extras["test"], *extras["check"]))
    for environ, command in _commands(block):
        assert command in TRIED, f"no test knows {command!r}"
        for word in command.split():
            assert "/" not in word or (ROOT / word).exists(), word
        program, *words = TRIED[command]
        if program != "python":
            assert BROUGHT_BY.get(program, program) in brought
        path = Path(sys.executable).with_name(program) if program != "python" else sys.executable
        if not Path(path).exists():
            continue  # Brought by the extra dev, not by those that tests need.
        ended = subprocess.run(
            [str(path), *words], cwd=ROOT, capture_output=True, text=True,
            env={
                **os.environ, **environ, "RUFF_CACHE_DIR": str(tmp_path),
                "COVERAGE_FILE": str(tmp_path / "coverage"),
            },
        )  # fmt: skip
        assert ended.returncode == 0, (command, ended.stdout, ended.stderr)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_commands_in_passing_exist(name: str) -> None:
    """Each ``simrig COMMAND`` in a sentence or a recipe is a command, each option one of its own."""
    told = [one for one in _code(document(name)) if one.startswith("simrig ")]
    told += [
        line
        for block in BLOCKS
        if block.document == name and block.language == "sh"
        for line in block.text.splitlines()
        if line.startswith("simrig ")
    ]
    assert told
    for one in told:
        _, command, *words = shlex.split(one)
        if command.startswith("-"):
            continue
        assert command in COMMANDS, one
        if command == "history":
            continue
        options = command_parser(command)._option_string_actions
        for word in words:
            assert not word.startswith("-") or word.split("=")[0] in options, one


@pytest.mark.parametrize("name", DOCUMENTS)
def test_options_in_passing_exist(name: str) -> None:
    """Each option that a sentence names is one of some command, of pytest with the plug-in, or of
    a program of the tests; those of another program stand behind its name."""
    known = {"--simrig-conformance", "--help", "--version"}
    known |= {option for _, action in _options() for option in action.option_strings}
    for path in (ROOT / "tests").rglob("*.py"):
        if path != Path(__file__):
            known |= set(re.findall(r'add_argument\(\s*"(--[a-z-]+)"', path.read_text()))
    for one in _code(document(name)):
        if one.startswith("dask "):
            continue
        for option in re.findall(r"(?<!\S)--[a-z][a-z-]*", one):
            assert option in known, f"{name}: {one}"


@pytest.mark.parametrize("name", DOCUMENTS)
def test_paths_in_passing_exist(name: str) -> None:
    """Each file or folder that a sentence names, or links to, is there."""
    text = document(name)
    files = re.findall(r"\]\(([^)#]+)\)", text)
    files += [
        one
        for one in _code(text)
        if re.fullmatch(r"(simrig|tests|plugins|scenarios|\.ci)/\S*", one)
    ]
    assert files
    for one in files:
        stem = one.replace("CODE", "FACT-01")
        assert any(ROOT.glob(stem.rstrip("/"))), f"{name}: {one}"


# What is said.


def _rows(text: str, head: str) -> list[list[str]]:
    """Return the cells of the tables whose first column has this head."""
    rows, inside = [], False
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split(" | ")]
        if not line.startswith("|"):
            inside = False
        elif cells[0] == head:
            inside = True
        elif inside and not cells[0].startswith("---"):
            rows.append(cells)
    return rows


def _floors() -> dict[str, int]:
    """Return the floor of each folder or module of simrig, as the table has them."""
    found = {}
    for floor, named, _ in _rows(document("DEVELOPERS.md"), "floor"):
        found.update({one.rstrip("/"): int(floor) for one in _code(named)})
    return found


def test_the_floors_are_those_that_there_are() -> None:
    """The table of floors names every folder and module of simrig, and no other."""
    inside = {
        path.stem
        for path in (ROOT / "simrig").iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists())
        and not path.name.startswith("__")
    }
    assert set(_floors()) == inside


def test_the_floors_are_those_that_are_held() -> None:
    """From layer to layer of import-linter the floors of the table rise."""
    (layers,) = [
        one["layers"] for one in PROJECT["tool"]["importlinter"]["contracts"] if "layers" in one
    ]
    floors = _floors()
    below = -1
    for layer in reversed(layers[1:]):
        here = {floors[name.strip().removeprefix("simrig.")] for name in re.split("[:|]", layer)}
        assert len(here) == 1, f"{layer} is on one floor"
        assert max(here) >= below
        below = max(here)


def test_the_modules_named_are_there() -> None:
    """The tables of modules name modules that exist."""
    rows = _rows(document("DEVELOPERS.md"), "module")
    assert len(rows) > 10
    for cells in rows:
        folder = "diagnosis"
        for one in _code(cells[0]):
            folder, _, name = one.rpartition("/") if "/" in one else (folder, "", one)
            there = [path.name for path in (ROOT / "simrig" / folder).iterdir()]
            assert fnmatch.filter(there, f"{name}.py") or name in there, one


def test_names_in_passing_exist() -> None:
    """Each bare name that DEVELOPERS.md sets in code stands in the code, or names a module."""
    files = [*(ROOT / "simrig").rglob("*.py"), *(ROOT / "tests").rglob("*.py")]
    known = {path.stem for path in files} | {path.parent.name for path in files}
    for path in files:
        if path != Path(__file__) and {"simrig", "bench"} & {*path.relative_to(ROOT).parts}:
            known |= set(re.findall(r"[A-Za-z_]\w+", path.read_text(encoding="utf-8")))
    words = {one for one in _code(document("DEVELOPERS.md")) if re.fullmatch(r"[A-Za-z_]\w*", one)}
    assert len(words) > 50
    assert words - known - {"SIMRIG_FULL", "new"} == set()


def test_the_files_with_the_keys_are_linked() -> None:
    """The README links to every file in which keys of a profile stand."""
    files = {f"{rows.__module__.replace('.', '/')}.py" for rows in _tables(Profile, {})}
    assert files <= set(re.findall(r"\]\(([^)]*)\)", document("README.md")))


def _doors() -> dict[str, list[str]]:
    """Return the public names of each package that states them."""
    found = {}
    for path in (ROOT / "simrig").rglob("__init__.py"):
        name = ".".join(path.parent.relative_to(ROOT).parts)
        if any(
            isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__"
            for node in ast.parse(path.read_text()).body
        ):
            found[name] = list(import_module(name).__all__)
    return found


def test_the_doors_are_those_that_there_are() -> None:
    """The table of doors names every package that states its public names, and those names."""
    told = {}
    for door, names in _rows(document("DEVELOPERS.md"), "door"):
        told[door.strip("`")] = sorted(_code(names))
    doors = _doors()
    assert told.pop("simrig.history") == ["__init__.py"]
    del doors["simrig.history"]
    assert told == {door: sorted(names) for door, names in doors.items()}


@pytest.mark.parametrize("door", sorted(_doors()))
def test_what_stands_in_a_door_is_there_and_documented(door: str) -> None:
    """Each public name leads to something, and functions and classes say what they are."""
    module = import_module(door)
    names = _doors()[door]
    assert len(set(names)) == len(names)
    for name in names:
        value = getattr(module, name)
        if inspect.isclass(value) or inspect.isroutine(value):
            assert inspect.getdoc(value), f"{door}.{name}"


@pytest.mark.parametrize("name", [name for name in simrig.__all__ if name != "__version__"])
def test_parameters_are_documented(name: str) -> None:
    """The docstring of each public function, and of Rig, names every parameter."""
    value = getattr(simrig, name)
    words = inspect.getdoc(value) or ""
    for parameter in inspect.signature(value).parameters.values():
        if parameter.kind is inspect.Parameter.VAR_KEYWORD:
            assert "Stated" in words
            words += inspect.getdoc(Stated) or ""
            for key in Stated.__annotations__:
                assert f"``{key}``" in words, f"{name}: {key}"
        else:
            assert f"``{parameter.name}``" in words, f"{name}: {parameter.name}"


def test_python_is_shown_whole() -> None:
    """The README's part for Python uses every public name."""
    said = section("README.md", "From Python")
    for name in simrig.__all__:
        assert name == "__version__" or f"simrig.{name}" in said, name


def test_every_command_is_told_of() -> None:
    """Each command is shown with what it does in the README, and is in the list of changes."""
    shown = section("README.md", "All commands")
    changes = document("CHANGELOG.md")
    for name, does in COMMANDS.items():
        assert f"  {name:11} {does}\n" in shown, name
        assert re.search(rf"`(simrig )?{name}\b", changes), name
        assert importlib.util.find_spec(f"simrig.cli.{name}") is not None
    assert len(re.findall(r"^  \S", shown, re.MULTILINE)) == len(COMMANDS)


def _options() -> Iterator[tuple[str, argparse.Action]]:
    """Yield every option and argument of every command, with the command's name."""

    def within(parser: argparse.ArgumentParser, name: str) -> Iterator[tuple[str, argparse.Action]]:
        for action in parser._actions:
            if isinstance(action, argparse._SubParsersAction):
                for inner, sub in action.choices.items():
                    yield from within(sub, f"{name} {inner}")
            elif action.help != argparse.SUPPRESS:
                yield name, action

    for name in COMMANDS:
        yield from within(command_parser(name), name)


def test_every_option_is_described() -> None:
    """Each option and argument that --help lists has words."""
    options = list(_options())
    assert len(options) > 100
    for name, action in options:
        assert (action.help or "").strip(), (name, action.option_strings or action.dest)


def test_every_hook_is_told_of() -> None:
    """DEVELOPERS.md names every hook, and each hook shows an example."""
    told = set(_code(section("DEVELOPERS.md", "What a plug-in brings besides")))
    assert {one for one in told if one.startswith("simrig_")} == set(SPECIFICATIONS)
    for hook in SPECIFICATIONS.values():
        assert f"def {hook.__name__}(" in (hook.__doc__ or "")


def _tables(rows: type[Any], found: dict[type[Any], None]) -> dict[type[Any], None]:
    found[rows] = None
    for key in keys_of(rows).values():
        if key.table is not None and key.table not in found:
            _tables(key.table, found)
    return found


@pytest.mark.parametrize("rows", _tables(Profile, {}), ids=lambda rows: rows.__name__)
def test_every_key_has_a_meaning(rows: type[Any]) -> None:
    """Each key of the profile says what it means, with its unit, and ``simrig schema`` says so."""
    described = schema(rows, "a table")["properties"]
    for name, key in keys_of(rows).items():
        assert len(key.meaning.split()) > 1, f"{rows.__name__}.{name}: {key.meaning!r}"
        said = described[name]["description"].lower()
        assert said.startswith(key.meaning.lower())
        assert not key.unit or said.endswith(f"({key.unit.lower()})")


def test_the_kinds_of_sensor_named_are_there() -> None:
    """The kinds that the key's meaning names as examples are kinds of sensor."""
    (_, named) = keys_of(Sensor)["kind"].meaning.split(", such as ")
    examples = {one.partition(" (")[0] for one in named.split(", or ")[0].split(", ")}
    assert len(examples) > 5
    assert examples <= {kind.id for kind in SENSOR_KINDS}


def test_exit_codes_are_told() -> None:
    """The README tells every code with which a command can end."""
    told = re.search(r"Exit codes: ([^.]*)\.", document("README.md"))
    assert told is not None
    codes = {int(code) for code in re.findall(r"(?<![\w.])\d+\b", told[1])}
    tree = ast.parse((ROOT / "simrig/cli/main.py").read_text())
    (main,) = [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "main"]
    returned = {
        node.value.value
        for node in ast.walk(main)
        if isinstance(node, ast.Return) and isinstance(node.value, ast.Constant)
    }
    raised = {one.exit_code for one in (InputError, PluginError, ProfileError)}
    assert codes == {0, 1} | returned | raised
