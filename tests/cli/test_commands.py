"""The commands as people and other tools call them: answers, exit codes, words of errors."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from simrig.cli.main import COMMANDS, main

Capture = pytest.CaptureFixture[str]


def _json(capsys: Capture, *words: str) -> tuple[int, dict]:
    code = main([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_expect_idle(capsys: Capture) -> None:
    """Idle, every trough position reads closed and no other ball sensor does."""
    code, found = _json(capsys, "expect", "tidal-clockwork", "--phase", "idle")
    closed = [one["sensor"] for one in found["readings"] if one["reading"] == "closed"]
    assert (code, closed) == (0, [f"trough-{n}" for n in range(1, 6)])
    keys = {"sensor", "address", "place", "position", "ball", "reading", "why", "depends_on"}
    assert keys <= found["readings"][0].keys()
    assert found["format"] == 1


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
@pytest.mark.parametrize("door", ["open", "closed"])
def test_the_door_is_seen(capsys: Capture, machine: str, door: str) -> None:
    """The door's state is taken for what the eye saw, on every machine."""
    assert main(["expect", machine, "--door", door]) == 0


def test_common_options_may_come_first(capsys: Capture, tmp_path: Path) -> None:
    """A folder of profiles may be named before the command."""
    assert main(["--profiles", str(tmp_path), "machines"]) == 0


def test_three_balls_from_the_exit(capsys: Capture) -> None:
    """With three balls positions 1 to 3 from the exit end hold one."""
    _, found = _json(capsys, "expect", "tidal-clockwork", "--balls", "3")
    balls = [one["position"] for one in found["readings"] if one["ball"]]
    assert balls == [1, 2, 3]


def test_numbered_from_the_far_end(capsys: Capture) -> None:
    """Where numbers run from the far end, one ball is at the highest number, position 1."""
    _, found = _json(capsys, "expect", "orchard-signal", "--balls", "1")
    (one,) = [row for row in found["readings"] if row["ball"] and row["place"] == "trough"]
    assert (one["sensor"], one["position"]) == ("trough-3", 1)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--closed", "31-35"], 0),
        (["--open", "31-35"], 1),
        (["--closed", "31-34", "--balls", "4"], 0),
        (["--closed", "column 3 row 1,c3r2,33,trough-4", "--balls", "4"], 0),
    ],
)
def test_compare_codes(capsys: Capture, words: list[str], code: int) -> None:
    """Compare ends with 0 when the sheet agrees and with 1 when it differs."""
    assert main(["compare", "tidal-clockwork", *words]) == code


def test_inverted_is_offered(capsys: Capture) -> None:
    """A sheet with every symbol the wrong way round fits with all inverted, 0 differences."""
    code, found = _json(capsys, "compare", "tidal-clockwork", "--open", "31-35")
    assert code == 1
    assert found["fits"][0]["inverted"] == ["all"]
    assert found["fits"][0]["differences"] == 0


def test_no_mistake_is_offered_for_nothing(capsys: Capture) -> None:
    """One ball in the trough fits with a count of 1; no numbering is blamed beside it."""
    _, found = _json(capsys, "compare", "tidal-clockwork", "--closed", "31")
    assert found["fits"][0]["balls"] == 1
    assert not any(fit["numbering"] for fit in found["fits"])


def test_locate_codes(capsys: Capture) -> None:
    """Locate ends with 0 when all balls can be present, with 1 when one must be missing."""
    assert main(["locate", "tidal-clockwork", "--closed", "31-35"]) == 0
    capsys.readouterr()
    code, found = _json(capsys, "locate", "tidal-clockwork", "--closed", "31-34")
    assert code == 1
    assert found["placements"][0]["missing"] == 1
    assert "playfield" in found["placements"][0]["missing_at"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["expct", "tidal-clockwork"], 'did you mean "expect"?'),
        (["expect", "tidal-clokwork"], 'did you mean "tidal-clockwork"?'),
        (["expect", "tidal-clockwork", "--phase", "idel"], 'did you mean "idle"?'),
        (["expect", "tidal-clockwork", "--balls", "many"], 'found "many"'),
        (["expect", "tidal-clockwork", "--balls", "7"], "a whole number from 0 to 6"),
        (["expect", "tidal-clockwork", "--at", "trough=9"], "holds 5; 9 do not fit"),
        (["expect", "tidal-clockwork", "--at", "trogh=2"], 'did you mean "trough"?'),
        (["expect", "tidal-clockwork", "--seats", "trough.9"], 'no position "trough.9"'),
        (["expect", "tidal-clockwork", "--fault", "emitter-dead:x"], "can concern here"),
        (["expect", "tidal-clockwork", "--wrong"], "--wrong"),
        (["compare", "tidal-clockwork"], "nothing was seen"),
        (["compare", "tidal-clockwork", "--closed", "trogh-1"], 'did you mean "trough-1"?'),
        (["compare", "tidal-clockwork", "--closed", "trough-1", "--open", "31"], "it can be one"),
        (["compare", "tidal-clockwork", "--sheet", "/no/such"], "cannot be read"),
        (["run", "/no/such.scenario.toml"], "cannot be read"),
        (["vet", "/"], "cannot be read"),
    ],
)
def test_wrong_input_is_told(capsys: Capture, words: list[str], says: str) -> None:
    """Wrong input ends with 2, says what is wrong, and gives the same in JSON."""
    assert main(words) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert "Traceback" not in told.err
    code, found = _json(capsys, *words)
    assert code == 2
    assert any(says in error["message"] for error in found["errors"])


