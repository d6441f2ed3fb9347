"""Sheets as people write them: what is taken, and the exact words for what is not."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import attrs
import pytest

from simrig.cli.main import main
from simrig.diagnosis.suspects import Sheet
from simrig.errors import InputError
from simrig.interchange import sheets, sheets_out
from simrig.profile.reader import read
from simrig.world.phases import Conditions

DATA = Path(__file__).parents[1] / "vetting/data"
BASE = (DATA / "LINE-03/sound.toml").read_text()
GATE = '\n[[mechanism]]\nid = "gate"\nkind = "gate"\nstates = ["up", "down"]\nrest = "up"\n'
DOOR = (
    '\n[[sensor]]\nid = "door"\nkind = "micro-switch"\nat = "none"\ncontact = "normally closed"\n'
    'address = "direct 9"\n'
)
SAMPLE = read((BASE + GATE + DOOR).encode(), "sample.toml")
NOTHING = Conditions()


def _read(text: str, conditions: Conditions = NOTHING) -> tuple[Sheet, ...]:
    return sheets.read(SAMPLE, text.encode(), "seen.csv", conditions)


def _seen(text: str) -> dict[str, str]:
    (sheet,) = _read(text)
    return sheet.observation.looked_at()


def _told(text: str) -> list[tuple[int | None, str, str]]:
    with pytest.raises(InputError) as refused:
        _read(text)
    return [(one.line, one.where, one.message) for one in refused.value.problems]


@pytest.mark.parametrize(
    "text",
    [
        "trough-1,closed\nlauncher-ball,open\n",
        "Sensor;Reading\n trough-1 ; CLOSED \n\nlauncher-ball;Open  # no ball\n",
        'number\tseen\n1\tshut\n"4"\topen\t\t\t\n',
        "direct 1,close,,\ndirect 4,open,\ntrough-2,?\n",
    ],
)
def test_a_sheet_in_many_spellings(text: str) -> None:
    """Separators, headings, remarks, capitals, empty cells at the end, any name of a sensor."""
    assert _seen(text) == {"trough-1": "closed", "launcher-ball": "open"}


def test_a_range_of_numbers() -> None:
    """A range names its sensors; what nobody looked at says nothing."""
    assert _seen("1-3,flickering\n4,not looked at\n") == {
        "trough-1": "flickers", "trough-2": "flickers", "trough-3": "flickers",
    }  # fmt: skip


READING = "wanted closed, open, flickers or unknown"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "",
            [(1, "sheet", "found no readings; wanted lines such as trough-1,closed; put them in")],
        ),
        (
            "# only a remark\nsensor,reading\n",
            [(1, "sheet", "found no readings; wanted lines such as trough-1,closed; put them in")],
        ),
        (
            "trough-1\ntrough-2,open,wide\n,open\n",
            [
                (1, "trough-1", "found 1 column; wanted two, sensor and reading; mend the line"),
                (2, "trough-2", "found 3 columns; wanted two, sensor and reading; mend the line"),
                (
                    3,
                    "sheet",
                    'no sensor is called ""; simrig show lists them',
                ),
            ],
        ),
        (
            "trough-1,on\ntrough-2,clsed\ntrough-3,7\n",
            [
                (
                    1,
                    "trough-1",
                    '"on" can mean either; write closed or open, as the display says it',
                ),
                (2, "trough-2", f'"clsed" is no reading; {READING}; did you mean "closed"?'),
                (3, "trough-3", f'"7" is no reading; {READING}'),
            ],
        ),
        (
            "trogh-1,open\n3-9,open\n4-2,open\n",
            [
                (1, "trogh-1", 'no sensor is called "trogh-1"; did you mean "trough-1"?'),
                (2, "3-9", '"3-9": no sensor has number 5, 6, 7; simrig show lists them'),
                (3, "4-2", '"4-2" runs backwards; write 2-4'),
            ],
        ),
        (
            "trough-1,open\n\n1,closed\ntrough-1,open\n",
            [(3, "1", "trough-1 reads open on line 1; keep one of the two")],
        ),
    ],
)
def test_faults_of_a_csv_sheet(text: str, told: list[tuple[int | None, str, str]]) -> None:
    """One message a fault, with line, sensor, what was found and what is wanted."""
    assert _told(text) == told


def test_sheets_with_conditions_of_their_own() -> None:
    """Each [[sheet]] may state phase, count, places, positions and mechanisms; one that states
    nothing takes the general ones; other switches are at rest where it says so."""
    text = (
        '[[sheet]]\nphase = "play"\nballs = 3\nreadings = { trough-1 = "closed" }\n'
        '[[sheet]]\nseats = "none"\nothers = "rest"\nreadings = {}\n'
        '[[sheet]]\nseats = ["trough.1"]\nstate = { gate = "down" }\nreadings = { 1-2 = "open" }\n'
        "[[sheet]]\nat = { launcher = 1 }\nreadings = {}\n"
        "[[sheet]]\nreadings = {}\n"
    )
    general = Conditions(phase="idle")
    found = sheets.read(SAMPLE, text.encode(), "seen.toml", general)
    assert [sheet.conditions for sheet in found] == [
        Conditions(phase="play", balls=3),
        Conditions(spots=frozenset()),
        Conditions(spots=frozenset(("trough.1",)), states={"gate": "down"}),
        Conditions(at={"launcher": 1}),
        general,
    ]
    assert found[0].observation.looked_at() == {"trough-1": "closed"}
    assert found[1].observation.looked_at() == {"door": "closed"}
    assert found[2].observation.looked_at() == {"trough-1": "open", "trough-2": "open"}


def test_faults_of_a_toml_sheet() -> None:
    """Faults of form, of names, of readings and of conditions are told together, in order."""
    text = (
        '[[sheet]]\nphase = "plya"\nballz = 3\n'
        'readings = { trough-1 = "closed", 1 = "open", 9 = "open", trough-2 = "on" }\n'
        "[[sheet]]\nat = { trogh = 1, cellar = 1 }\nreadings = {}\n"
        '[[sheet]]\nseats = ["trough.4"]\nreadings = {}\n'
        '[[sheet]]\nstate = { gate = "ajar", flap = "up" }\nreadings = {}\n'
        '[[sheet]]\nphase = "idle"\nat = { launcher = 1 }\nreadings = {}\n'
        "[[sheet]]\nballs = 4\nat = { launcher = 5 }\nreadings = {}\n"
    )
    assert _told(text) == [
        (1, "sheet 1", 'no phase is called "plya"; did you mean "play"?'),
        (3, "sheet 1, ballz", 'this key is not known; did you mean "balls"?'),
        (4, "sheet 1, 1", "trough-1 reads closed elsewhere on this sheet; keep one"),
        (4, "sheet 1, 9", 'no sensor is called "9"; simrig show lists them'),
        (
            4,
            "sheet 1, trough-2",
            '"on" can mean either; write closed or open, as the display says it',
        ),
        (5, "sheet 2", 'no place or way is called "trogh"; did you mean "trough"?'),
        (
            5,
            "sheet 2",
            'no place or way is called "cellar"; known: trough, launcher, playfield, serve, launch, '
            "drain",
        ),
        (8, "sheet 3", 'there is no position "trough.4"; did you mean "trough.3"?'),
        (11, "sheet 4", 'gate can stand: up, down; found "ajar"'),
        (11, "sheet 4", 'no mechanism is called "flap"; known: gate'),
        (
            14,
            "sheet 5",
            "no legal position of the balls fits these conditions; mend phase, balls, at or state, "
            "or leave the phase out to say exactly where they are",
        ),
        (18, "sheet 6", "launcher holds 1; 5 do not fit"),
    ]


def test_a_sheet_comes_to_nothing_through_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Through the command a bad sheet ends with 2, file, line, and no traceback."""
    machine, seen = tmp_path / "sample.toml", tmp_path / "seen.csv"
    machine.write_text(BASE)
    seen.write_text("trough-1,closed\ntrough-2,on\n")
    assert main(["compare", str(machine), "--sheet", str(seen)]) == 2
    assert capsys.readouterr().err == (
        f'{seen}:2: trough-2: "on" can mean either; write closed or open, as the display says it\n'
    )


