"""``simrig begin`` as a technician meets it: at a terminal, through a pipe, cut off, gone on with."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tomllib
from pathlib import Path

import attrs
import pexpect
import pytest

from simrig.cli.main import main
from simrig.cli.profile_file import ProfileFile
from simrig.interchange.beginning.starting import begin
from simrig.profile.components import SENSOR_KINDS
from simrig.profile.machine import Profile
from simrig.profile.reader import read

Capture = pytest.CaptureFixture[str]
FULL = bool(os.environ.get("SIMRIG_FULL"))

NAMES = """\
start button,left coin chute,right coin chute,slam tilt,plumb tilt,coin door open,extra button,ticket notch
left outlane,left return lane,right return lane,right outlane,left sling,right sling,launcher,upper pop
trough 1,trough 2,trough 3,trough 4,trough 5,trough jam beam,left pop,right pop
lock 1,lock 2,lock entry beam,ramp entry beam,ramp made beam,left orbit,right orbit,spinner
bank target 1,bank target 2,bank target 3,left loop,right loop,top lane a,top lane b,top lane c
bell target,lamp post,star roll-over,upper left target,upper right target,back target,kick target,gate
"""
SWITCHES = [
    (column, row, name)
    for column, line in enumerate(NAMES.splitlines(), 1)
    for row, name in enumerate(line.split(","), 1)
]
COLOURS = ("brown", "red", "orange", "yellow", "green", "blue", "violet", "grey")


def as_table() -> str:
    lines = ["Column;Row;Switch;Wire"]
    lines += [f"{c};{r};{name};white-{COLOURS[r - 1]}" for c, r, name in SWITCHES]
    return "\r\n".join(lines) + "\r\n"


def as_numbers() -> str:
    return "".join(f"{10 * c + r} {name}\n" for c, r, name in SWITCHES)


def as_grid() -> str:
    lines = ["\t" + "\t".join(f"Column {c} (black-{COLOURS[c - 1]})" for c in range(1, 7))]
    for row in range(1, 9):
        names = [name for _, r, name in SWITCHES if r == row]
        lines.append("\t".join([f"Row {row}", *names]))
    return "\ufeff" + "\n".join(lines)


SPELLINGS = {
    "columns and rows": (as_table, "c3 r1-5", "c4 r1-2", "c2 r7", "c3 r6, c4 r3, c4 r4, c4 r5"),
    "plain numbers": (as_numbers, "31-35", "41-42", "27", "36, 43-45"),
    "a pasted grid": (as_grid, "c3 r1-5", "c4 r1, c4 r2", "c2 r7", "c3 r6, c4 r3-5"),
}


class Desk:
    """A terminal at which lines are typed, and counted."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.typed = 0

    def run(self, *words: str, answers: tuple[tuple[str, str], ...] = ()) -> tuple[int, str]:
        """Type a command, then each answer when its words are on the screen."""
        self.typed += 1
        child = pexpect.spawn(
            sys.executable, ["-m", "simrig", *words], cwd=str(self.folder), encoding="utf-8",
            timeout=60, dimensions=(24, 80), env={**os.environ, "TERM": "dumb"},
        )  # fmt: skip
        for asked, answer in answers:
            child.expect_exact(asked)
            child.expect_exact("> ")
            child.sendline(answer)
            self.typed += 1
        child.expect(pexpect.EOF)
        child.close()
        return child.exitstatus or 0, child.before.replace("\r\n", "\n")


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_the_same_evening(spelling: str, tmp_path: Path, capsys: Capture) -> None:
    """From a list of 48 switches, a ball count and seven answers: the trough at every count,
    swapped symbols and a wrong count named, in under forty lines of typing at a terminal."""
    write, trough, lock, launcher, beams = SPELLINGS[spelling]
    (tmp_path / "list.csv").write_text(write(), newline="")
    desk = Desk(tmp_path)
    answers = (
        ("2 of 8", "none"), ("3 of 8", "yes"), ("4 of 8", f"launcher: {launcher}; lock: {lock}"),
        ("5 of 8", "closed, tried"), ("6 of 8", f"{trough}, {lock}, {beams}"),
        ("7 of 8", "launcher 1"), ("8 of 8", "don't know"),
    )  # fmt: skip
    code, screen = desk.run(
        "begin", "new.toml", "--switches", "list.csv", "--balls", "5", answers=answers
    )
    assert (code, "48 switches, 5 balls" in screen) == (0, True)
    # One spelling goes through the terminal to the end; the others are asked from within.
    through = spelling == "plain numbers" or FULL
    for balls in range(6):
        words = ["expect", str(tmp_path / "new.toml"), "--balls", str(balls), "--all"]
        if through:
            code, screen = desk.run(*words)
        else:
            code, screen = main(words), capsys.readouterr().out
        rows = {line.split()[0]: line.split()[-1] for line in screen.splitlines() if line.strip()}
        seen = {n: rows[f"trough-{n}"] for n in range(1, 6)}
        assert seen == {n: "CLOSED" if n <= balls else "OPEN" for n in range(1, 6)}
    for option, verdict in (
        ("--open", "you took all symbols the wrong way"),
        ("--closed", "3 balls were in it, not 5"),
    ):
        names = (
            ("trough-1", "trough-2", "trough-3")
            if option == "--closed"
            else tuple(f"trough-{n}" for n in range(1, 6))
        )
        words = ["compare", str(tmp_path / "new.toml"), option, ",".join(names)]
        if through:
            code, screen = desk.run(*words)
        else:
            code, screen = main(words), capsys.readouterr().out
        assert code == 1
        assert verdict in screen
    assert desk.typed < 40