SHEET = (
    "\ufeffSensor, Reading\r\n\r\n# taken at rest\r\nTROUGH-1 , Closed\r\n"
    "trough-2;closed\r\n33\tCLOSED\r\ntrough-4,closed\r\n trough-5,closed # last\r\n"
)


def test_a_sheet_as_people_write_it(tmp_path: Path, capsys: Capture) -> None:
    """Blank lines, comments, capitals, spaces, other separators, a byte-order mark are taken."""
    sheet = tmp_path / "sheet.csv"
    sheet.write_bytes(SHEET.encode())
    assert main(["compare", "tidal-clockwork", "--sheet", str(sheet)]) == 0


def test_each_fault_of_a_sheet_has_its_line(tmp_path: Path, capsys: Capture) -> None:
    """An unknown sensor, an ambiguous word, a doubled line: one message each, with its line."""
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("trough-1,closed\ntrough-9,closed\ntrough-2,on\ntrough-1,open\ntrough-3\n")
    code, found = _json(capsys, "compare", "tidal-clockwork", "--sheet", str(sheet))
    assert code == 2
    assert [error["line"] for error in found["errors"]] == [2, 3, 4, 5]


def test_a_toml_sheet_that_contradicts_itself(tmp_path: Path, capsys: Capture) -> None:
    """A sensor named twice with two readings, by id and by number, is told with its line."""
    sheet = tmp_path / "sheet.toml"
    sheet.write_text('[[sheet]]\nreadings = { trough-1 = "closed", 31 = "open" }\n')
    code, found = _json(capsys, "compare", "tidal-clockwork", "--sheet", str(sheet))
    assert code == 2
    assert found["errors"][0]["line"] == 2
    assert "keep one" in found["errors"][0]["message"]


def test_a_fault_of_our_own_is_no_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """What simrig itself does wrong is told in words and ends with a code of its own."""
    from simrig.cli import machines

    def fail(*_: object) -> int:
        raise RuntimeError("a slip")

    monkeypatch.setattr(machines, "run", fail)
    assert main(["machines"]) == 70
    told = capsys.readouterr().err
    assert "RuntimeError: a slip" in told
    assert "Traceback" not in told


