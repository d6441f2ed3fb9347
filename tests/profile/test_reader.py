"""The reader: strict, complete, located, and one message for one fault."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from simrig.cli.main import main
from simrig.errors import Problem, ProfileError
from simrig.interchange.sheets import SheetFile
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.located import SIZE_LIMIT, locate
from simrig.profile.reader import examine, read
from simrig.profile.tables import MOST_FAULTS, read_table, where

ROOT = Path(__file__).parents[2]
BASE = (ROOT / "tests/vetting/data/LINE-03/sound.toml").read_text()

NAMED = 'id = "after-the-game"\nname = "lights are out"'


def _problems(text: str | bytes) -> list[Problem]:
    data = text if isinstance(text, bytes) else text.encode()
    return list(examine(data, "f.toml")[1])


def _changed(*pairs: tuple[str, str], text: str = BASE) -> str:
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def _line(text: str, wanted: str) -> int:
    (found,) = [n for n, line in enumerate(text.splitlines(), 1) if line == wanted]
    return found


def test_a_sound_file_is_read_whole() -> None:
    """A sound file gives its profile, with the line of each fact, and no problem."""
    profile, problems = examine(BASE.encode(), "f.toml")
    assert problems == ()
    assert profile is not None
    assert [place.capacity for place in profile.place] == [3, 1, 20]
    assert profile.origin.line(("balls", "store")) == _line(BASE, 'store = "trough"')


def test_a_byte_order_mark_and_windows_line_ends() -> None:
    """A byte order mark and Windows line ends change nothing."""
    data = b"\xef\xbb\xbf" + BASE.replace("\n", "\r\n").encode()
    assert read(data, "f.toml") == read(BASE.encode(), "f.toml")


def test_read_raises_with_every_problem() -> None:
    """Read raises once, with all problems, in the order of their lines."""
    text = _changed(("installed = 3", 'installed = "3"'), ('kind = "launcher"', 'kind = "lnchr"'))
    with pytest.raises(ProfileError) as raised:
        read(text.encode(), "f.toml")
    assert [one.line for one in raised.value.problems] == sorted(
        one.line or 0 for one in raised.value.problems
    )
    assert len(raised.value.problems) == 2


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("seats = 3", 'seats = "3"', 'found "3"; wanted a whole number from 1 to 20 or "any"'),
        ("seats = 3", "seats = 3.0", "found 3.0; wanted a whole number"),
        ("seats = 3", "seats = true", "found true; wanted a whole number"),
        ("installed = 3", "installed = 0", "wanted a whole number from 1 to 20"),
        ('at = ["trough.3"]', 'at = "trough.3"', "wanted a list in square brackets"),
        ('at = ["trough.3"]', "at = [3]", "wanted a position such as"),
        ('to = ["playfield"]', "to = []", "found an empty list"),
        ('by = "plunger"', 'by = "plunge"', 'did you mean "plunger"?'),
        ('id = "launch"', 'id = "launch"\ndated = "2025-01-31"', "wanted a date such as"),
        ('id = "launch"', 'id = "launch"\nname = " "', "found empty text"),
        ('id = "launch"', 'id = "launch"\nlength_mm = nan', "wanted a number"),
        ('id = "launch"', 'id = "launch"\nsource = 5', "wanted text in quotes"),
        ('id = "launch"', 'id = "launch"\nwhen = "open"', "wanted pairs in braces"),
        ('id = "launch"', 'id = "launch"\nassumed = { nme = "x" }', "no key of this table"),
        ('id = "launch"', 'id = "launch"\nassumed = { name = "x" }', "does not state it"),
        ('id = "launch"', 'id = "launch"\nassumed = { by = 5 }', "wanted text in quotes"),
    ],
)
def test_nothing_is_converted(old: str, new: str, says: str) -> None:
    """A value of the wrong type, bound or word is refused at its line, alone."""
    text = _changed((old, new))
    (found,) = _problems(text)
    assert says in found.message
    assert found.line == _line(text, new.splitlines()[-1])


def test_dates_and_facts_are_kept() -> None:
    """A day stays a day, an assumption its reason."""
    text = _changed(
        ('id = "launch"', 'id = "launch"\ndated = 2025-01-31\nassumed = { by = "it looks so" }')
    )
    route = read(text.encode(), "f.toml").route[1]
    assert (route.dated, route.assumption("by")) == (datetime.date(2025, 1, 31), "it looks so")


@pytest.mark.parametrize(
    ("pairs", "line", "says"),
    [
        # Rows that are lost, and everything that names them.
        ([('seats = 3', 'seats = "three"')], 'seats = "three"', "whole number"),
        ([('kind = "trough"\n', "")], None, 'the key "kind" is missing'),
        ([('[[place]]\nid = "trough"', '[[place]]\nidd = "trough"')], 'idd = "trough"', '"id"?'),
        ([('[[place]]\nid = "trough"', "[[place]]")], None, 'the key "id" is missing'),
        ([('[[place]]\nid = "trough"', '[[place]]\nid = "Trough"')], 'id = "Trough"', "letters"),
        ([('[[place]]\nid = "trough"', '[[place]]\nid = "trogh"')], 'id = "trogh"', "misspelt"),
        ([('[[place]]\nid = "trough"', '[[plaec]]\nid = "trough"')], None, '"place"?'),
        ([("[balls]", "[bals]")], "[bals]", 'did you mean "balls"?'),
        ([("installed = 3", "instaled = 3")], "instaled = 3", 'did you mean "installed"?'),
        ([("installed = 3", "installed = 4")], "installed = 4", "every row of the phases places 3"),
        ([('[[coil]]\nid = "kicker"', "[[coil]]\nid = 5")], "id = 5", "letters"),
        ([('format = 1', 'format = 1\ncoil = 5'), ('[[coil]]\nid = "kicker"\n\n', '')],
         "coil = 5", "a list of tables"),
        ([('position_1 = "exit end"', "jam = 1")], "jam = 1", "true or false"),
    ],
)  # fmt: skip
def test_one_fault_one_message(pairs: list[tuple[str, str]], line: str | None, says: str) -> None:
    """What only follows from a fault is not told: one message, at its line."""
    text = _changed(*pairs)
    (found,) = _problems(text)
    assert says in found.message
    if line is not None:
        assert found.line == _line(text, line)


def test_a_table_in_the_wrong_place_is_told_once() -> None:
    """A row that is no table keeps the rows after it on their lines."""
    text = "place = [1, { id = 'x', kind = 'hold', seats = 0 }]\n" + BASE.replace(
        BASE[BASE.index("[[place]]") : BASE.index("[[route]]")], ""
    )
    found = _problems(text)
    assert [(one.line, one.where) for one in found[:2]] == [(1, "place 1"), (1, "place x, seats")]


def test_wrong_members_do_not_shift_the_others() -> None:
    """After a wrong member of a list, the next is told at its own line and number."""
    text = _changed(('at = ["trough.3"]', 'at = [\n  "trough.1",\n  5,\n  "trough.9",\n]'))
    found = _problems(text)
    assert [(one.line, one.where) for one in found] == [
        (_line(text, "  5,"), "sensor trough-3, at 2"),
        (_line(text, '  "trough.9",'), "sensor trough-3, at 3"),
    ]


def test_lost_rows_do_not_shift_the_others() -> None:
    """A row without its kind leaves the next row's fault on its line."""
    text = _changed(('by = "plunger"\n', ""), ('from = "playfield"', 'from = "attic"'))
    found = _problems(text)
    assert [one.line for one in found] == [
        text[: text.index('id = "launch"\n')].count("\n"),
        _line(text, 'from = "attic"'),
    ]


