"""Event logs as value change dumps."""

import builtins
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcdvcd import VCDVCD

from simrig.errors import InputError
from simrig.interchange.logs import Event, read_log, read_vcd, write_vcd
from simrig.interchange.vcdlog import identifier, name_of
from tests.interchange.logging_cases import COILS, PLACES, changes, cut, names, told

HEAD = (
    "$timescale 1 us $end\n$scope module board $end\n$var wire 1 ! sw_A $end\n"
    "$var wire 1 % kicker $end\n$upscope $end\n$enddefinitions $end\n"
)


def events(text, **options):
    """Read a dump to its end."""
    return list(read_vcd(cut(text.encode(), 7, 2), file="run.vcd", **options))


def written(run, **options):
    """Write a run of the demonstration signals."""
    return b"".join(
        write_vcd(run, machine="tidal-clockwork", places=PLACES, coils=COILS, **options)
    )


def test_bytes_written():
    """A dump has scopes for machine and place, all values unknown at first, then changes."""
    run = [
        Event(time_ms=0, signal="trough-1", reading="closed"),
        Event(time_ms=12.5, signal="kicker", reading="on"),
        Event(time_ms=12.5, signal="trough-1", reading="open"),
    ]
    assert written(run, end_ms=20).decode().split("\n") == [
        "$comment 1 is closed or on, 0 is open or off $end",
        "$timescale 1 us $end",
        "$version simrig event log $end",
        "$scope module tidal_clockwork $end",
        "$var wire 1 # _2_lane $end",
        "$var reg 1 % kicker $end",
        "$scope module trough $end",
        "$var wire 1 ! trough_1 $end",
        '$var wire 1 " trough_2 $end',
        "$upscope $end",
        "$scope module upper_lock $end",
        "$var wire 1 $ lock_a $end",
        "$upscope $end",
        "$upscope $end",
        "$enddefinitions $end",
        "#0",
        "$dumpvars",
        "x!",
        'x"',
        "x#",
        "x$",
        "x%",
        "$end",
        "1!",
        "#12500",
        "1%",
        "0!",
        "#20000",
        "",
    ]


def test_what_is_written_keeps_the_order_of_the_standard():
    """Declarations, $enddefinitions, then commands, times and values. Source: V182 (FMT-03)."""
    run = [
        Event(time_ms=number, signal="trough-1", reading=("closed", "open")[number % 2])
        for number in range(9)
    ]
    head, _, body = written(run, end_ms=9).decode().partition("$enddefinitions $end\n")
    declared = re.findall(r"^(\$\w+) .* \$end$", head, re.MULTILINE)
    assert len(declared) == head.count("\n") - head.count("$upscope $end")
    assert set(declared) == {"$comment", "$scope", "$timescale", "$var", "$version"}
    line = r"(#[0-9]+|[01xXzZ][!-~]+|\$dumpvars|\$end)\n"
    assert re.fullmatch(f"({line})+", body)
    assert body.count("$dumpvars\n") == body.count("$end\n") == 1


@given(changes(signals=(*PLACES, *COILS), on_a_grid=True), st.integers(1, 60))
def test_what_is_written_is_read(run, size):
    """Events come back equal, in their order, however the file is cut."""
    data = written(run)
    assert list(read_vcd(cut(data, size), file="run.vcd")) == run
    assert list(read_log(cut(data, size), file="run")) == run


@given(changes(signals=(*PLACES, *COILS), on_a_grid=True))
def test_vcdvcd_reads_what_is_written(run):
    """vcdvcd finds the same changes at the same times. Source: vcdvcd."""
    theirs = VCDVCD(vcd_string=written(run).decode())
    assert theirs.timescale["timescale"] == theirs.timescale["factor"]
    assert theirs.timescale["unit"] == "us"
    for name in (*PLACES, *COILS):
        place = PLACES.get(name)
        path = ".".join(
            ["tidal_clockwork", *([identifier(place)] if place else []), identifier(name)]
        )
        ours = [
            (round(event.time_ms * 1000), "1" if event.reading in ("closed", "on") else "0")
            for event in run
            if event.signal == name
        ]
        assert [(time, value) for time, value in theirs[path].tv if value != "x"] == ours


@given(st.data())
def test_any_names_come_back(data):
    """Names of any letters come back from their identifiers."""
    run = data.draw(changes(on_a_grid=True))
    places = {event.signal: "trough" for event in run}
    dump = write_vcd(run, machine="orchard-signal", places=places)
    assert list(read_vcd(dump, file="run.vcd")) == run


@given(names, names)
def test_identifiers_tell_names_apart(one, other):
    """An identifier is a simple one of the standard, and gives its name back."""
    word = identifier(one)
    assert word.isascii()
    assert word[0] == "_" or word[0].isalpha()
    assert word.replace("_", "").replace("$", "").isalnum() or set(word) <= {"_"}
    assert name_of(word) == one
    assert (word == identifier(other)) == (one == other)


def test_a_repeated_reading_is_left_out():
    """A dump holds changes only."""
    run = [
        Event(time_ms=time, signal="trough-1", reading=reading)
        for time, reading in ((1, "closed"), (2, "closed"), (3, "open"))
    ]
    assert [event.time_ms for event in read_vcd([written(run)], file="run.vcd")] == [1, 3]


