"""Machines from folders and from files named outright, and what is said of those that are none."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from simrig.cli.main import main
from simrig.errors import InputError, PluginError, Problem
from simrig.host.catalogue import Catalogue
from simrig.host.index import Index, Machine
from tests.host.plugin_site import ROOT

MACHINE = ROOT / "plugins/simrig_machines/orchard-signal.toml"
Capture = pytest.CaptureFixture[str]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one sound profile, and files beside it that are none."""
    (tmp_path / "harbour.toml").write_text(
        MACHINE.read_text().replace("orchard-signal", "harbour-lights")
    )
    return tmp_path


def _catalogue(folder: Path, **more: str) -> Catalogue:
    return Catalogue(named=[str(folder)], environ=more, known=Index())


def test_a_folder_of_profiles(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Profiles of folders named by option or by the environment are at hand, by id."""
    other = tmp_path_factory.mktemp("other")
    (other / "pier.toml").write_text('id = "pier-head"\n[balls]\ninstalled = 2\n')
    catalogue = _catalogue(folder, SIMRIG_PROFILES=f"{other}{os.pathsep}")
    assert [(one.id, one.title, one.balls) for one in catalogue.machines()] == [
        ("harbour-lights", "Orchard Signal", 3),
        ("pier-head", "pier-head", 2),
    ]
    assert catalogue.load("harbour-lights").id == "harbour-lights"
    assert catalogue.folder_problems == []


def test_a_folder_that_is_not_there(folder: Path) -> None:
    """Each folder that is none is named with where it was stated; nothing is answered."""
    with pytest.raises(InputError) as refused:
        Catalogue(named=["/no/such"], environ={"SIMRIG_PROFILES": "/nor/this"}, known=Index())
    assert [str(one) for one in refused.value.problems] == [
        "command line: --profiles: there is no folder '/no/such'; name a folder of profile files",
        "environment: SIMRIG_PROFILES: there is no folder '/nor/this'; name a folder of profile "
        "files",
    ]


BAD = {
    "a slip.toml": (
        'id = "x"\n[balls]\ninstalled 2\n',
        3,
        "found installed 2: no = after the key; wanted key = value; put in the =, or quotes round "
        "a key of other signs than a to z, digits, - and _; left out",
    ),
    "bytes.toml": (
        b'id = "\xff"\n',
        1,
        "found the byte 0xff, which is not UTF-8; wanted plain text; save the file as UTF-8; left "
        "out",
    ),
    "deep.toml": (
        "id = " + "[" * 5000,
        1,
        "found tables or lists nested deeper than 60; wanted at most 60; take some of the brackets "
        "or dots away; left out",
    ),
    "no balls.toml": (
        'id = "x"\n',
        None,
        "found no id in quotes with a whole number as balls.installed; wanted both, as every "
        "profile has them; put them in; left out",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_no_profile(name: str, folder: Path) -> None:
    """A file of a folder that cannot be read as a profile is told at its line and left out; the
    others are at hand."""
    text, line, says = BAD[name]
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    catalogue = _catalogue(folder)
    assert [one.id for one in catalogue.machines()] == ["harbour-lights"]
    assert catalogue.folder_problems == [
        Problem(
            file=str(folder / name),
            line=line,
            where=catalogue.folder_problems[0].where,
            message=says,
            rule=catalogue.folder_problems[0].rule,
        )
    ]


def test_a_file_that_cannot_be_opened(folder: Path) -> None:
    """A folder that is called as a profile is told and left out."""
    (folder / "a folder.toml").mkdir()
    (problem,) = _catalogue(folder).folder_problems
    assert problem.message == (
        "it cannot be read (Is a directory); wanted a file that you may read; left out"
    )


def test_tables_that_are_no_profiles_are_passed_over(folder: Path) -> None:
    """Project files, scenarios and tables that say neither id nor balls are no problem."""
    (folder / "pyproject.toml").write_text('id = "x"\n')
    (folder / "walk.scenario.toml").write_text('id = "x"\n')
    (folder / "seen.toml").write_text("[[sheet]]\nreadings = {}\n")
    catalogue = _catalogue(folder)
    assert catalogue.folder_problems == []
    assert [one.id for one in catalogue.machines()] == ["harbour-lights"]


def test_two_files_of_one_name(folder: Path) -> None:
    """A machine that is there twice in folders is named with both files: 2, not a plug-in's 3."""
    (folder / "twin.toml").write_text('id = "harbour-lights"\n[balls]\ninstalled = 2\n')
    with pytest.raises(InputError) as refused:
        _catalogue(folder).path("harbour-lights")
    assert refused.value.problems[0].message == (
        f'the machine "harbour-lights" is there twice: {folder / "harbour.toml"} and '
        f"{folder / 'twin.toml'}; name the file you mean"
    )


def test_files_named_outright(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file is read by its path, by its bare name without an ending, and as JSON."""
    catalogue = Catalogue(environ={}, known=Index())
    named = catalogue.load(str(folder / "harbour.toml"))
    (folder / "harbour").write_bytes((folder / "harbour.toml").read_bytes())
    monkeypatch.chdir(folder)
    assert catalogue.load("harbour") == named


def test_a_json_file(folder: Path, capsys: Capture) -> None:
    """A profile that was exported as JSON is taken wherever a profile file is."""
    assert main(["export", str(folder / "harbour.toml"), "--format", "json"]) == 0
    (folder / "harbour.json").write_text(capsys.readouterr().out)
    assert main(["expect", str(folder / "harbour.json"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["machine"] == "harbour-lights"


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("no.toml", "No such file or directory"),
        ("folder/", "Is a directory"),
        ("nul\0.toml", "embedded null byte"),
    ],
)
def test_a_file_named_that_cannot_be_read(name: str, reason: str, folder: Path) -> None:
    """A file named outright that cannot be read is refused with the reason and what to do."""
    (folder / "folder").mkdir()
    with pytest.raises(InputError) as refused:
        Catalogue(environ={}, known=Index()).load(str(folder) + "/" + name)
    assert refused.value.problems[0].message == (
        f"it cannot be read ({reason}); wanted a file that you may read; look at its name and its "
        "permissions, or name another"
    )


def test_a_machine_that_nobody_knows(folder: Path) -> None:
    """What is near is proposed; else what is at hand is listed; else how to get a machine."""

    def told(catalogue: Catalogue, name: str) -> str:
        with pytest.raises(InputError) as refused:
            catalogue.path(name)
        return refused.value.problems[0].message

    catalogue = _catalogue(folder)
    assert told(catalogue, "harbor-lights") == (
        'no machine is called "harbor-lights"; did you mean "harbour-lights"?'
    )
    assert told(catalogue, "x") == 'no machine is called "x"; at hand: harbour-lights'
    many = Index(machines=tuple(Machine(f"m{n:02}", "", 1, f"/{n}", "p 1", "p") for n in range(14)))
    listed = ", ".join(f"m{n:02}" for n in range(12))
    assert told(Catalogue(environ={}, known=many), "x") == (
        f'no machine is called "x"; at hand: {listed} ...'
    )
    assert told(Catalogue(environ={}, known=Index()), "x") == (
        'no machine is called "x"; none is at hand: install a plug-in, or name a profile file or '
        "--profiles DIR"
    )


def test_strict_refuses_a_folder_of_problems() -> None:
    """Where plug-ins must not fail, one that has is told before anything is answered."""
    problem = Problem(file="p 1", where="plug-in p, on import", message="x")
    with pytest.raises(PluginError):
        Catalogue(environ={}, known=Index(problems=(problem,)), strict=True)
