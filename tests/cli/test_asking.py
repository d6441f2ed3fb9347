"""Bench checks at a terminal: the dark emitter asked down to its part, results found, the plan."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pexpect
import pytest

from simrig.cli.main import main
from tests.diagnosis.bench_machine import TEXT

Capture = pytest.CaptureFixture[str]

SHEETS = """\
[[sheet]]
readings = { t1 = "closed", t2 = "closed", t3 = "closed", lane-ball = "open" }
[[sheet]]
seats = "none"
readings = { t1 = "closed", t2 = "open", t3 = "open", lane-ball = "open" }
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with the machine and the sheets of a dark beam at position 1."""
    (tmp_path / "mill.toml").write_text(TEXT)
    (tmp_path / "dark.toml").write_text(SHEETS)
    return tmp_path


def asked(shop: Path, *words: str, capsys: Capture) -> tuple[int, str, str]:
    """Exit code, answer and complaints of ``simrig diagnose`` on the dark beam."""
    code = main(
        ["diagnose", str(shop / "mill.toml"), "--sheet", str(shop / "dark.toml"), "--quiet", *words]
    )
    told = capsys.readouterr()
    return code, told.out, told.err


def terminal(shop: Path, *words: str) -> pexpect.spawn:
    """The conversation in a real terminal."""
    return pexpect.spawn(
        sys.executable,
        ["-m", "simrig", "diagnose", "mill.toml", "--ask", "--job", "job.json", *words],
        cwd=str(shop), encoding="utf-8", timeout=60, dimensions=(40, 80),
        env={**os.environ, "TERM": "dumb"},
    )  # fmt: skip


def test_the_dark_emitter_is_asked_down_to_its_part_in_a_terminal(shop: Path) -> None:
    """A wrong key, an undo, leaving and going on: nothing is lost, it ends with the part."""
    child = terminal(shop, "--sheet", "dark.toml")
    child.expect_exact("> ")
    first = child.before
    assert "Bench now:" in first
    assert "Now (" in first
    assert "playfield raised" not in first
    child.sendline("7")
    child.expect_exact('"7" is no answer here; wanted a, b')
    child.expect_exact("> ")
    child.sendline("a")
    child.expect_exact("> ")
    second = child.before
    child.sendline("u")
    child.expect_exact("Taken back: ")
    child.expect_exact("> ")
    assert title(child.before) == title(first)
    child.sendline("a")
    child.expect_exact("> ")
    assert title(child.before) == title(second)
    child.sendline("q")
    child.expect_exact("Left; nothing is lost.")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 1
    kept = json.loads((shop / "job.json").read_text())
    assert len(kept["answers"]) == 1

    child = terminal(shop)  # the job knows what was seen, and what was answered
    words = {"camera-t1": "dark", "resistor-t1": "open", "volts-t1": "none", "tap-low": "steady",
             "wipe-t1": "no-change", "look-t1": "clear", "read-again": "same",
             "work-t1": "stays-closed", "joint-t1": "sound", "emitter-t1": "conducts",
             "read-empty": "t1", "aim-t1": "no-change", "read-1": "right", "read-2": "right",
             "light-t1": "answers"}  # fmt: skip
    went = []
    for _ in range(12):
        if child.expect_exact(["> ", "Enter: done"]) == 1:
            break
        asking = title(child.before)
        check = next(name for name in words if TITLES[name] in asking)
        went.append(check)
        child.sendline(words[check])
    assert went.index("camera-t1") < min(went.index(x) for x in went if x[:4] in ("resi", "volt"))
    screen = " ".join(child.before.split())
    assert "It is: series resistor's lead broken at t1" in screen
    assert "Repair: fit a new resistor of the same value" in screen
    assert "Never bridge the resistor itself" in screen
    assert "simrig prove mill.toml --repaired t1" in screen
    child.sendline("")
    child.expect(pexpect.EOF)


TITLES = {
    "camera-t1": "through a camera", "resistor-t1": "Meter across the series resistor",
    "volts-t1": "Volts between", "tap-low": "Tap the emitter boards", "wipe-t1": "Wipe emitter",
    "look-t1": "Look along the beam", "read-again": "Read the same sheet",
    "work-t1": "Block the beam", "joint-t1": "solder joints", "emitter-t1": "Diode test",
    "read-empty": "all loose balls out", "aim-t1": "a little in", "read-1": "with 1 ball",
    "read-2": "with 2 balls", "light-t1": "known-good",
}  # fmt: skip


def title(screen: str) -> str:
    """The thing to do that a screen names."""
    return " ".join(screen.rpartition("Now (")[2].split())


def alone(document: str) -> list[str]:
    """The kinds of fault that explain everything by themselves, likeliest first."""
    return [
        one["faults"][0]["kind"]
        for one in json.loads(document)["explanations"]
        if len(one["faults"]) == 1 and not one["assumes"]
    ]


def test_results_found_take_it_down_without_a_person(shop: Path, capsys: Capture) -> None:
    """Camera, then volts: nothing behind the resistor leaves its lead, full supply the LED."""
    before = ("--found", "camera-t1=dark", "--found", "tap-low=steady", "--json")
    code, out, _ = asked(shop, *before, "--found", "volts-t1=none", capsys=capsys)
    kinds = alone(out)
    assert code == 1
    assert kinds[0] == "resistor-lead-broken"
    assert "emitter-dead" not in kinds
    _, out, _ = asked(shop, *before, "--found", "volts-t1=full", capsys=capsys)
    kinds = alone(out)
    assert "emitter-dead" in kinds
    assert "resistor-lead-broken" not in kinds


def test_the_next_check_is_in_the_document_with_bench_and_caution(
    shop: Path, capsys: Capture
) -> None:
    """Needs, moves in order, cautions, minutes, and what each result leaves."""
    _, out, _ = asked(shop, "--json", "--found", "look-t1=clear", capsys=capsys)
    step = json.loads(out)["next_check"]
    assert {"id", "title", "minutes", "needs", "why", "caution"} <= set(step)
    assert step["bench"]["balls"] == "out"
    assert all(move["caution"] for move in step["moves"])
    assert sum(one["probability"] for one in step["leaves"]) == pytest.approx(1)


def test_the_first_screen_names_bench_then_caution_then_the_thing_to_do(
    shop: Path, capsys: Capture
) -> None:
    """At most 20 lines; the caution stands before the check."""
    seen = ("--found", "look-t1=clear", "--found", "read-again=same")
    _, out, _ = asked(shop, *seen, capsys=capsys)
    assert len(out.splitlines()) <= 20
    assert all(len(line) <= 80 for line in out.splitlines())
    order = [out.index(word) for word in ("Bench now:", "Caution:", "Next (")]
    assert order == sorted(order)


def test_the_plan_names_every_step_with_its_bench(shop: Path, capsys: Capture) -> None:
    """The tree ends in causes; cautions stand before the acts."""
    _, out, _ = asked(shop, "--plan", "--found", "camera-t1=dark", capsys=capsys)
    assert "The plan: about" in out
    assert "left: series resistor's lead broken at t1" in out
    assert out.index("! Charge stays") < out.index("Pull the mains plug")
    assert all(len(line) <= 80 for line in out.splitlines())
    _, out, _ = asked(shop, "--plan", "--json", "--found", "camera-t1=dark", capsys=capsys)
    assert json.loads(out)["plan"]["root"]["results"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--found", "camra-t1=dark"), "--found: there is no check \"camra-t1\"; did you mean"),
        (("--found", "camera-t1=green"), 'camera-t1 has no result "green"; it knows: lit, dark'),
        (("--found", "camera-t1"), 'found "camera-t1"; wanted CHECK=RESULT'),
        (("--found", "camera-t1=lit", "--found", "camera-t1=dark"), "given both lit and dark"),
        (("--bench", "playfield=raised"), "the bench must not stand so: the playfield is never"),
        (("--bench", "pover=on"), 'nothing of the bench; did you mean power?'),
        (("--ask", "--json"), "a conversation has no JSON"),
        (("--job", "x.json"), "a job is kept by --ask"),
    ],
)  # fmt: skip
def test_wrong_input_is_told_with_what_to_do(
    shop: Path, capsys: Capture, words: tuple[str, ...], message: str
) -> None:
    """Exit 2, one line a fault, nothing done."""
    code, out, err = asked(shop, *words, capsys=capsys)
    assert code == 2
    if "--json" in words:
        assert message in json.loads(out)["errors"][0]["message"]
    else:
        assert (message in err, out) == (True, "")


def test_every_wrong_result_is_told_at_once(shop: Path, capsys: Capture) -> None:
    """Two faults in, two messages out."""
    _, _, err = asked(shop, "--found", "a=b", "--found", "camera-t1=x", capsys=capsys)
    assert len(err.splitlines()) == 2


def test_results_that_contradict_each_other_are_told_with_the_way_back(
    shop: Path, capsys: Capture
) -> None:
    """Full supply behind an open resistor: which result, what to leave out."""
    found = ("--found", "resistor-t1=open", "--found", "volts-t1=full")
    code, out, _ = asked(shop, *found, capsys=capsys)
    assert code == 1
    flat = " ".join(out.split())
    assert "can give volts-t1=full; what is left gives none" in flat
    assert "leave one of these out: resistor-t1=open, volts-t1=full" in flat
    _, out, _ = asked(shop, *found, "--json", capsys=capsys)
    assert json.loads(out)["conflict"]["way_back"]


def test_an_impossible_answer_is_not_taken_and_the_rest_kept(
    shop: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What no cause can give is refused with the way back; the answers before it stand."""
    typed = iter(["q"])
    monkeypatch.setattr("builtins.input", lambda prompt: next(typed))
    code, out, err = asked(
        shop, "--ask", "--found", "resistor-t1=open", "--found", "volts-t1=full", capsys=capsys
    )
    assert code == 1
    assert "leave one of these out" in err
    assert out == ""