def test_ten_faults_ten_messages(tmp_path: Path, capsys: Capture) -> None:
    """A profile with ten planted faults gets ten located messages in one run."""
    profile = tmp_path / "bad.toml"
    profile.write_text(
        "\n".join(
            [
                "format = 1",
                'id = "bad"',
                "colour = 3",
                "[balls]",
                "installed = 3",
                'store = "trogh"',
                "[[place]]",
                'id = "trough"',
                'kind = "trough"',
                "seats = 3",
                'position_1 = "left end"',
                "[[place]]",
                'id = "trough"',
                'kind = "lock"',
                "seats = 2",
                "[[phase]]",
                'id = "idle"',
                "placements = [{ trough = 2 }]",
                "[matrix]",
                "columns = 4",
                "rows = 4",
                "[[sensor]]",
                'id = "s1"',
                'kind = "magic"',
                'at = ["trough.4"]',
                'address = "column 9 row 1"',
                "[[sensor]]",
                'id = "s2"',
                'kind = "opto"',
                'address = "direct 1"',
                "resistor_ohm = true",
                "[[sensor]]",
                'id = "s3"',
                'kind = "opto"',
                'address = "direct 1"',
            ]
        )
    )
    assert main(["vet", str(profile), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)["findings"]
    assert sorted(one["line"] for one in found) == [3, 6, 11, 13, 18, 24, 25, 26, 31, 35]


def test_mutants_are_told_or_taken(tmp_path: Path, capsys: Capture) -> None:
    """Profiles, sheets and scenarios with bytes and lines disturbed end with 0, 1 or 2; seed 11."""
    random.seed(11)
    root = Path(__file__).parents[2]
    cases = [
        (root / "plugins/simrig_machines/orchard-signal.toml", ["expect"], []),
        (root / "scenarios/orchard-signal/compared.scenario.toml", ["run"], []),
    ]
    sheet = tmp_path / "s.csv"
    sheet.write_bytes(SHEET.encode())
    cases.append((sheet, ["compare", "orchard-signal", "--sheet"], []))
    for source, words, more in cases:
        whole = source.read_bytes()
        for number in range(120):
            data = bytearray(whole)
            for _ in range(random.randint(1, 3)):
                place = random.randrange(len(data))
                action = random.randrange(3)
                if action == 0:
                    data[place] = random.randrange(256)
                elif action == 1:
                    del data[place : place + random.randint(1, 40)]
                else:
                    data[place:place] = data[max(0, place - 60) : place]
            mutant = tmp_path / f"m{number}{source.name}"
            mutant.write_bytes(bytes(data))
            assert main([*words, str(mutant), *more]) in (0, 1, 2)
            mutant.unlink()
    assert "Traceback" not in capsys.readouterr().err


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(capsys: Capture, name: str) -> None:
    """Each command has a help text that names it."""
    with pytest.raises(SystemExit) as ended:
        main([name, "--help"])
    assert ended.value.code == 0
    assert f"simrig {name}" in capsys.readouterr().out


def test_text_fits_the_screen(capsys: Capture) -> None:
    """Answers fit 80 columns."""
    for words in (
        ["expect", "tidal-clockwork"],
        ["expect", "basalt-freight", "--phase", "play"],
        ["compare", "basalt-freight", "--closed", "trough-1"],
        ["locate", "orchard-signal", "--closed", "trough-3"],
        ["show", "orchard-signal"],
    ):
        main(words)
        assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_knows_the_commands(capsys: Capture, shell: str) -> None:
    """The completion script of each shell names every command."""
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(name in script for name in COMMANDS)


RESTING = [*(f"trough-{n}" for n in range(1, 6)), "lock-1", "lock-2", "launcher-ball", "pool-ball"]


def _sheets(file: Path, *sheets: tuple[int, set[str]]) -> str:
    """Write a file of sheets, each with its count and what reads closed."""
    text = ""
    for balls, closed in sheets:
        text += f"[[sheet]]\nballs = {balls}\n[sheet.readings]\n"
        for name in RESTING:
            text += f'{name} = "{"closed" if name in closed else "open"}"\n'
    file.write_text(text)
    return str(file)


def test_compare_takes_sheets_together(capsys: Capture, tmp_path: Path) -> None:
    """Of several sheets each is compared, and each difference names its sheet."""
    sheets = _sheets(tmp_path / "both.toml", (0, {"trough-1"}), (5, set(RESTING[:4])))
    code, found = _json(capsys, "compare", "tidal-clockwork", "--sheet", sheets)
    assert (code, found["agrees"]) == (1, False)
    assert [(one["sheet"], one["sensor"]) for one in found["differences"]] == [
        (1, "trough-1"),
        (2, "trough-5"),
    ]


def test_locate_takes_sheets_together(capsys: Capture, tmp_path: Path) -> None:
    """As many balls are missing on one sheet as on the other."""
    sheets = _sheets(tmp_path / "both.toml", (2, {"trough-1"}), (5, set(RESTING[:4])))
    code, found = _json(capsys, "locate", "tidal-clockwork", "--sheet", sheets)
    missing = [(one["sheet"], one["missing"]) for one in found["placements"]]
    assert (code, missing) == (1, [(1, 1), (2, 1)])


def test_faults_of_all_options_are_told_at_once(capsys: Capture) -> None:
    """A wrong phase, a wrong count and an unknown sensor are three messages of one run."""
    words = ["locate", "tidal-clockwork", "--phase", "x", "--balls", "40", "--closed", "zzz"]
    assert main(words) == 2
    told = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[1] for line in told] == ["--balls", "--phase", "--closed"]


@pytest.mark.parametrize("machine", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_expect_fits_the_first_screen(capsys: Capture, machine: str) -> None:
    """In every phase, with any number of balls, the first screen is short and narrow enough."""
    main(["show", machine, "--json"])
    document = json.loads(capsys.readouterr().out)
    for phase in document["phase"]:
        for balls in range(document["balls"]["installed"] + 2):
            words = ["expect", machine, "--phase", phase["id"], "--balls", str(balls)]
            if main(words):
                continue
            lines = capsys.readouterr().out.splitlines()
            assert max(map(len, lines)) <= 80
            assert len([line for line in lines if line]) <= 20, words


def test_neighbours_that_read_alike_share_a_line(capsys: Capture) -> None:
    """What shares a line is told in full with --all, and nothing is lost."""
    main(["expect", "basalt-freight"])
    short = capsys.readouterr().out
    main(["expect", "basalt-freight", "--all"])
    whole = capsys.readouterr().out
    assert (
        "trough-1 to trough-7    c1 r1 to r7    ball trough 1 to 7       ball     CLOSED" in short
    )
    assert "trough-4" not in short
    assert "trough-4" in whole


def test_show_fits_the_screen(capsys: Capture) -> None:
    """The drawing of a machine is at most 80 wide, and names a pair of beams once."""
    assert main(["show", "basalt-freight"]) == 0
    printed = capsys.readouterr().out
    assert max(map(len, printed.splitlines())) <= 80
    assert "past crane-a, crane-b\n" in printed
