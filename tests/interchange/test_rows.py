"""Rows of a CSV file, against RFC 4180 and Python's csv module."""

import csv
import io

from hypothesis import given
from hypothesis import strategies as st

from simrig.interchange.lines import Faults
from simrig.interchange.rows import ROW_LINES, rows


def read(data, **options):
    """Return rows with their lines, and problems as (line, where)."""
    faults = Faults("x.csv")
    found = list(rows([data], faults, **options))
    return found, [(problem.line, problem.where) for problem in faults._kept]


def test_quoted_cells():
    """Cells may hold line breaks and doubled quotes. Source: RFC, from memory (FMT-05)."""
    data = b'"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n"aaa","b""bb","ccc"\r\n'
    found, problems = read(data)
    assert found == [
        (1, ["aaa", "b\r\nbb", "ccc"]),
        (3, ["zzz", "yyy", "xxx"]),
        (4, ["aaa", 'b"bb', "ccc"]),
    ]
    assert problems == []
    assert [row for _, row in found] == list(csv.reader(io.StringIO(data.decode(), newline="")))


cells = st.text(st.sampled_from('ab ,"\n\r#ü'), max_size=6)


@given(st.lists(st.lists(cells, min_size=2, max_size=2), max_size=6))
def test_what_csv_writes_is_read(table):
    """Rows that Python's csv module writes come back. Source: csv module."""
    sink = io.StringIO()
    csv.writer(sink, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(
        [[cell.replace("\r", "").strip() for cell in row] for row in table]
    )
    found, problems = read(b"first,row\n" + sink.getvalue().encode())
    assert problems == []
    assert [row for _, row in found][1:] == [
        [cell.replace("\r", "").strip() for cell in row] for row in table
    ]


def test_an_open_quote_costs_one_line():
    """A quote that is not closed is a problem of its line; the lines after it are read."""
    found, problems = read(b'a,b\n1,"c\n2,d\n3,e\n')
    assert found == [(1, ["a", "b"]), (3, ["2", "d"]), (4, ["3", "e"])]
    assert problems == [(2, "row")]


def test_two_lines_with_open_quotes_do_not_swallow_what_is_between():
    """Two stray quotes make no cell of all that is between them."""
    found, problems = read(b'a,b\n1,5" pipe\n2,d\n3,6" pipe\n4,e\n')
    assert [line for line, _ in found] == [1, 3, 5]
    assert problems == [(2, "row"), (4, "row")]


def test_a_row_may_run_over_a_bounded_number_of_lines():
    """A quoted cell ends within its bound, or its first line is a problem."""
    inside = b"\n" * ROW_LINES
    assert read(b'a,"' + inside + b'"\n') == (
        [(1, ["a", "\n" * ROW_LINES])],
        [],
    )
    found, problems = read(b'a,"' + inside + b'\n"\n')
    assert found == []
    assert problems == [(1, "row"), (ROW_LINES + 2, "row")]


def test_the_first_row_decides_the_delimiter():
    """Semicolons and tabs do as well as commas."""
    assert read(b"# a;b\n1,2;3\n4;5,6\n")[0] == [(2, ["1,2", "3"]), (3, ["4", "5,6"])]
    assert read(b"1\t2,5\n")[0] == [(1, ["1", "2,5"])]


def test_blank_lines_and_comments_are_left_out():
    """Comments count as rows only where they are none."""
    data = b"\n  # note\na,b\n\r\n"
    assert read(data) == ([(3, ["a", "b"])], [])
    assert read(data, comments=False)[0][0] == (2, ["  # note"])


def test_lines_that_are_no_text_are_problems():
    """Bytes that are no UTF-8, NUL, lone carriage returns and endless lines are told by line."""
    data = b"a,b\n\xe4,b\nc\0,d\ne\rf,g\n" + b"x" * 20_000 + b"\ny,z\n"
    found, problems = read(data)
    assert [line for line, _ in found] == [1, 6]
    assert problems == [(2, "line"), (3, "line"), (4, "line"), (5, "line")]


def test_utf_16_is_told_once():
    """A file in UTF-16 is one problem, not one a line."""
    assert read("a,b\nc,d\n".encode("utf-16"))[1] == [(1, "log")]