def test_a_file_that_is_no_job_is_refused(shop: Path, capsys: Capture) -> None:
    """Broken files and another machine's job: exit 2, the file named, nothing overwritten."""
    for text in ("", "{}", '{"format": 1, "machine": 3, "asked": {}, "answers": []}', "[1]"):
        (shop / "job.json").write_text(text)
        code, _, err = asked(shop, "--ask", "--job", str(shop / "job.json"), capsys=capsys)
        assert code == 2
        assert "is not a job that simrig has kept" in err
        assert (shop / "job.json").read_text() == text
    here = str(shop / "mill.toml")
    for held in ({"closed": 3}, {"sheet": "x"}, {"at": [1]}, {"faults": None}, {"complaint": None}):
        kept = {"format": 1, "machine": here, "asked": held, "answers": []}
        (shop / "job.json").write_text(json.dumps(kept))
        words = ["diagnose", here, "--ask", "--job", str(shop / "job.json")]
        assert main(words) == 2
        assert "is not as simrig kept it" in capsys.readouterr().err
    other = {"format": 1, "machine": "else", "asked": {}, "answers": []}
    (shop / "job.json").write_text(json.dumps(other))
    code, _, err = asked(shop, "--ask", "--job", str(shop / "job.json"), capsys=capsys)
    assert code == 2
    assert "is a job on else" in err