def test_a_dump_of_another_program():
    """Names stay as they are; coils are those named; 1 is closed unless it is said to be open."""
    text = HEAD + "$dumpvars\nx!\nz%\n$end\n#1000 1! 1%\n#2500 0! 0%\n"
    assert events(text, coils=["kicker"]) == [
        Event(time_ms=1, signal="sw_A", reading="closed"),
        Event(time_ms=1, signal="kicker", reading="on"),
        Event(time_ms=2.5, signal="sw_A", reading="open"),
        Event(time_ms=2.5, signal="kicker", reading="off"),
    ]
    assert [event.reading for event in events(text, one_is="open")] == [
        "open",
        "open",
        "closed",
        "closed",
    ]


def test_what_is_no_sensor_is_left_out():
    """Signals of several bits, real numbers, texts and comments give no events."""
    text = HEAD.replace(
        "$upscope $end\n",
        "$var wire 8 & bus $end\n$var real 64 ' volts $end\n$upscope $end\n",
    )
    found = events(text + "#1\nb101 &\nr1.5 '\nsword '\n$comment x $end\nb1 !\n")
    assert [(event.signal, event.reading) for event in found] == [("sw_A", "closed")]


def test_signals_named_alike_go_by_their_scopes():
    """Two signals of one name are told apart by their scopes; one wire in two places is one."""
    text = (
        "$timescale 1 ms $end\n$scope module a $end\n$var wire 1 ! s $end\n"
        "$var wire 1 & t $end\n$upscope $end\n$scope module b $end\n$var wire 1 % s $end\n"
        "$var wire 1 & t $end\n$upscope $end\n$enddefinitions $end\n#1 1! 1% 1&\n"
    )
    assert [event.signal for event in events(text)] == ["a.s", "b.s", "t"]


def test_a_unit_stated_beside_a_dump_without_one():
    """Without a timescale the unit must be stated; with one it is the file's."""
    bare = HEAD.replace("$timescale 1 us $end\n", "") + "#3 1!\n"
    assert [event.time_ms for event in events(bare, time_unit="s")] == [3000]
    assert told(read_vcd([bare.encode()], file="run.vcd")).startswith(
        "run.vcd:1: $timescale: found none; wanted one"
    )
    assert [event.time_ms for event in events(HEAD + "#3 1!\n", time_unit="s")] == [0.003]


def test_what_is_wrong_is_raised_at_the_end():
    """Events before and after a malformed line come; then all problems are told."""
    text = HEAD + "#1 1!\n#2 0?\n#3 0!\n#2 1!\nh!\n"
    reader = read_vcd([text.encode()], file="run.vcd")
    assert [next(reader).time_ms for _ in range(3)] == [0.001, 0.003, 0.002]
    assert told(reader).split("\n") == [
        "run.vcd:8: change: found the code '?'; wanted one that $var declares",
        "run.vcd:10: time: found #2 after #3; wanted order of time",
        "run.vcd:11: sw_A: found h; wanted 0, 1, x or z",
    ]


def test_a_time_that_no_log_can_have():
    """A time beyond a thousand billion seconds is told at its line, and the others are read."""
    far = HEAD.replace("1 us", "1 s") + "#1 1!\n#2000000000000 0!\n"
    reader = read_vcd([far.encode()], file="run.vcd")
    assert next(reader).time_ms == 1000
    assert told(reader) == (
        "run.vcd:8: change: time_ms is 2e+15; wanted a number of -1e+15 or more and of at most 1e+15"
    )


def test_a_long_run_goes_out_in_pieces():
    """A run of many changes is written piece by piece, not kept, and is read again whole."""
    run = [
        Event(time_ms=float(turn), signal="trough-1", reading=("closed", "open")[turn % 2])
        for turn in range(20_000)
    ]
    pieces = list(write_vcd(run, machine="tidal-clockwork", places=PLACES, coils=COILS))
    assert len(pieces) > 2
    assert max(map(len, pieces)) < 2 * 65_536
    assert list(read_vcd(pieces, file="run.vcd", coils=COILS)) == run


def test_a_dump_without_sensors_is_refused():
    """A dump of wide signals only holds no log."""
    text = HEAD.replace("wire 1", "wire 4")
    assert told(read_vcd([text.encode()], file="run.vcd")).startswith(
        "run.vcd:1: $var: found no signal of one bit"
    )


@pytest.mark.parametrize(
    ("run", "message"),
    [
        ([Event(signal="trough-1", reading="open")], "wanted a time"),
        ([Event(time_ms=-1, signal="trough-1", reading="open")], "wanted a time of 0 ms or later"),
        ([Event(time_ms=1, signal="elsewhere", reading="open")], "that is declared"),
        ([Event(time_ms=1, signal="trough-1", reading="on")], "wanted a reading of a sensor"),
        ([Event(time_ms=1, signal="kicker", reading="open")], "wanted a reading of a sensor"),
    ],
)
def test_a_run_that_cannot_be_is_not_written(run, message):
    """Events without time, out of order, unknown, or of the wrong kind are refused."""
    with pytest.raises(ValueError, match=message):
        written(run)


def test_a_sensor_is_no_coil():
    """One name cannot be a sensor's and a coil's."""
    with pytest.raises(ValueError, match="found kicker as a sensor and as a coil"):
        list(write_vcd([], machine="m", places={"kicker": ""}, coils=["kicker"]))


def test_a_missing_package_names_the_line_that_installs_it(monkeypatch):
    """Without pyvcd both ways end with the line that installs it."""
    real = builtins.__import__

    def without_vcd(name, *rest, **more):
        if name.partition(".")[0] == "vcd":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without_vcd)
    for act in (
        lambda: list(read_vcd([HEAD.encode()], file="run.vcd")),
        lambda: list(write_vcd([], machine="m", places={})),
    ):
        with pytest.raises(InputError, match=r"pip install 'simrig\[vcd\]'"):
            act()