def test_every_other_switch_at_rest() -> None:
    """A sheet taken again with other switches at rest keeps what was seen."""
    (sheet,) = _read("trough-1,closed\n")
    rested = sheets.others_at_rest(SAMPLE, sheet)
    assert rested.looked_at() == {"trough-1": "closed", "door": "closed"}


class Clipboard:
    """A reader as a plug-in brings it."""

    id = "clipboard"

    def reads(self, data: bytes, file: str) -> bool:
        """Whether the file is one of its kind."""
        return data.startswith(b"CLIP")

    def read(self, data: bytes, file: str) -> Mapping[str, str]:
        """Return the pairs of the file."""
        return dict(pair.split("=") for pair in data.decode().split()[1:])


def test_a_reader_that_a_plugin_brings() -> None:
    """It takes its own files and no others; a wrong word in one is told at its sensor."""
    machine = attrs.evolve(SAMPLE, brought={"simrig_readers": (Clipboard(),)})

    def seen(text: str) -> dict[str, str]:
        (sheet,) = sheets.read(machine, text.encode(), "seen.clip", NOTHING)
        return sheet.observation.looked_at()

    assert seen("CLIP 1-2=closed") == {"trough-1": "closed", "trough-2": "closed"}
    assert seen("trough-3,open\n") == {"trough-3": "open"}
    with pytest.raises(InputError) as refused:
        seen("CLIP 1=on hatch=open")
    assert [str(one) for one in refused.value.problems] == [
        'seen.clip: 1: "on" can mean either; write closed or open, as the display says it',
        'seen.clip: hatch: no sensor is called "hatch"; simrig show lists them',
    ]


def test_sheets_written_are_read_again() -> None:
    """What is written as TOML comes back with conditions and readings."""
    said = [
        (Conditions(phase="play", balls=3), {"trough-1": "closed", "trough-2": "flickers"}),
        (Conditions(), {"launcher-ball": "open"}),
    ]
    found = sheets.read(SAMPLE, sheets_out.toml(said).encode(), "seen.toml", NOTHING)
    assert [(one.conditions, one.observation.looked_at()) for one in found] == said
