"""``simrig diagnose`` as people and other tools call it: answers, codes, words, JSON."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from simrig.cli import diagnose as command
from simrig.cli.main import main
from tests.diagnosis.small_machine import TEXT

Capture = pytest.CaptureFixture[str]
FORBIDDEN = ("seat", "placement", "explanation", "posterior", "hypothesis", "frame")
"""Words that people at the machine do not use."""


@pytest.fixture
def lantern(tmp_path: Path) -> str:
    """The small machine as a file."""
    file = tmp_path / "copper-lantern.toml"
    file.write_text(TEXT)
    return str(file)


def _text(capsys: Capture, *words: str) -> tuple[int, str]:
    code = main(["diagnose", *words])
    return code, capsys.readouterr().out


def _json(capsys: Capture, *words: str) -> tuple[int, dict[str, Any]]:
    code = main(["diagnose", *words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_all_as_assumed_is_0(capsys: Capture, lantern: str) -> None:
    """Nothing to find ends with 0, says where the balls are and what the readings cannot show."""
    code, text = _text(capsys, lantern, "--closed", "t1,t2,t3")
    assert code == 0
    assert "All is as assumed: 3 balls in the trough." in text
    assert "cannot show everything" in text


def test_a_fault_is_1_and_names_no_single_culprit(capsys: Capture, lantern: str) -> None:
    """Several things fit: the verdict counts them, and names none of them."""
    code, text = _text(capsys, lantern, "--balls", "0", "--closed", "t2")
    assert code == 1
    (verdict,) = [line for line in text.splitlines() if line.startswith("Not as it must be")]
    assert "t2" in verdict
    assert "none is sure yet" in " ".join(text.split())
    assert "emitter LED dead" not in verdict


def test_the_order_of_the_first_screen(capsys: Capture, lantern: str) -> None:
    """Assumed, polarity, what was filled in, the verdict, the bench, what to do, the groups, how
    many more."""
    _, text = _text(capsys, lantern, "--balls", "0", "--closed", "t2")
    order = [
        "Assumed: idle, 0 of 3 balls",
        "closed = ball here",
        "taken for open",
        "Not as it must be at t2",
        "Bench now: ",
        "Next (",
        "about",
        "more: --all",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)


@pytest.mark.parametrize(
    "words",
    [
        ["--closed", "t1,t2,t3"],
        ["--closed", "t1,t2"],
        ["--closed", "none"],
        ["--closed", "t1,t3"],
        ["--closed", "launcher-ball"],
        ["--balls", "0", "--closed", "t1,t2,t3"],
        ["--balls", "0", "--flicker", "t2", "--closed", "none"],
        ["--phase", "ready", "--closed", "t2,t3"],
        ["--open", "t2"],
    ],
)
def test_the_first_screen_is_short_and_plain(
    capsys: Capture, lantern: str, words: list[str]
) -> None:
    """At most 20 lines of 80 columns, in words that a technician uses."""
    _, text = _text(capsys, lantern, *words)
    lines = text.splitlines()
    assert len(lines) <= 20
    assert max(map(len, lines)) <= 80
    assert not [word for word in FORBIDDEN if word in text.lower()]


def test_json_has_the_keys_of_the_contract(capsys: Capture, lantern: str) -> None:
    """Every key that other tools rely on is there."""
    code, found = _json(capsys, lantern, "--balls", "0", "--closed", "t2")
    assert code == 1
    assert found["format"] == 1
    assert {"explanations", "told_apart", "next_check", "conflict"} <= found.keys()
    assert found["told_apart"] is False
    assert found["conflict"] is None
    for one in found["explanations"]:
        assert {"group", "faults", "assumes", "placements", "probability", "folded", "why"} <= set(
            one
        )
        assert one["folded"].keys() == {"count", "probability"}
        for fault in one["faults"]:
            assert {"kind", "part", "sensor"} <= fault.keys()
    lead = {"kind": "resistor-lead-broken", "part": "t2", "sensor": "t2"}
    assert any(
        lead.items() <= one["faults"][0].items() for one in found["explanations"] if one["faults"]
    )


def test_all_lists_every_set(capsys: Capture, lantern: str) -> None:
    """With --all nothing is folded: as many sets as counted, and their chances make 1."""
    _, found = _json(capsys, lantern, "--balls", "0", "--closed", "t2", "--all")
    assert len(found["explanations"]) == found["count"]
    assert sum(one["probability"] for one in found["explanations"]) == pytest.approx(1)
    members = {
        (
            tuple(sorted((f["kind"], f["part"]) for f in one["faults"])),
            tuple(sorted((m["kind"], m["value"]) for m in one["assumes"])),
        )
        for one in found["explanations"]
    }
    assert len(members) == found["count"]


def test_all_in_words_gives_each_reason(capsys: Capture, lantern: str) -> None:
    """--all prints every group with its reason, in plain words."""
    _, text = _text(capsys, lantern, "--balls", "0", "--closed", "t2", "--all")
    _, found = _json(capsys, lantern, "--balls", "0", "--closed", "t2")
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("   Why ") == max(one["group"] for one in found["explanations"])
    assert not [word for word in FORBIDDEN if word in text.lower()]


def test_only_single_faults_on_request(capsys: Capture, lantern: str) -> None:
    """--faults 1 leaves out what needs two things wrong."""
    _, found = _json(capsys, lantern, "--balls", "0", "--closed", "t2", "--faults", "1")
    assert all(len(one["faults"]) + len(one["assumes"]) == 1 for one in found["explanations"])


def test_sheets_are_evidence_together(capsys: Capture, lantern: str, tmp_path: Path) -> None:
    """Full, half and empty: each sheet with its own conditions narrows the others."""
    file = tmp_path / "sheets.toml"
    file.write_text(
        '[[sheet]]\nballs = 3\nreadings = { t1 = "closed", t2 = "closed", t3 = "closed", '
        'launcher-ball = "open" }\n'
        '[[sheet]]\nballs = 1\nreadings = { t1 = "closed", t2 = "closed", t3 = "open" }\n'
        '[[sheet]]\nballs = 0\nreadings = { t1 = "open", t2 = "closed", t3 = "open" }\n'
    )
    code, found = _json(capsys, lantern, "--sheet", str(file))
    first = found["explanations"][0]
    assert code == 1
    assert first["faults"][0]["sensor"] == "t2"
    assert [one["sheet"] for one in first["placements"]] == [1, 2, 3]
    assert [one["at"] for one in first["placements"]] == [{"trough": 3}, {"trough": 1}, {}]
    assert all(one["faults"] for one in found["explanations"] if len(one["assumes"]) < 2)


def test_a_sheet_from_stdin(capsys: Capture, lantern: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """- reads a sheet from stdin."""

    class Stdin:
        buffer = io.BytesIO(b"t1,closed\nt2,closed\nt3,closed\nlauncher-ball,open\n")

    monkeypatch.setattr(sys, "stdin", Stdin())
    code, _ = _text(capsys, lantern, "--sheet", "-")
    assert code == 0


@pytest.mark.parametrize(
    ("name", "verdict", "words"),
    [
        ("emitter-dead:t2", "can be", "it gives no light"),
        ("fuse-blown:f1", "ruled out", "with it t1 would read closed; you saw it open"),
        ("misread:t2", "can be", "had it read open"),
        (
            "receiver-flooded:t1",
            "only with others",
            "not by itself: it would leave t2 open; you saw it closed",
        ),
        ("leads-exchanged:t1+t2", "only with others", "stays possible together with"),
    ],
)
def test_why_not(capsys: Capture, lantern: str, name: str, verdict: str, words: str) -> None:
    """What good readings exclude can be asked, and the readings that do it are named."""
    _, found = _json(capsys, lantern, "--balls", "0", "--closed", "t2", "--why-not", name)
    (answer,) = found["why_not"]
    assert (answer["name"], answer["verdict"]) == (name, verdict)
    assert words in answer["why"]


def test_why_not_of_what_cannot_show(capsys: Capture, lantern: str) -> None:
    """Under a ball a dark emitter is not ruled out, and the answer says what would show it."""
    code, text = _text(capsys, lantern, "--closed", "t1,t2,t3", "--why-not", "emitter-dead:t2")
    assert code == 0
    assert "not ruled out" in text
    assert "other positions of the balls" in " ".join(text.split())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["--closed", "t2", "--why-not", "emitter-dad:t2"],
            'cannot have "emitter-dad"; did you mean "emitter-dead:t2"?',
        ),
        (["--closed", "t2", "--why-not", "emitter-dead:x9"], "emitter-dead can concern here: t1"),
        (["--closed", "t2", "--why-not", "gremlins"], "wanted KIND:PART"),
        (["--closed", "t2", "--faults", "0"], "wanted a whole number from 1 to 3"),
        (["--closed", "t2", "--faults", "9"], "wanted a whole number from 1 to 3"),
        (["--closed", "t2", "--faults", "two"], "wanted a whole number from 1 to 3"),
        (["--closed", "t9"], 'no sensor is called "t9"'),
        ([], "nothing was seen"),
        (["--closed", "t1", "--phase", "idle", "--at", "launcher=1"], "no legal position"),
        (["--closed", "t1", "--balls", "9"], "wanted a whole number from 0 to 4"),
    ],
)
def test_wrong_input_is_2_with_the_way_back(
    capsys: Capture, lantern: str, words: list[str], message: str
) -> None:
    """What was found, what is wanted, what to do next; the same as JSON."""
    assert main(["diagnose", lantern, *words]) == 2
    assert message in capsys.readouterr().err
    code, found = _json(capsys, lantern, *words)
    assert code == 2
    assert message in found["errors"][0]["message"]


def test_nothing_fits_is_told(capsys: Capture, lantern: str) -> None:
    """No single thing explains it: the readings that clash, and the way back."""
    words = [lantern, "--balls", "0", "--closed", "t2,launcher-ball", "--faults", "1"]
    code, text = _text(capsys, *words)
    plain = " ".join(text.split())
    assert code == 1
    assert "With up to 1 thing wrong at once nothing explains the readings" in plain
    assert "cannot give these together" in plain
    assert "--faults 2" in plain
    _, found = _json(capsys, *words)
    assert found["explanations"] == []
    assert found["conflict"]["kind"] == "nothing fits"
    named = {one["sensor"] for one in found["conflict"]["readings"]}
    assert named & {"t2", "launcher-ball"}


def test_a_long_wait_is_told_on_stderr(
    capsys: Capture, lantern: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After the time that people wait gladly a line on stderr says what goes on; never on stdout."""
    monkeypatch.setattr(command, "PATIENCE_S", 0.0)
    monkeypatch.setattr(command, "AGAIN_S", 0.01)
    main(["diagnose", lantern, "--balls", "0", "--closed", "t2", "--json"])
    seen = capsys.readouterr()
    assert "working out what can be wrong" in seen.err
    assert "still at it" in seen.err
    json.loads(seen.out)
    main(["diagnose", lantern, "--balls", "0", "--closed", "t2", "--quiet"])
    assert capsys.readouterr().err == ""
