"""Event logs as CSV."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.interchange.logs import Event, read_csv, write_csv
from tests.interchange.logging_cases import changes, cut, told


def events(text, **options):
    """Read a log to its end."""
    data = text if isinstance(text, bytes) else text.encode()
    return list(read_csv(cut(data, 5, 1, 13), file="run.csv", **options))


def problems(text, **options):
    """Return the problems of a log, one a line."""
    data = text if isinstance(text, bytes) else text.encode()
    return told(read_csv([data], file="run.csv", **options)).split("\n")


A_CLOSES = [Event(time_ms=12.5, signal="trough-1", reading="closed")]


@pytest.mark.parametrize(
    "text",
    [
        "12.5,trough-1,closed",
        "time,sensor,reading\r\n12.5,trough-1,closed\r\n",
        b"\xef\xbb\xbf12.5,trough-1,closed\n",
        "# a run\n\n  12.5 , trough-1 , CLOSED \n",
        "Reading;Time;Sensor\nClosed;12,5;trough-1\n",
        "state\tnote\tt [ms]\tswitch\nShut\tx\t1.25e1\ttrough-1\n",
        "Timestamp_us,Signal,Value\n12500,trough-1,close\n",
        "time (s),name,state\n.0125,trough-1,closed\n",
        '"12.5","trough-1","closed"\n',
    ],
)
def test_forms_of_one_event(text):
    """Header or none, any order of columns, marks, blanks, capitals: the same event."""
    assert events(text) == A_CLOSES


@pytest.mark.parametrize(("unit", "time"), [("us", "12500"), ("ms", "12.5"), ("s", "0.0125")])
def test_time_units(unit, time):
    """A stated unit is that of the times."""
    assert events(f"{time},trough-1,closed\n", time_unit=unit) == A_CLOSES
    assert events(f"time_{unit},sensor,reading\n{time},trough-1,closed\n") == A_CLOSES


def test_order_without_times():
    """Two columns are an order without times, with a header or without."""
    plain = events("a,closed\nb,open\n")
    assert plain == [Event(signal="a", reading="closed"), Event(signal="b", reading="open")]
    assert events("reading,sensor\nclosed,a\nopen,b\n") == plain
    assert events("time,sensor,reading\n,a,closed\n,b,open\n") == plain


def test_lines_are_told():
    """Each event knows the line on which it stands."""
    assert [event.line for event in events("# x\n\n1,a,closed\n2,a,open\n")] == [3, 4]


def test_coils_and_levels():
    """A coil is on or off; 1 and 0 are taken where it is said what they mean."""
    text = "1,kicker,1\n2,a,1\n3,a,Low\n4,kicker,off\n"
    assert [event.reading for event in events(text, coils=["kicker"], one_is="closed")] == [
        "on",
        "closed",
        "open",
        "off",
    ]
    assert [event.reading for event in events(text, coils=["kicker"], one_is="open")] == [
        "on",
        "open",
        "closed",
        "off",
    ]


def test_a_level_alone_is_refused():
    """A log of ones and zeros does not say which is closed."""
    assert problems("1,a,1\n") == [
        "run.csv:1: reading: found '1'; wanted closed or open, or on or off for a coil:"
        " 1 alone does not say which, so say what 1 means"
    ]


def test_every_malformed_line_is_told():
    """One reading tells all that is wrong, each with its line."""
    text = (
        "time,sensor,reading\n"
        "1,a,closed\n"
        "2,a\n"
        "x,a,open\n"
        "nan,a,open\n"
        "1_0,a,open\n"
        "3,,open\n"
        '4,"a,open\n'
        "5,a,blocked\n"
        ",a,open\n"
        "9,a,open\n"
        "8,a,closed\n"
        "1e13,a,open\n"
    )
    assert [line.split(";")[0] for line in problems(text)] == [
        "run.csv:3: row: found 2 columns",
        "run.csv:4: time: found 'x'",
        "run.csv:5: time: found 'nan'",
        "run.csv:6: time: found '1_0'",
        "run.csv:7: sensor: found ''",
        "run.csv:8: row: cannot read '4,\"a,open'",
        "run.csv:9: reading: found 'blocked'",
        "run.csv:10: time: found a row with a time among rows without, or the reverse",
        "run.csv:12: time: found 8 ms after 9 ms",
        "run.csv:13: time: found '1e13'",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "run.csv:1: log: found no rows; wanted time,sensor,reading"),
        ("# only a note\n", "run.csv:1: log: found no rows; wanted time,sensor,reading"),
        ("time,sensor\n1,a\n", "run.csv:1: header: found the columns 'time, sensor'; wanted"),
        ("tiem,sensor,reading\n", "run.csv:1: header: found the columns 'tiem, sensor, reading'"),
        ("1,2,a,closed\n", "run.csv:1: row: found 4 columns in '1,2,a,closed'; wanted"),
        ("a,b,c,d\n", "run.csv:1: row: found 4 columns in 'a,b,c,d'; wanted time,sensor"),
    ],
)
def test_files_that_are_no_log(text, message):
    """A file without rows or with other columns is one problem."""
    found = problems(text)
    assert len(found) == 1
    assert found[0].startswith(message)


def test_two_units_are_refused():
    """The header's unit and another one stated beside it do not go together."""
    text = "time_us,sensor,reading\n1,a,open\n"
    assert problems(text, time_unit="s") == [
        "run.csv:1: header: found times in us; wanted s, as stated beside the log:"
        " leave that out, or mend the header"
    ]