ANSWERS = ["5", "1 at 61", "31-35", "launcher: 27; lock: 41, 42", "closed", "31-36; 43-45",
           "launcher 1", "no"]  # fmt: skip


def started(folder: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "simrig", "begin", "new.toml", *words], cwd=folder, text=True,
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, bufsize=1,
    )  # fmt: skip


def until(process: subprocess.Popen[str], words: str) -> None:
    """Read what a process says until it asks; fails when it ends before."""
    assert process.stdout is not None
    seen = ""
    while not seen.endswith(words):
        sign = process.stdout.read(1)
        assert sign, seen
        seen += sign


def whole(folder: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """The file that comes of answering everything in one go."""
    import io

    folder.mkdir()
    (folder / "list.csv").write_text(as_numbers())
    monkeypatch.chdir(folder)
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(ANSWERS) + "\n"))
    assert main(["begin", "new.toml", "--switches", "list.csv"]) == 0
    capsys.readouterr()
    return (folder / "new.toml").read_bytes()


def test_killed_at_each_question_and_gone_on(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed with a question on the screen, every time: the file is the same in the end."""
    uncut = whole(tmp_path / "uncut", capsys, monkeypatch)
    cut = tmp_path / "cut"
    cut.mkdir()
    (cut / "list.csv").write_text(as_numbers())
    words: tuple[str, ...] = ("--switches", "list.csv")
    for answer in ANSWERS:
        process = started(cut, *words)
        until(process, "\n> ")
        assert process.stdin is not None
        process.stdin.write(answer + "\n")
        process.stdin.flush()
        if answer != ANSWERS[-1]:
            until(process, "\n> ")
            process.send_signal(signal.SIGKILL)
        process.communicate()
        words = ()
    assert (cut / "new.toml").read_bytes() == uncut
    assert not list(cut.glob("*.part"))


@pytest.mark.skipif(not FULL, reason="long: SIMRIG_FULL")
@pytest.mark.parametrize("number", range(len(ANSWERS) + 1))
def test_killed_while_an_answer_is_on_its_way(
    number: int, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed at once after an answer was sent: it is taken or asked again, never half there."""
    uncut = whole(tmp_path / "uncut", capsys, monkeypatch)
    cut = tmp_path / "cut"
    cut.mkdir()
    (cut / "list.csv").write_text(as_numbers())
    process = started(cut, "--switches", "list.csv")
    until(process, "\n> ")
    assert process.stdin is not None
    process.stdin.write("".join(f"{answer}\n" for answer in ANSWERS[:number]))
    process.stdin.flush()
    process.send_signal(signal.SIGKILL)
    process.communicate()
    done = len(tomllib.loads((cut / "new.toml").read_text()).get("begun", {}))
    assert done <= number
    process = started(cut)
    process.communicate("".join(f"{answer}\n" for answer in ANSWERS[done:]))
    assert (cut / "new.toml").read_bytes() == uncut


def test_a_hand_and_the_command_write_in_turns(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Remarks and facts written by hand stay, what they answer is not asked, answers stay too."""
    import io

    file = tmp_path / "new.toml"
    (tmp_path / "list.csv").write_text(as_numbers())
    monkeypatch.setattr("sys.stdin", io.StringIO("none\n31-35\n"))
    assert main(["begin", str(file), "--switches", str(tmp_path / "list.csv"), "--balls", "5"]) == 0
    text = file.read_text()
    text = text.replace('id = "trough-1"\n', 'id = "trough-1"   # my own remark\n')
    text = text.replace("[[phase]]", "# the shop's machine 7\n\n[[phase]]", 1)
    text += "\n# measured on Tuesday\n[interlock]\nfitted = true   # tried\n"
    file.write_text(text)
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", io.StringIO("launcher: 27\nclosed, tried\nnone\nlauncher 1\n"))
    assert main(["begin", str(file)]) == 0
    assert "8 of 8" not in capsys.readouterr().out
    after = file.read_text()
    for remark in (
        "   # my own remark",
        "# the shop's machine 7",
        "# measured on Tuesday",
        "   # tried",
    ):
        assert remark in after
    profile = read(after.encode(), "new.toml")
    assert profile.interlock is not None
    assert profile.interlock.fitted
    assert profile.row("sensor", "trough-1").worked_reads == "closed"
    assert profile.row("phase", "ready") is not None
    left = iter(after.splitlines())
    assert all(line in left for line in text.splitlines() if "kind" not in line)


def test_a_hand_may_write_while_a_question_waits(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What an editor saves between question and answer is in the file with the answer."""
    file = tmp_path / "new.toml"
    (tmp_path / "list.csv").write_text(as_numbers())

    class Hand:
        lines = iter(("none", "31-35", ""))

        def isatty(self) -> bool:
            return False

        def readline(self) -> str:
            line = next(self.lines)
            file.write_text(file.read_text() + f"# seen before {line}\n")
            return line + "\n" if line else ""

    monkeypatch.setattr("sys.stdin", Hand())
    assert main(["begin", str(file), "--switches", str(tmp_path / "list.csv"), "--balls", "5"]) == 0
    text = file.read_text()
    assert "# seen before none\n" in text
    assert "# seen before 31-35\n" in text
    assert read(text.encode(), "x").begun == {"captive": "answered", "trough": "answered"}


def test_what_is_saved_in_the_same_moment_is_kept(tmp_path: Path) -> None:
    """A file that changes between reading and writing is read again."""
    path = tmp_path / "new.toml"
    file = ProfileFile(str(path), SENSOR_KINDS)
    file.create(begin("new", 3))
    times = []

    def change(profile: Profile) -> Profile:
        if not times:
            path.write_text(path.read_text() + "# in the same moment\n")
        times.append(profile)
        return attrs.evolve(profile, note="changed")

    file.change(change)
    assert len(times) == 2
    assert "# in the same moment\n" in path.read_text()
    assert file.read().note == "changed"


def test_feeding_killed_at_each_ball_and_gone_on(tmp_path: Path) -> None:
    """The protocol stands in the file: nothing has to be fed again."""
    said = ["none", "31 closed", "32 closed", "33 closed", "none"]
    files = []
    for cut in (False, True):
        folder = tmp_path / str(cut)
        folder.mkdir()
        words: tuple[str, ...] = ("--by-feeding", "--balls", "3")
        process = started(folder, *words)
        for answer in said:
            until(process, "> ")
            assert process.stdin is not None
            process.stdin.write(answer + "\n")
            process.stdin.flush()
            if cut and answer != said[-1]:
                until(process, "> ")
                process.send_signal(signal.SIGKILL)
                process.communicate()
                process = started(folder, *words[:1])
        process.communicate()
        files.append((folder / "new.toml").read_bytes())
    assert files[0] == files[1]
    assert [one.at for one in read(files[0], "x").sensor] == [(f"trough.{n}",) for n in (1, 2, 3)]


def test_a_file_that_a_hand_has_broken_is_named_with_its_line_and_left_alone(
    tmp_path: Path, capsys: Capture
) -> None:
    """Nothing is written over a file that cannot be read."""
    file = tmp_path / "new.toml"
    file.write_text('format = 1\nid = "new"\n[balls]\ninstalled = five\n')
    assert main(["begin", str(file)]) == 2
    assert f"{file}:4:" in capsys.readouterr().err
    assert "five" in file.read_text()


def test_a_list_with_faults_starts_with_its_good_lines_and_ends_when_mended(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2 and a message a fault with its line; the mended list adds what was left out."""
    import io

    file, sheet = tmp_path / "new.toml", tmp_path / "list.csv"
    sheet.write_text(
        "\ufeffno,name\n31,trough 1\n31,trough 2\n33,\n34;trough 4\n35,trough 5,x\n36,jam\n"
    )
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["begin", str(file), "--switches", str(sheet), "--balls", "2"]) == 2
    told = capsys.readouterr().err.splitlines()
    lines = [int(line.split(":")[1]) for line in told if "taken as unused" not in line]
    assert lines == [3, 4, 5, 6]
    assert [one.number for one in read(file.read_bytes(), "x").sensor] == [31, 36]
    sheet.write_text(
        "no,name\n31,trough 1\n32,trough 2\n33,unused\n34,trough 4\n35,trough 5\n36,jam\n"
    )
    assert main(["begin", str(file), "--switches", str(sheet)]) == 0
    assert [one.number for one in read(file.read_bytes(), "x").sensor] == [31, 36, 32, 34, 35]
    assert "3 switches taken" in capsys.readouterr().out


def test_facts_as_a_document(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With --json one document comes: each fact, known, assumed or unknown, and what it sharpens."""
    import io

    (tmp_path / "list.csv").write_text(as_table())
    monkeypatch.setattr("sys.stdin", io.StringIO("none\nyes\n"))
    file = str(tmp_path / "new.toml")
    words = ["begin", file, "--switches", str(tmp_path / "list.csv"), "--balls", "5", "--json"]
    assert main(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == 1
    facts = {one["fact"]: one for one in found["facts"]}
    assert all({"fact", "state", "source", "sharpens"} <= one.keys() for one in facts.values())
    states = {one["state"] for one in facts.values()}
    assert states == {"known", "assumed", "unknown"}
    assert facts["how the switches read with a ball"]["state"] == "unknown"
    assert facts["how the switches read with a ball"]["sharpens"] == [
        *(f"trough-{n}" for n in range(1, 6)),
        "trough-jam-beam",
    ]
    assert facts["which balls are captive"]["source"] == "answered"


@pytest.mark.parametrize(("words", "where"), [
    (["new.toml"], "--switches"), (["new.txt"], ".toml"), (["new.toml", "--balls", "many"], "1 to 20"),
    (["new.toml", "--switches", "missing.csv"], "missing.csv"),
])  # fmt: skip
def test_what_cannot_begin_says_what_is_wanted(
    words: list[str], where: str, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2, one message, and no file."""
    monkeypatch.chdir(tmp_path)
    assert main(["begin", *words]) == 2
    assert where in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_an_answer_that_cannot_be_is_asked_again(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wrong words change nothing, say what is wanted, and the question stays; a proposal is
    taken by yes alone."""
    import io

    (tmp_path / "list.csv").write_text(as_numbers())
    file = tmp_path / "new.toml"
    said = ["", "two", "1 at 99", "none", "31-39", "31, 31", "yes", "launcher", "stop"]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(said) + "\n"))
    words = ["begin", str(file), "--switches", str(tmp_path / "list.csv"), "--balls", "5"]
    assert main(words) == 0
    screen = capsys.readouterr().out
    for wanted in ("Say something", "wanted none, 1, or 1 at 28", 'no sensor is called "99"', 'called "39"',
                   "trough-1 is named twice"):  # fmt: skip
        assert wanted in " ".join(screen.split())
    profile = read(file.read_bytes(), "x")
    assert [one.id for one in profile.sensor if one.spots] == [
        *(f"trough-{n}" for n in range(1, 6)),
        "trough-jam-beam",
    ]
    assert profile.begun == {"captive": "answered", "trough": "answered", "places": "answered"}


def test_a_pipe_that_ends_on_a_refused_answer_is_wrong_input(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A script that answers wrongly is told so by the exit code; what came before is kept."""
    import io

    (tmp_path / "list.csv").write_text(as_numbers())
    monkeypatch.setattr("sys.stdin", io.StringIO("none\nnonsense\n"))
    words = [
        "begin",
        str(tmp_path / "new.toml"),
        "--switches",
        str(tmp_path / "list.csv"),
        "--balls",
        "5",
    ]
    assert main(words) == 2
    assert "Not taken" in capsys.readouterr().out


def test_feeding_at_the_command_line(
    tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No list, no count: what was typed becomes a trough; a silent ball is told of, with a
    caution before any hand goes in."""
    import io

    file = tmp_path / "new.toml"
    said = [
        "none",
        "31 closed",
        "35 closed",
        "back",
        "32 closed",
        "none",
        "34 closed",
        "done",
        "none",
    ]
    monkeypatch.setattr("sys.stdin", io.StringIO("\n".join(said) + "\n"))
    assert main(["begin", str(file), "--by-feeding"]) == 0
    screen = " ".join(capsys.readouterr().out.split())
    assert screen.startswith("Coils may fire")
    assert "Ball 3 changed nothing" in screen
    profile = read(file.read_bytes(), "x")
    assert profile.balls.installed == 4
    assert [(one.number, one.at) for one in profile.sensor if one.spots] == [
        (31, ("trough.1",)), (32, ("trough.2",)), (34, ("trough.4",))]  # fmt: skip
    assert main(["expect", str(file), "--balls", "2"]) == 0
