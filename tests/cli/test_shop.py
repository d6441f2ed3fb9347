"""The shop's record at work in the commands: units, chances, filing."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

import simrig
from simrig import history
from simrig.cli.main import main
from simrig.faults.candidates import possible_faults
from simrig.history import priors
from simrig.proving.plan import prove

Capture = pytest.CaptureFixture[str]
DARK = ["diagnose", "tidal-clockwork", "--balls", "0", "--closed", "trough-3", "--json"]


@pytest.fixture
def store(tmp_path: Path) -> str:
    """A record with one unit: a temporary repair, an exchanged board, an open job."""
    path = str(tmp_path / "shop.sqlite")
    words = [
        "history", "add", "--store", path, "--machine", "tidal-clockwork", "--unit", "17",
        "--place", "Blue Hall", "--complaint", "hunts for a ball", "--who", "AB",
        "--fact", "board.trough-board.output_closes=lit",
        "--repair", "lead soldered to its stub", "--part", "resistor:trough-3",
        "--beside-kicker", "--temporary", "--due", "2030-01-31",
    ]  # fmt: skip
    assert main(words) == 0
    return path


def _answer(capsys: Capture, *words: str) -> dict:
    capsys.readouterr()
    main([*words])
    return json.loads(capsys.readouterr().out)


def _chances(found: dict) -> dict[str, float]:
    return {
        f"{one['faults'][0]['kind']}:{one['faults'][0]['part']}": one["probability"]
        for one in found["explanations"]
        if len(one["faults"]) == 1 and not one["assumes"]
    }


def test_recorded_repairs_weigh_by_the_rule(capsys: Capture, tmp_path: Path) -> None:
    """Fifty series resistors beside the kicker on record raise theirs by what Dirichlet says."""
    dark = [word.replace("trough-3", "trough-1") for word in DARK]
    path = str(tmp_path / "shop.sqlite")
    for number in range(50):
        words = ["history", "add", "--store", path, "--machine", "tidal-clockwork"]
        words += ["--unit", str(number), "--complaint", "x", "--repair", "new resistor"]
        words += ["--part", "resistor:trough-1", "--beside-kicker", "--close"]
        assert main(words) == 0
    before = _chances(_answer(capsys, *dark, "--store", path, "--rates", "documented"))
    found = _answer(capsys, *dark, "--store", path)
    after = _chances(found)
    assert found["records"] == 50
    profile = simrig.load("tidal-clockwork")
    usual = {one.name: one.odds for one in possible_faults(profile)}
    with history.open_store(Path(path)) as opened:
        weighed = priors.with_records(
            profile, possible_faults(profile), history.seen(opened, machine="tidal-clockwork")
        )
    odds = {one.name: one.odds for one in weighed}
    resistor, emitter = "resistor-lead-broken:trough-1", "emitter-dead:trough-1"
    by_rule = (odds[resistor] / odds[emitter]) / (usual[resistor] / usual[emitter])
    assert by_rule > 1
    assert after[resistor] / after[emitter] == pytest.approx(
        by_rule * before[resistor] / before[emitter]
    )


def test_records_are_told(capsys: Capture, store: str) -> None:
    """The answer says on how many records its chances stand, and nothing with the documented ones."""
    words = ["diagnose", "tidal-clockwork", "--balls", "0", "--closed", "trough-3"]
    main([*words, "--store", store])
    assert "weighed by this shop's record: 1 repair of this model" in capsys.readouterr().out
    main([*words, "--store", store, "--rates", "documented"])
    assert "record" not in capsys.readouterr().out


def test_temporary_repair_is_named_first(capsys: Capture, store: str) -> None:
    """Before any diagnosis stands what was only mended for the time being."""
    capsys.readouterr()
    main(["diagnose", "tidal-clockwork", "--unit", "17", "--store", store, "--open", "none"])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Unit 17, Blue Hall, by the shop's record:"
    assert lines[1].startswith("  Temporary repair, look there first: resistor trough-3")


def test_difference_of_a_unit_is_taken_as_given(capsys: Capture, store: str) -> None:
    """By hand: with a board that closes when lit, an empty trough reads closed, not open."""
    words = ["expect", "tidal-clockwork", "--balls", "0", "--json"]
    usual = {one["sensor"]: one["reading"] for one in _answer(capsys, *words)["readings"]}
    found = _answer(capsys, *words, "--unit", "17", "--store", store)
    here = {one["sensor"]: one["reading"] for one in found["readings"]}
    assert (usual["trough-1"], here["trough-1"]) == ("open", "closed")
    assert usual["lock-1"] == here["lock-1"] == "open"
    assert found["unit"]["differences"] == {"board.trough-board.output_closes": "lit"}


def test_compare_takes_the_difference_too(capsys: Capture, store: str) -> None:
    """A sheet that fits the altered board agrees for this unit only."""
    words = ["compare", "tidal-clockwork", "--balls", "0", "--closed", "31-36", "--json"]
    assert _answer(capsys, *words, "--unit", "17", "--store", store)["agrees"] is True
    assert _answer(capsys, *words)["agrees"] is False


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        ("board.trough-bord.output_closes=lit", 'no board called "trough-bord"'),
        ("board.trough-board.output_close=lit", 'did you mean "output_closes"?'),
        ("board.trough-board.output_closes=purple", 'wanted "dark" or "lit"'),
        ("polarity=reversed", "names no fact of the profile"),
    ],
)
def test_difference_that_does_not_fit(capsys: Capture, store: str, fact: str, told: str) -> None:
    """A difference that the profile cannot take is told with the way to mend it."""
    words = ["history", "add", "--store", store, "--machine", "tidal-clockwork", "--unit", "17"]
    assert main([*words, "--fact", fact]) == 0
    assert main(["expect", "tidal-clockwork", "--unit", "17", "--store", store]) == 2
    printed = capsys.readouterr().err
    assert told in printed
    assert "--no-fact KEY" in printed


def test_unknown_unit(capsys: Capture, store: str) -> None:
    """A serial that nobody filed is refused with where to look."""
    assert main(["expect", "tidal-clockwork", "--unit", "99", "--store", store]) == 2
    assert "simrig history list shows the units" in capsys.readouterr().err


def test_diagnosis_is_filed_once(capsys: Capture, store: str) -> None:
    """Sheets and checks go under the open job, and the same again adds nothing."""
    words = [
        "diagnose", "tidal-clockwork", "--unit", "17", "--store", store, "--balls", "0",
        "--open", "31-36", "--found", "read-again=same", "--file", "--who", "CD",
    ]  # fmt: skip
    for _ in range(2):
        main(words)
    with history.open_store(Path(store)) as opened:
        job = history.job_file(opened, 1)
    assert [(one.who, one.readings["trough-1"]) for one in job.sheets] == [("CD", "open")]
    assert [(one.check, one.result) for one in job.checks] == [("read-again", "same")]


def test_filing_needs_a_unit(capsys: Capture) -> None:
    """A job is filed under a machine."""
    assert main([*DARK, "--file"]) == 2
    assert "say which: --unit SERIAL" in capsys.readouterr().out


def test_proof_is_filed(capsys: Capture, store: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """When every step was as expected, the repair counts as proven by feeding."""
    count = len(prove(simrig.load("tidal-clockwork"), repaired="trough-3").steps)
    monkeypatch.setattr("sys.stdin", io.StringIO("a\n" * count))
    words = ["prove", "tidal-clockwork", "--repaired", "trough-3", "--ask", "--file"]
    assert main([*words, "--unit", "17", "--store", store]) == 0
    with history.open_store(Path(store)) as opened:
        (repair,) = history.job_file(opened, 1).repairs
    assert (repair.proven, repair.balls_aboard) == ("fed one by one", 5)


def test_proof_that_failed_is_not_filed_as_one(
    capsys: Capture, store: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step that differed leaves the repair unproven."""
    monkeypatch.setattr("sys.stdin", io.StringIO("a\nd\nq\n"))
    words = ["prove", "tidal-clockwork", "--repaired", "trough-3", "--ask", "--file"]
    assert main([*words, "--unit", "17", "--store", store]) == 1
    with history.open_store(Path(store)) as opened:
        (repair,) = history.job_file(opened, 1).repairs
    assert repair.proven == "none"


def test_damaged_record_does_not_stop_a_diagnosis(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The usual record cannot be read: that is said, and the answer is given without it."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    place = history.default_store()
    place.parent.mkdir(parents=True)
    place.write_bytes(b"no record at all, but long enough to look at" * 100)
    assert main(DARK) == 1
    printed = capsys.readouterr()
    assert "the shop's record is left out" in printed.err
    assert json.loads(printed.out)["explanations"]
