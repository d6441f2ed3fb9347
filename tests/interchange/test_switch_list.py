"""Switch lists as people have them: every spelling, and every way to get one wrong."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.interchange.lines import LONGEST_LINE
from simrig.interchange.switch_list import Listed, SwitchList, identifiers, read
from simrig.profile.keys import IDENTIFIER

SWITCHES = [
    (column, row, 10 * column + row, name, f"green-{wire}")
    for column, row, name, wire in (
        (1, 1, "start button", "brown"), (1, 2, "coin chute left", "red"), (1, 3, "slam tilt", "orange"),
        (2, 1, "left outlane", "brown"), (2, 2, "ramp entry", "red"), (2, 3, "launcher", "orange"),
        (3, 1, "trough 1", "brown"), (3, 2, "trough 2", "red"), (3, 3, "trough 3", "orange"),
    )
]  # fmt: skip


def found(text: str | bytes) -> SwitchList:
    data = text.encode() if isinstance(text, str) else text
    return read(data, "list.csv")


def faults(listed: SwitchList) -> list[tuple[int | None, str]]:
    return [(one.line, one.where) for one in listed.problems]


@pytest.mark.parametrize("mark", [",", ";", "\t", "|", "   "])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("headed", [True, False])
def test_a_table_with_any_separator_reads_the_same(mark: str, end: str, headed: bool) -> None:
    """Number, column, row, name and wire come out of a table, with headings or without."""
    lines = [mark.join(map(str, (n, c, r, name, wire))) for c, r, n, name, wire in SWITCHES]
    if headed:
        lines.insert(0, mark.join(("No.", "Column", "Row", "Switch", "Wire colour")))
    listed = found("\ufeff" + end.join(lines) + end)
    assert listed.problems == ()
    got = [(one.number, str(one.address), one.name, one.wire) for one in listed.switches]
    assert got == [(n, f"column {c} row {r}", name, wire) for c, r, n, name, wire in SWITCHES]


@pytest.mark.parametrize("headings", ["Sw. No.;Col;Row;Description;Wire colour", "#;COLUMN;ROW;Switch;Colour",
                                      "switch_number;Column no.;Row no.;Function;Wires"])  # fmt: skip
def test_headings_as_manuals_word_them(headings: str) -> None:
    """Abbreviated, with points, in capitals, with underscores."""
    lines = [f"{n};{c};{r};{name};{wire}" for c, r, n, name, wire in SWITCHES]
    listed = found("\n".join([headings, *lines]))
    assert (listed.problems, listed.notes) == ((), ())
    assert [(one.number, one.wire) for one in listed.switches] == [(s[2], s[4]) for s in SWITCHES]


@pytest.mark.parametrize("start", ["{n} {name}", "{n}. {name}", "{n}: {name} ({wire})", "#{n} {name}",
                                   "{n}) {name} {wire}", "column {c} row {r}: {name}", "c{c}r{r} {name}",
                                   "Col. {c}, Row {r} - {name}", "{name}"])  # fmt: skip
def test_one_switch_a_line_in_many_spellings(start: str) -> None:
    """A number or an address before the name, colours behind it."""
    listed = found("\n".join(start.format(c=c, r=r, n=n, name=name, wire=wire)
                             for c, r, n, name, wire in SWITCHES))  # fmt: skip
    assert listed.problems == ()
    for (column, row, number, name, wire), one in zip(SWITCHES, listed.switches, strict=True):
        assert one.name == name
        assert one.number == (number if "{n}" in start else None)
        assert str(one.address) == (f"column {column} row {row}" if "{c}" in start else "None")
        assert one.wire == (wire if "{wire}" in start else "")


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("mark", ["\t", ";"])
def test_a_grid_pasted_from_a_spreadsheet(turned: bool, mark: str) -> None:
    """Columns across and rows down, or the other way round; wires beside the labels; holes are
    unused crossings."""
    across, down = ("Row", "Column") if turned else ("Column", "Row")
    lines = [
        mark.join(
            [
                "",
                *(f"{across} {n} (blue-{w})" for n, w in enumerate(("red", "tan"), 1)),
                f"{across} 3",
            ]
        )
    ]
    for along in (1, 2, 3):
        cells = [f"{down} {along}"]
        for over in (1, 2, 3):
            column, row = (along, over) if turned else (over, along)
            name = next(s[3] for s in SWITCHES if s[:2] == (column, row))
            cells.append("" if name == "ramp entry" else name)
        lines.append(mark.join(cells))
    listed = found("\n".join(lines))
    assert listed.problems == ()
    got = {(one.name, str(one.address)) for one in listed.switches}
    assert got == {(s[3], f"column {s[0]} row {s[1]}") for s in SWITCHES if s[3] != "ramp entry"}
    assert (listed.row_wires if turned else listed.column_wires) == {1: "blue-red", 2: "blue-tan"}


def test_a_grid_whose_cells_carry_numbers_over_two_lines() -> None:
    """A spreadsheet quotes a cell with a line break in it."""
    listed = found('\t1\t2\n1\t"11\nstart button"\t21 left lane\n2\t12 tilt\t22 right lane\n')
    assert [(one.number, one.name, str(one.address)) for one in listed.switches] == [
        (11, "start button", "column 1 row 1"), (21, "left lane", "column 2 row 1"),
        (12, "tilt", "column 1 row 2"), (22, "right lane", "column 2 row 2"),
    ]  # fmt: skip


def test_a_grid_of_names_alone_is_counted_from_the_corner_and_said_to_be_assumed() -> None:
    """Nothing is taken silently: a note, and a reason for the profile."""
    listed = found("a,b,c,d\ne,f,,h\n")
    assert {one.name: str(one.address) for one in listed.switches} == {
        "a": "column 1 row 1", "b": "column 2 row 1", "c": "column 3 row 1", "d": "column 4 row 1",
        "e": "column 1 row 2", "f": "column 2 row 2", "h": "column 4 row 2",
    }  # fmt: skip
    assert "no headings" in listed.notes[0].message
    assert listed.layout_assumed


def test_a_title_above_and_columns_of_another_kind_are_left_out_and_said_so() -> None:
    """A title line, and a column of remarks, cost no switch."""
    listed = found("Switch matrix;;\nNo.;Name;Remarks\n31;trough 1;see page 4\n32;trough 2;\n")
    assert [(one.number, one.name) for one in listed.switches] == [
        (31, "trough 1"),
        (32, "trough 2"),
    ]
    assert [note.message.split(" is left out")[0] for note in listed.notes] == [
        '"Switch matrix;;"', 'column "Remarks"']  # fmt: skip


BROKEN = """\
number,name,wire
31,trough 1,green-brown
32,trough 2,green-red
32,trough 2 again,green-red
34,,green-yellow
thirty,trough 5,green
36;launcher;green-blue
37,left lane
38,right lane,green,extra
41,"jam, upper",white
42,unused,
43,ramp,red
"""


@pytest.mark.parametrize("dress", ["{}", "\ufeff{}", "crlf"])
def test_one_message_a_fault_with_its_line_and_the_good_lines_kept(dress: str) -> None:
    """Doubled, nameless, not a number, another separator, too few cells, too many."""
    text = BROKEN.replace("\n", "\r\n") if dress == "crlf" else dress.format(BROKEN)
    listed = found(text)
    assert faults(listed) == [(4, "number"), (5, "name"), (6, "number"), (7, "columns"),
                              (8, "columns"), (9, "columns")]  # fmt: skip
    assert [one.number for one in listed.switches] == [31, 32, 41, 43]
    words = [one.message for one in listed.problems]
    assert "line 3" in words[0]
    assert "semicolons" in words[3]
    assert "found 2 columns; wanted 3" in words[4]
    assert "found 4 columns; wanted 3" in words[5]


def test_an_address_twice_or_half_is_named() -> None:
    """Two switches cannot lie at one crossing, and a crossing has two lines."""
    listed = found("column,row,name\n3,1,trough 1\n3,,trough 2\n3,1,trough 3\n70,1,far off\n")
    assert faults(listed) == [(3, "row"), (4, "address"), (5, "column")]
    assert [one.name for one in listed.switches] == ["trough 1"]


def test_a_grid_with_a_bad_row_keeps_the_others() -> None:
    """A row without its number, one too long, one twice."""
    listed = found(";1;2;3\n1;a;b;c\nx;d;e;f\n2;g;h;i;j\n1;k;l;m\n4;n;;o\n")
    assert faults(listed) == [(3, "row"), (4, "columns"), (5, "row")]
    assert [one.name for one in listed.switches] == ["a", "b", "c", "n", "o"]


def test_a_number_left_out_inside_a_run_is_noted_and_no_fault() -> None:
    """Manuals leave unused positions out; the next ten is no gap."""
    listed = found("31 a\n32 b\n34 c\n41 d\n")
    assert listed.problems == ()
    ((line, message),) = [(note.line, note.message) for note in listed.notes]
    assert (line, message[:2]) == (3, "33")


def test_a_byte_that_is_no_text_costs_its_line_only() -> None:
    """Lines before and after a broken one are kept; UTF-16 with its mark is read."""
    assert faults(found(b"31,a\n32,\xe9\n33,c\n")) == [(2, "line")]
    assert [one.number for one in found("31,a\n32,b\n".encode("utf-16")).switches] == [31, 32]


@pytest.mark.parametrize("text", ["", "\n \n", "# only a remark\n", "number,name\n"])
def test_an_empty_list_is_a_fault(text: str) -> None:
    """Nothing on the list is said, and how a line should look."""
    assert "wanted lines such as" in found(text).problems[0].message


def told(text: str) -> list[tuple[int | None, str, str]]:
    return [(one.line, one.where, one.message) for one in found(text).problems]


def notes(listed: SwitchList) -> list[str]:
    return [one.message for one in listed.notes]


def test_names_alike_are_told_apart() -> None:
    """Names that come out alike get their number, or the next free count."""
    listed = [
        Listed(line=line, name=name, number=number)
        for line, (name, number) in enumerate(
            [("trough", 31), ("Trough!", 32), ("trough", None), ("trough 32", None),
             ("trough", None), ("trough", 32), ("7", None), ("7", 7), ("?", None)], 1,
        )
    ]  # fmt: skip
    assert identifiers(listed) == (
        "trough", "trough-32", "trough-2", "trough-32-2", "trough-3", "trough-4",
        "switch-7", "switch-7-7", "switch-9",
    )  # fmt: skip


def test_a_list_longer_than_a_profile_is_cut_with_a_word() -> None:
    """512 switches are kept; each one more is told."""
    lines = [f"{number},lane of {number} kinds" for number in range(1, 515)]
    listed = found("\n".join(lines))
    assert len(listed.switches) == 512
    assert [one.line for one in listed.problems] == [513, 514]
    assert listed.problems[0].message == "more than 512 switches; take some out"


def test_a_line_too_long_costs_itself_only() -> None:
    """A line past its bound is told; the others are kept."""
    listed = found(f"31,trough 1\n32,{'x' * LONGEST_LINE}\n33,trough 3\n")
    assert faults(listed) == [(2, "line")]
    assert listed.problems[0].message == f"found more than {LONGEST_LINE} bytes in a line"
    assert [one.number for one in listed.switches] == [31, 33]


def test_typed_lines_among_numbered_ones() -> None:
    """Where most lines begin with a number, a line without one is told; headings are none."""
    assert told("no. name\n31 a\n32 b\nswitch\nthe next\n33 c\n34 d\n35 e\n") == [
        (5, "number", 'found "the next"; wanted its number or address before the name')
    ]


def test_addresses_in_cells_of_their_own() -> None:
    """An address in a cell is one, whatever stands in the others; a bad one is told."""
    rows = "column 1 row 1;trough 1\ncolumn 1 row 2;trough 2\n"
    assert [str(one.address) for one in found(rows).switches] == [
        "column 1 row 1", "column 1 row 2",
    ]  # fmt: skip
    wired = found("column 1 row 1,trough 1,red\ncolumn 1 row 2,trough 2,tan\n")
    assert [(one.name, one.wire) for one in wired.switches] == [
        ("trough 1", "red"), ("trough 2", "tan"),
    ]  # fmt: skip
    headed = "address;name\nc1r1;trough 1\nc1;trough 2\ndirect 4;door\n;free\n"
    listed = found(headed)
    assert [(one.name, str(one.address)) for one in listed.switches] == [
        ("trough 1", "column 1 row 1"), ("door", "direct 4"), ("free", "None"),
    ]  # fmt: skip
    assert told(headed) == [
        (
            3,
            "address",
            'found "c1"; wanted "column 3 row 4", "direct 5" or an input board and number such as '
            '"node-a 7"',
        )
    ]


def test_numbers_and_names_in_one_cell() -> None:
    """A number may stand before the name or behind it in brackets; a cell without one is told."""
    text = "name,wire\n31 trough 1,red\ntrough 2 (32),tan\n33. ramp,blue\n34: jam,red\nlost,red\n"
    listed = found(text)
    assert [(one.number, one.name) for one in listed.switches] == [
        (31, "trough 1"), (32, "trough 2"), (33, "ramp"), (34, "jam"),
    ]  # fmt: skip
    assert told(text) == [(6, "number", 'found "lost"; wanted its number before the name')]


@pytest.mark.parametrize(
    ("rows", "note", "numbers"),
    [
        ("{c},{r},{name}", "no headings: taken as column, then row", False),
        ("{c},{r},{n},{name}", "no headings: taken as column, row, then number", True),
        ("{n},{r},{c},{n},{name}",
         "no headings: the first is taken as the number, others left out", True),
    ],
)  # fmt: skip
def test_numbers_without_headings(rows: str, note: str, numbers: bool) -> None:
    """Which column of figures is which is told by what repeats, and said to be taken so."""
    lines = [rows.format(c=c, r=r, n=n, name=name) for c, r, n, name, _ in SWITCHES]
    listed = found("\n".join(lines))
    assert listed.problems == ()
    assert note in notes(listed)
    assert [one.number for one in listed.switches] == [
        s[2] if numbers else None for s in SWITCHES
    ]  # fmt: skip
    if "number, others" not in note and "others left" not in note:
        assert [str(one.address) for one in listed.switches] == [
            f"column {s[0]} row {s[1]}" for s in SWITCHES
        ]


def test_headings_that_do_not_fit_their_columns() -> None:
    """Figures under a heading for names are numbers; of two columns of one kind the first counts;
    empty cells at the end of a line are none."""
    listed = found("switch,name,name\n31,trough 1,old\n32,trough 2,older,,\n")
    assert [(one.number, one.name) for one in listed.switches] == [
        (31, "trough 1"), (32, "trough 2"),
    ]  # fmt: skip
    assert notes(listed) == ['column "name" is left out: it is no number, name, address or wire']


def test_wires_of_lines_in_columns_of_their_own() -> None:
    """The wire of a column or a row is kept for its line, the first that is given."""
    listed = found(
        "column,row,name,column wire,row wire\n1,1,a,red,tan\n1,2,b,red,\n2,1,c,blue,tan\n"
    )
    assert (listed.column_wires, listed.row_wires) == ({1: "red", 2: "blue"}, {1: "tan"})


def test_a_grid_with_its_wires_in_a_line_and_a_column() -> None:
    """A line and a column of colours are the wires; empty cells at the end are none."""
    listed = found(
        ",wire,1,2,3\nwire,,red,blue,\n1,(tan),trough 1,trough 2,jam\n2,white,ramp,lane,exit,,\n"
    )
    assert listed.problems == ()
    assert (listed.column_wires, listed.row_wires) == (
        {1: "red", 2: "blue"}, {1: "tan", 2: "white"},
    )  # fmt: skip
    assert {one.name: str(one.address) for one in listed.switches} == {
        "trough 1": "column 1 row 1", "trough 2": "column 2 row 1", "jam": "column 3 row 1",
        "ramp": "column 1 row 2", "lane": "column 2 row 2", "exit": "column 3 row 2",
    }  # fmt: skip


def test_figures_that_repeat_head_no_grid() -> None:
    """A first line with one figure twice is a line of a table."""
    listed = found("31,1,1\n32,1,2\n33,2,1\n")
    assert [one.number for one in listed.switches] == []
    assert told("31,1,1,a\n32,1,2,b\n33,2,1,c\n") == []


@given(
    st.binary(max_size=400)
    | st.text(alphabet='31,;\t|"\n\r ab#rowcl-', max_size=200).map(str.encode)
)
def test_whatever_comes_is_read_without_a_crash(data: bytes) -> None:
    """Problems have lines that exist; numbers, addresses and names are unique."""
    listed = read(data, "x")
    lines = len(re.split(rb"\r\n|\n|\r", data)) + data.count(b"\0")
    assert all(one.line is None or 1 <= one.line <= max(lines, 1) for one in listed.problems)
    numbers = [one.number for one in listed.switches if one.number is not None]
    assert len(set(numbers)) == len(numbers)
    names = identifiers(listed.switches)
    assert len(set(names)) == len(names)
    assert all(IDENTIFIER.match(name) for name in names)