def test_good_lines_come_before_the_error():
    """Events are handed out as they are read; what is wrong is raised at the end."""
    reader = read_csv([b"1,a,closed\n", b"2,a,blocked\n", b"3,a,open\n"], file="run.csv")
    assert next(reader).time_ms == 1
    assert next(reader).time_ms == 3
    assert "run.csv:2: reading" in told(reader)


@given(changes(), st.integers(1, 50))
def test_what_is_written_is_read(written, size):
    """Events with any names and times come back equal."""
    data = b"".join(write_csv(written))
    assert list(read_csv(cut(data, size), file="run.csv")) == written


@given(changes())
def test_an_order_written_is_read(timed):
    """Events without times come back equal."""
    written = [Event(signal=event.signal, reading=event.reading) for event in timed]
    assert list(read_csv(write_csv(written), file="run.csv")) == written


def test_bytes_written():
    """The bytes are those of RFC 4180, with a header and CRLF. Source: RFC (FMT-05)."""
    written = [
        Event(time_ms=0, signal="trough-1", reading="closed"),
        Event(time_ms=12.25, signal='a "b", c', reading="off"),
    ]
    assert b"".join(write_csv(written)) == (
        b'time,sensor,reading\r\n0,trough-1,closed\r\n12.25,"a ""b"", c",off\r\n'
    )
    numbered = [Event(signal="#7", reading="open")]
    assert b"".join(write_csv(numbered)) == b'sensor,reading\r\n"#7",open\r\n'
    assert list(read_csv(write_csv(numbered), file="run.csv")) == numbered
    assert b"".join(write_csv([])) == b"time,sensor,reading\r\n"


def test_a_log_that_cannot_be_is_not_written():
    """Times out of order, or in some events only, are refused."""
    early = Event(time_ms=1, signal="a", reading="open")
    late = Event(time_ms=2, signal="a", reading="open")
    bare = Event(signal="a", reading="open")
    with pytest.raises(ValueError, match="wanted order of time"):
        list(write_csv([late, early]))
    with pytest.raises(ValueError, match="wanted a time in every event or in none"):
        list(write_csv([early, bare]))


@pytest.mark.parametrize("rows", [998, 999, 1_000, 2_500])
def test_a_long_log_goes_out_in_pieces(rows):
    """A log of many rows is written piece by piece, none of them empty, and is read again whole."""
    run = [Event(time_ms=float(turn), signal="a", reading="open") for turn in range(rows)]
    pieces = list(write_csv(run))
    assert [piece.count(b"\n") for piece in pieces] == [
        *[1000] * ((rows + 1) // 1000), *([(rows + 1) % 1000] if (rows + 1) % 1000 else []),
    ]  # fmt: skip
    assert list(read_csv(pieces, file="run.csv")) == run