def test_the_catalogue_is_listed_with_what_each_check_needs(shop: Path, capsys: Capture) -> None:
    """Every check with id, title, minutes, needs, results, caution; unsafe ones marked."""
    assert main(["checks", str(shop / "mill.toml"), "--json"]) == 0
    checks = json.loads(capsys.readouterr().out)["checks"]
    keys = {"id", "title", "minutes", "needs", "results", "caution"}
    assert all(keys <= set(one) for one in checks)
    by_id = {one["id"]: one for one in checks}
    assert by_id["volts-t1"]["needs"][0]["power"] == "unplugged"
    assert by_id["camera-t1"]["allowed"]
    unknown = TEXT.replace("interlocked = true\n", "").replace('fuse = "f3"\n', "")
    (shop / "mill.toml").write_text(unknown)
    assert main(["checks", str(shop / "mill.toml"), "--about", "camera-t1"]) == 0
    out = capsys.readouterr().out
    assert "coil voltage counts as present" in " ".join(out.split())
    assert "x camera-t1" in out
    assert main(["checks", str(shop / "mill.toml"), "--about", "zzz"]) == 2


def answering(monkeypatch: pytest.MonkeyPatch, *words: str) -> None:
    """Answer the next questions with these words."""
    waiting = iter(words)
    monkeypatch.setattr("builtins.input", lambda prompt: next(waiting))


def test_what_is_certain_can_be_put_right_first_by_one_key(
    shop: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """t1 and t3 are dark, the meter finds the resistor of t1 open: r mends it, u takes that back."""
    job = str(shop / "job.json")
    words = ["--seats", "none", "--closed", "t1,t3", "--others", "rest"]
    start = ["diagnose", str(shop / "mill.toml"), *words, "--quiet", "--ask", "--job", job]
    answering(monkeypatch, "r", "q")
    assert main([*start, "--found", "resistor-t1=open"]) == 1
    screen = " ".join(capsys.readouterr().out.split())
    assert (
        "r or first, it is in all that is left: Put right series resistor's lead broken at t1"
        in screen
    )
    assert screen.index("Hot iron") < screen.index("Taken as put right")
    kept = json.loads(Path(job).read_text())
    assert kept["answers"][-1] == ["repair-resistor-lead-broken:t1", "done"]
    answering(monkeypatch, "r", "u", "q")
    assert main(["diagnose", str(shop / "mill.toml"), "--quiet", "--ask", "--job", job]) == 1
    screen = " ".join(capsys.readouterr().out.split())
    assert '"r" is no answer here' in screen
    assert "Taken back: repair-resistor-lead-broken:t1=done" in screen
    assert len(json.loads(Path(job).read_text())["answers"]) == 1


def test_a_check_can_be_found_otherwise_once_something_was_put_right(
    shop: Path, capsys: Capture
) -> None:
    """The same check with two results contradicts itself, unless a repair lies between them."""
    first, mended, second = (
        ("--found", word) for word in ("camera-t1=dark", "wipe-t1=no-change", "camera-t1=lit")
    )
    code, _, told = asked(shop, *first, *second, capsys=capsys)
    assert code == 2
    assert "was given both dark and lit" in told
    repair = ("--found", "repair-emitter-dead:t1=done")
    code, out, _ = asked(shop, *first, *repair, *second, "--json", capsys=capsys)
    assert code == 1
    assert "emitter-dead" in alone(out)
    assert "resistor-lead-broken" not in alone(out)
    code, out, _ = asked(shop, *first, *mended, *mended, "--json", capsys=capsys)
    assert code == 1
    assert "beam-dirty" not in alone(out)