def test_two_faults_two_messages() -> None:
    """A lost name excuses itself and no other."""
    text = _changed(
        ('[[place]]\nid = "launcher"', '[[place]]\nid = "Launcher"'),
        ('store = "trough"', 'store = "x"'),
    )
    assert [one.line for one in _problems(text)] == [
        _line(text, 'store = "x"'),
        _line(text, 'id = "Launcher"'),
    ]


def test_a_name_called_for_once_is_told_where_it_is_called() -> None:
    """One wrong call is told at the call, with what was meant; the row is not blamed."""
    text = _changed(('coil = "kicker"', 'coil = "kiker"'))
    (found,) = _problems(text)
    assert found.line == _line(text, 'coil = "kiker"')
    assert 'did you mean "kicker"?' in found.message


ROWS = {
    "place": (200, 'id = "p{0}"\nkind = "hold"\nseats = 1'),
    "route": (200, 'id = "r{0}"\nfrom = "trough"\nto = ["launcher"]\nby = "shot"'),
    "phase": (60, 'id = "q{0}"\nplacements = [{{ trough = 3 }}]'),
    "sensor": (512, 'id = "s{0}"\nkind = "button"\nat = "none"'),
    "fuse": (600, 'id = "f{0}"'),
}


@pytest.mark.parametrize("table", ROWS)
def test_bounds_of_tables(table: str) -> None:
    """A table at its bound is read; one row more is refused, once, at that row."""
    most, row = ROWS[table]
    there = BASE.count(f"[[{table}]]")
    rows = [f"[[{table}]]\n{row.format(n)}\n" for n in range(most - there)]
    text = BASE + "\n" + "\n".join(rows)
    assert _problems(text) == []
    over = text + f"\n[[{table}]]\n{row.format('last')}\n"
    (found,) = _problems(over)
    assert found.rule == "past-bound"
    assert f"found {most + 1} rows; at most {most} are allowed" in found.message
    assert found.line == over[: over.index(row.format("last"))].count("\n")


