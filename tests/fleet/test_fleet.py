"""A fleet in one command: what it says, and what it says of bad profiles and slips."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import simrig
from simrig.cli.main import main
from simrig.errors import SimrigError
from tests.diagnosis.bench_machine import TEXT
from tests.fleet.command import ASKED, Undisturbed, answer, environment
from tests.fleet.conftest import COUNT


def test_a_fleet_is_vetted_and_campaigned(whole: Undisturbed) -> None:
    """Each machine has the keys of one alone, its findings, and is in the sums."""
    found = json.loads(whole.said)
    machines = found["machines"]
    assert len({one["machine"] for one in machines}) == COUNT
    keys = {"faults", "shown", "isolated", "mean_minutes", "groups", "findings", "levels"}
    assert all(keys <= set(one) for one in machines)
    for key in ("faults", "shown", "isolated", "tried", "held", "unparted"):
        assert found[key] == sum(one[key] for one in machines)
    assert found["levels"]["warning"] == sum(one["levels"]["warning"] for one in machines) > 0
    assert found["faults"] == COUNT
    assert found["held"] == found["tried"] > 0
    assert found["errors"] == []


def test_findings_are_those_of_vet(whole: Undisturbed, capsys: pytest.CaptureFixture[str]) -> None:
    """A machine's findings are what vet says of its file, word for word."""
    one = json.loads(whole.said)["machines"][7]
    assert main(["vet", one["file"], "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["findings"] == one["findings"]


@pytest.fixture
def mixed(few: Path, tmp_path: Path) -> Path:
    """A folder of two sound machines, two broken ones, a scenario, and a file of another kind."""
    found = tmp_path / "mixed"
    found.mkdir()
    for path in sorted(few.iterdir())[:2]:
        shutil.copy(path, found)
    (found / "a-torn.toml").write_text('format = 1\nid = "torn\n')
    (found / "z-wrong.toml").write_text(TEXT.replace('kind = "trough"', 'kind = "through"'))
    (found / "x.scenario.toml").write_text("format = 1\n")
    (found / "notes.txt").write_text("none\n")
    return found


def test_bad_profiles_stop_no_other(mixed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each is told with file and line; the others are done; 2 in the end."""
    asked = ["campaign", str(mixed), *ASKED, "--workers", "2"]
    assert main([*asked, "--json"]) == 2
    found = json.loads(capsys.readouterr().out)
    assert [one["machine"] for one in found["machines"]] == ["made-1-000", "made-1-001"]
    told = [(Path(one["file"]).name, one["line"]) for one in found["errors"]]
    assert told == [("a-torn.toml", 2), ("z-wrong.toml", 10)]
    assert main(asked) == 2
    printed = capsys.readouterr()
    assert f"{mixed / 'z-wrong.toml'}:10: " in printed.err
    assert 'did you mean "trough"?' in printed.err
    rows = printed.out.splitlines()
    assert "2 machines could not be done; the messages say why." in rows
    assert sum(row.endswith("not done") for row in rows) == 2


def test_the_library_tells_of_bad_profiles_in_the_end(mixed: Path) -> None:
    """The sound ones are yielded first; then what is wrong is raised, all of it."""
    work = simrig.campaign([str(mixed)], singles=1)
    assert [next(work).id, next(work).id] == ["made-1-000", "made-1-001"]
    with pytest.raises(SimrigError) as raised:
        next(work)
    assert len(raised.value.problems) == 2
    assert raised.value.exit_code == 2


def test_names_that_mean_nothing_are_told_before_the_work(
    few: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of them, with 2, and nothing is kept: a slip is told at once, not after the night."""
    (tmp_path / "empty").mkdir()
    kept = tmp_path / "kept"
    names = [str(few), "no-such-machine", str(tmp_path / "empty"), str(tmp_path / "no.toml")]
    assert main(["campaign", *names, *ASKED, "--keep", str(kept)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert len(told) == 3
    assert "no profile is in this folder" in told[1]
    assert not kept.exists()


def test_a_machine_named_twice_is_done_once(
    few: Path, small: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By its folder and by its file."""
    first = sorted(few.iterdir())[0]
    asked = (str(few), str(first), *ASKED, "--json", *small.again(tmp_path))
    assert answer(capsys, *asked) == small.said


def test_the_first_screen(
    folder: Path, whole: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """At most 20 lines of 80 signs, the worst machines first, the rest counted; --all lists all."""
    asked = (str(folder), *ASKED, *whole.again(tmp_path))
    shown = answer(capsys, *asked).splitlines()
    assert len(shown) <= 20
    assert max(map(len, shown)) <= 80
    assert shown[-1] == "10 more: --all"
    every = answer(capsys, *asked, "--all").splitlines()
    assert len(every) == len(shown) - 1 + 10
    assert every[: len(shown) - 1] == shown[:-1]


def test_the_conformance_suite_of_a_fleet(few: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each check of each machine is a piece of the work, with what it waits for in words."""
    files = [str(path) for path in sorted(few.iterdir())[:2]]
    asked = (*files, *ASKED, "--conformance", "--examples", "1", "--json")
    for one in json.loads(answer(capsys, *asked, "--workers", "2"))["machines"]:
        outcomes = {check["check"]: check["outcome"] for check in one["conformance"]}
        assert list(outcomes) == [
            "moves", "phases", "readings", "stated", "diagnosis", "record", "export"
        ]  # fmt: skip
        assert set(outcomes.values()) <= {"holds", "waits"}
        assert outcomes["export"] == "holds"


def test_a_machine_that_does_not_conform_ends_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that states the opposite of what its links give breaks the check "stated"."""
    path = tmp_path / "mill.toml"
    path.write_text(TEXT.replace('id = "lane-ball"\n', 'id = "lane-ball"\nworked_reads = "open"\n'))
    words = (str(path), "--singles", "1", "--workers", "1", "--conformance", "--examples", "1")
    shown = " ".join(answer(capsys, *words, code=1).split())
    assert "sensors read as they state (stated): broken: lane-ball reads closed" in shown


def test_progress_is_sparse_in_a_pipe(
    folder: Path, whole: Undisturbed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """About ten lines on stderr, the last one complete; none with --quiet."""
    asked = ["campaign", str(folder), *ASKED, *whole.again(tmp_path)]
    assert main(asked) == 0
    told = capsys.readouterr().err.splitlines()
    assert told[0].endswith("keeps work that is done; going on")
    assert len(told) == 11
    assert told[-1] == f"{COUNT} of {COUNT} machines, {COUNT} faults"
    assert main([*asked, "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_progress_is_one_line_at_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is written over each time, blanks over what was longer, and left in the end."""
    from simrig.cli.progress import Progress

    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    progress = Progress(quiet=False)
    progress.tell("10 of 99", 0.1)
    progress.tell("9", 0.2)
    progress.end()
    assert capsys.readouterr().err == "\r10 of 99\r9       \n"


def test_made_profiles_depend_on_the_seed_alone(folder: Path, tmp_path: Path) -> None:
    """Another process writes the same files, however many are asked for."""
    subprocess.run(
        [sys.executable, "-m", "tests.fleet.make", str(tmp_path), "--count", "3", "--small"],
        check=True, capture_output=True, env=environment(PYTHONHASHSEED="77"),
    )  # fmt: skip
    made = sorted(tmp_path.iterdir())
    assert len(made) == 3
    assert all(path.read_bytes() == (folder / path.name).read_bytes() for path in made)
