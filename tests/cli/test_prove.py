"""``simrig prove`` as people use it."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

import simrig
from simrig.cli.main import main
from simrig.faults.candidates import fault_named, possible_faults
from simrig.faults.injection import inject
from simrig.interchange.logs import write_csv
from simrig.proving.plan import prove
from simrig.proving.rehearsal import rehearse
from simrig.scan.scanner import links

Capture = pytest.CaptureFixture[str]


def _log(file: Path, *faults: str) -> str:
    profile = simrig.load("tidal-clockwork")
    known = possible_faults(profile)
    table = inject(profile, links(profile), [fault_named(known, name) for name in faults])
    file.write_bytes(b"".join(write_csv(rehearse(profile, prove(profile), table))))
    return str(file)


def test_plan_as_json(capsys: Capture) -> None:
    """Each step says what to do and what to expect."""
    assert main(["prove", "orchard-signal", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == 1
    assert found["unproven"] == []
    assert {"do", "expect"} <= found["steps"][0].keys()


def test_cautions_stand_before_the_steps(capsys: Capture) -> None:
    """The first thing said of the bench is its caution, with whose rules come first."""
    assert main(["prove", "tidal-clockwork", "--repaired", "trough-3"]) == 0
    printed = capsys.readouterr().out
    assert printed.index("Caution: Coils dead") < printed.index("1. All balls out")
    assert " ".join(printed.split()).count("Local codes, the machine's own manual") == 1
    assert max(map(len, printed.splitlines())) <= 80


def test_good_log_passes(capsys: Capture, tmp_path: Path) -> None:
    """A recorded run of a sound machine passes, exit code 0."""
    assert main(["prove", "tidal-clockwork", "--log", _log(tmp_path / "good.csv"), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["passed"], found["anomalies"]) == (True, [])


def test_log_with_a_fault_left_in_fails(capsys: Capture, tmp_path: Path) -> None:
    """The sensor is named, exit code 1."""
    log = _log(tmp_path / "bad.csv", "contact-stuck-open:launcher-ball")
    assert main(["prove", "tidal-clockwork", "--log", log]) == 1
    assert "Not passed: launcher-ball." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--repaired", "flywheel"], '--repaired: the machine has no part "flywheel"'),
        (["--ask", "--log", "x.csv"], "not both; leave one out"),
        (["--phase", "lunch"], 'no phase is called "lunch"'),
        (["--seats", "trough.1,lock.2", "--phase", "idle"], "conditions: no legal position"),
        (["--balls", "many"], 'found "many"; wanted a whole number'),
        (["--log", "nowhere.csv"], "--log: nowhere.csv cannot be read"),
    ],
)
def test_wrong_options(capsys: Capture, words: list[str], told: str) -> None:
    """A wrong option is exit code 2 and one message."""
    assert main(["prove", "tidal-clockwork", *words]) == 2
    assert told in capsys.readouterr().err


def test_with_the_balls_at_hand(capsys: Capture) -> None:
    """The plan is laid for as many balls as are stated or seen, and says so."""
    told = []
    for words in (["--balls", "3"], ["--at", "trough=2", "--at", "lock=1"]):
        assert main(["prove", "tidal-clockwork", *words]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert "Proof of Tidal Clockwork with 3 of 5 balls: " in told[0]


def _typed(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(text))


def test_steps_are_taken_by_one_key_and_kept(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wrong key, one taken back, left and gone on with: nothing is lost."""
    kept = str(tmp_path / "job.json")
    words = ["prove", "tidal-clockwork", "--repaired", "trough-1", "--ask", "--keep", kept]
    _typed(monkeypatch, "a\nx\nm\nu\na\nq\n")
    assert main(words) == 1
    printed = capsys.readouterr().out
    assert '"x" is no answer here' in printed
    count = len(prove(simrig.load("tidal-clockwork"), repaired="trough-1").steps)
    _typed(monkeypatch, "a\n" * (count - 2))
    assert main(words) == 0
    printed = capsys.readouterr().out
    assert f"Going on at step 3 of {count}." in printed
    assert "Proven: every step was as expected." in printed
    assert main([*words, "--balls", "3"]) == 2
    assert "another machine, part or number of balls" in capsys.readouterr().err


def test_what_differs_is_not_proven(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step that was missed leaves its sensors unproven and names itself."""
    count = len(prove(simrig.load("tidal-clockwork"), repaired="trough-1").steps)
    _typed(monkeypatch, "a\nm\n" + "a\n" * (count - 2))
    assert main(["prove", "tidal-clockwork", "--repaired", "trough-1", "--ask"]) == 1
    printed = " ".join(capsys.readouterr().out.split())
    assert "step 2 missed: Feed ball 1 by hand: ball trough." in printed
    assert "Not proven: trough-1" in printed


def test_foreign_file_is_not_overwritten(capsys: Capture, tmp_path: Path) -> None:
    """A file that keeps no proof is refused and left as it is."""
    foreign = tmp_path / "notes.json"
    foreign.write_text('{"format": 9}')
    assert main(["prove", "tidal-clockwork", "--ask", "--keep", str(foreign)]) == 2
    assert foreign.read_text() == '{"format": 9}'