def test_a_row_past_the_bound_is_not_missed_by_others() -> None:
    """A name in a row past the bound is no unknown name elsewhere."""
    rows = "".join(f'\n[[fuse]]\nid = "f{n}"\n' for n in range(601))
    text = BASE + rows + '\n[[supply]]\nid = "low"\nfuse = "f600"\n'
    assert [one.rule for one in _problems(text)] == ["past-bound"]


def test_bound_of_the_file() -> None:
    """1 MiB is read; one byte more is refused."""
    padded = BASE.encode() + b"#" * (SIZE_LIMIT - len(BASE.encode()))
    assert _problems(padded) == []
    (found,) = _problems(padded + b"#")
    assert found.rule == "past-bound"
    assert f"found {SIZE_LIMIT + 1} bytes" in found.message


def test_bound_of_nesting() -> None:
    """Sixty brackets are TOML, if no fact; the sixty-first is refused for its depth."""
    (found,) = _problems("title = " + "[" * 60 + "]" * 60 + "\n" + BASE)
    assert found.rule == "wrong-value"
    (found,) = _problems("title = " + "[" * 61 + "]" * 61 + "\n" + BASE)
    assert found.rule == "past-bound"
    assert "deeper than 60" in found.message


def test_bound_of_balls() -> None:
    """Twenty balls are carried; twenty-one are refused at their line, and nothing else is."""
    many = BASE.replace("seats = 3", "seats = 20").replace("trough = 3 }", "trough = 20 }")
    many = many.replace("trough = 2,", "trough = 19,")
    assert _problems(many.replace("installed = 3", "installed = 20")) == []
    (found,) = _problems(many.replace("installed = 3", "installed = 21"))
    assert "from 1 to 20" in found.message


def test_very_many_faults_are_cut() -> None:
    """Past five hundred faults the reader stops and says so; cross-checks are left out."""
    text = "".join(f"key-{n} = 1\n" for n in range(MOST_FAULTS + 50)) + BASE
    found = _problems(text)
    assert len(found) == MOST_FAULTS + 1
    assert any("more than 500 faults" in one.message for one in found)
    at_once = BASE + "".join(
        '\n[[silence]]\nrule = "x"\nreason = "y"\nassumed = { a = "b" }\n'
        for _ in range(MOST_FAULTS)
    )
    assert len(_problems(at_once)) == MOST_FAULTS


def test_another_format_is_not_looked_into() -> None:
    """A later format is refused by its number; nothing else of it is judged by the cross-checks."""
    text = _changed(("format = 1", "format = 2"), ('store = "trough"', 'store = "x"'))
    profile, problems = examine(text.encode(), "f.toml")
    assert profile is None
    assert [one.line for one in problems] == [1]


def test_what_is_sound_is_there() -> None:
    """With problems the profile holds what can be read; without a required table there is none."""
    profile, problems = examine(_changed(('by = "plunger"', 'by = "x"')).encode(), "f.toml")
    assert profile is not None
    assert problems
    assert [route.id for route in profile.route] == ["serve", "drain"]
    assert examine(_changed(("installed = 3", "installed = 0")).encode(), "f.toml")[0] is None


def test_kinds_that_plugins_bring() -> None:
    """A kind of sensor that a plug-in brings is known where it is handed over."""
    text = _changed(('kind = "micro-switch"', 'kind = "reed"'))
    assert [one.rule for one in _problems(text)] == ["unknown-kind"]
    reed = SensorKind(id="reed", title="reed contact", technology="contact")
    assert read(text.encode(), "f.toml", kinds=(*SENSOR_KINDS, reed)).kinds[-1] == reed


def test_paths_in_words() -> None:
    """Rows are called by their id, or by their number; long and strange names are made plain."""
    data = {"place": [{"id": "trough"}, {"id": 5}, 7], "a\nb": 1, "x" * 99: 2}
    assert where(data, ("place", 0, "seats")) == "place trough, seats"
    assert where(data, ("place", 1, "seats")) == "place 2, seats"
    assert where(data, ("place", 2)) == "place 3"
    assert where(data, ("place", 9, "x")) == "place 10, x"
    assert where(data, ("a\nb",)) == "a\\nb"
    assert where(data, ("x" * 99,)) == "x" * 57 + "..."
    assert where(data, ()) == "profile"


def test_other_formats_keep_their_rows_apart() -> None:
    """A table read as a whole keeps each row's number, with something neutral in a lost one."""
    text = '[[sheet]]\nreadngs = 5\n[[sheet]]\nreadings = { a = "closed", b = 7 }\nballs = 99\n'
    table, problems = read_table(locate(text, "s.toml"), SheetFile)
    assert [(one.line, one.where) for one in problems] == [
        (2, "sheet 1, readngs"),
        (4, "sheet 2, readings, b"),
        (5, "sheet 2, balls"),
    ]
    assert [dict(sheet.readings) for sheet in table.sheet] == [{}, {"a": "closed"}]


def test_a_misspelt_table_of_nameless_rows() -> None:
    """Rows under a misspelt table that have no readable id excuse as many names."""
    text = _changed(('[[place]]\nid = "trough"', "[[plaec]]\nid = 5"))
    (found,) = _problems(text)
    assert found.where == "plaec"


def test_a_mechanism_without_states_asks_for_nothing() -> None:
    """Where the states of a mechanism are lost, no state that is asked for is called unknown."""
    gate = '\n[[mechanism]]\nid = "gate"\nkind = "gate"\nrest = "up"\n'
    text = _changed(('by = "plunger"', 'by = "plunger"\nwhen = { gate = "down" }')) + gate
    (found,) = _problems(text)
    assert found.where == "mechanism gate, states"


def test_a_wrong_member_deep_in_a_list() -> None:
    """A wrong number in one row of a phase is told at its place, and the other rows stay checked."""
    text = _changed(
        ("placements = [{ trough = 3 }]", "placements = [{ trough = 99, launcher = 1 }]"),
        ("{ trough = 2, launcher = 1 }", "{ trough = 2, attic = 1 }"),
        ("{ trough = 2, playfield = 1 }", '{ trough = "all" }'),
    )
    wanted = 'wanted a number of balls, a range such as "0-2", or "rest"'
    assert [(one.where, one.message) for one in _problems(text)] == [
        ("phase idle, placements 1, trough", f"found 99; {wanted}"),
        (
            "phase ready, placements 1, attic",
            'no place is called "attic"; add it to [[place]] or mend the name',
        ),
        ("phase play, placements 1, trough", f'found "all"; {wanted}'),
    ]
    profile = examine(text.encode(), "f.toml")[0]
    assert profile is not None
    assert [phase.placements for phase in profile.phase] == [
        ({"launcher": 1},),
        ({"trough": 2, "attic": 1},),
    ]


def test_a_misspelt_table_with_what_is_no_row() -> None:
    """Only rows lose a name: what is no table excuses nothing."""
    rows = "routte = [7, { id = 'serve', from = 'trough', to = ['launcher'], by = 'coil' }]\n"
    text = rows + BASE[: BASE.index("[[route]]")] + BASE[BASE.index("[[phase]]") :]
    assert [(one.line, one.message) for one in _problems(text)] == [
        (1, 'this key is not known; did you mean "route"?')
    ]


def test_a_phase_is_called_by_its_name_or_else_by_its_id(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An id is told without its dashes where the profile gives no name."""
    file = tmp_path / "m.toml"
    bare = _changed(('id = "idle"', 'id = "after-the-game"'))
    for text, words in (
        (bare, "Assumed: after the game,"),
        (_changed(('id = "after-the-game"', NAMED), text=bare), "Assumed: lights are out,"),
    ):
        file.write_text(text)
        assert main(["expect", str(file), "--phase", "after-the-game"]) == 0
        assert words in capsys.readouterr().out
