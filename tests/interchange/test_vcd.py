"""Value change dumps as a format, against IEEE 1364, pyvcd and vcdvcd."""

import io

import pytest
from vcd.reader import tokenize
from vcd.writer import VCDPhaseError, VCDWriter
from vcdvcd import VCDVCD

from simrig.interchange.lines import Faults
from simrig.interchange.logs import write_vcd
from simrig.interchange.vcd import MOST_VARIABLES, Dump

# After the sample of the encyclopedia article on the format, from memory: the seven
# signals, their codes and all changes; the texts in the header are our own.  It meets
# every published figure about the sample.
SAMPLE = b"""\
$date
   a day of our own
$end
$version
   typed by hand
$end
$comment
   from memory
$end
$timescale 1ps $end
$scope module logic $end
$var wire 8 # data $end
$var wire 1 $ data_valid $end
$var wire 1 % en $end
$var wire 1 & rx_en $end
$var wire 1 ' tx_en $end
$var wire 1 ( empty $end
$var wire 1 ) underrun $end
$upscope $end
$enddefinitions $end
$dumpvars
bxxxxxxxx #
x$
0%
x&
x'
1(
0)
$end
#0
b10000001 #
0$
1%
0&
1'
0(
0)
#2211
0'
#2296
b0 #
1$
#2302
0$
#2303
"""

HEAD = b"$timescale 1 us $end\n$var wire 1 ! a $end\n$var wire 1 % b $end\n$enddefinitions $end\n"


def read(data):
    """Return a dump, its changes and its problems as (line, where)."""
    faults = Faults("run.vcd")
    dump = Dump([data], faults)
    changes = list(dump)
    return dump, changes, [(problem.line, problem.where) for problem in faults._kept]


def message(data):
    """Return the only problem of a dump as text."""
    faults = Faults("run.vcd")
    list(Dump([data], faults))
    assert faults.count == 1, faults._kept
    return str(faults._kept[0])


def test_sample_of_the_format():
    """Signals, times and changes of the published sample. Source: VWX (FMT-01)."""
    dump, changes, problems = read(SAMPLE)
    assert problems == []
    assert dump.tick == (1, 10**9)
    assert dump.ended_at == 2303
    names = {alike[0].name: code for code, alike in dump.variables.items()}
    assert len(names) == 7
    assert SAMPLE.count(b"\n#") == 5
    vectors = [change for change in changes if change.code == names["data"]]
    assert len(vectors) == 3
    assert len(changes) - len(vectors) == 15

    # The values of $dumpvars come first, at time 0.
    def of(name):
        return [[change.ticks, change.value] for change in changes if change.code == names[name]][
            1:
        ]

    assert of("data") == [[0, "10000001"], [2296, "0"]]
    assert of("data_valid") == [[0, "0"], [2296, "1"], [2302, "0"]]
    assert of("tx_en") == [[0, "1"], [2211, "0"]]


def test_vcdvcd_reads_the_sample_alike():
    """vcdvcd finds the same changes of every signal. Source: vcdvcd (FMT-01)."""
    dump, changes, _ = read(SAMPLE)
    theirs = VCDVCD(vcd_string=SAMPLE.decode())
    assert theirs.endtime == dump.ended_at
    assert set(theirs.data) == set(dump.variables)
    for code, signal in theirs.data.items():
        ours = [(change.ticks, change.value) for change in changes if change.code == code]
        assert ours == signal.tv


def test_lines_of_changes():
    """A change stands on the line on which it is written."""
    _, changes, _ = read(SAMPLE)
    text = SAMPLE.decode().split("\n")
    assert [text[change.line - 1][-1] for change in changes] == [change.code for change in changes]


def test_identifier_codes():
    """Codes of the 1st, 2nd, 94th, 95th and 96th signal. Source: V182 (FMT-02)."""
    places = {f"s-{number:03}": "trough" for number in range(1, 97)}
    dump, _, problems = read(b"".join(write_vcd([], machine="m", places=places)))
    assert problems == []
    codes = {alike[0].name: code for code, alike in dump.variables.items()}
    assert [codes[f"s_{number:03}"] for number in (1, 2, 94, 95, 96)] == [
        "!",
        '"',
        "~",
        "!!",
        '"!',
    ]


@pytest.mark.parametrize("number", [1, 10, 100])
@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns", "ps", "fs"])
def test_timescales_of_the_standard(number, unit):
    """1, 10 or 100 of a unit from s to fs. Source: V182 (FMT-04)."""
    data = HEAD.replace(b"1 us", f"{number} {unit}".encode())
    dump, _, problems = read(data)
    assert problems == []
    ms = {"s": 1e3, "ms": 1, "us": 1e-3, "ns": 1e-6, "ps": 1e-9, "fs": 1e-12}[unit]
    assert dump.tick[0] / dump.tick[1] == pytest.approx(number * ms, rel=1e-15)


def test_timescales_off_the_standard():
    """3 ns, which pyvcd takes, and 1 ks are refused with their line. Source: V182 (FMT-04)."""
    three = HEAD.replace(b"1 us", b"3 ns")
    assert len(list(tokenize(io.BytesIO(three)))) == 4
    assert message(three) == ("run.vcd:1: $timescale: found 3 ns; wanted 1, 10 or 100 of a unit")
    assert message(HEAD.replace(b"1 us", b"1 ks")).startswith("run.vcd:1: VCD: cannot read")
    assert message(HEAD.replace(b"1 us", b"1 as")).startswith("run.vcd:1: $timescale: found as;")


def test_time_goes_forward():
    """Time 5 then 4 is refused, as pyvcd's writer refuses it. Source: V182 (FMT-04)."""
    assert message(HEAD + b"#5\n1!\n#4\n0!\n") == (
        "run.vcd:7: time: found #4 after #5; wanted order of time"
    )
    writer = VCDWriter(io.StringIO(), date="")
    bit = writer.register_var("m", "a", "wire", 1)
    writer.change(bit, 5, 1)
    with pytest.raises(VCDPhaseError):
        writer.change(bit, 4, 0)


@pytest.mark.parametrize(
    ("data", "problems"),
    [
        (b"", [(1, "VCD")]),
        (b"qed\n", [(1, "VCD"), (1, "VCD")]),
        (HEAD[:50], [(3, "VCD"), (1, "VCD")]),
        (HEAD + b"#5\n1", [(6, "VCD")]),
        (HEAD + b"#5\nb1", [(6, "change"), (6, "VCD")]),
        (HEAD + b"$comment never closed\n#5\n1!\n", [(5, "VCD")]),
        (HEAD + b"1?\n1!\n", [(5, "change")]),
        (HEAD + b"#5 1% b\n\xff\n", [(5, "VCD"), (6, "VCD")]),
        (HEAD + b"$end\n", [(5, "$end")]),
        (HEAD + b"$dumpvars\n1!\n", [(1, "VCD")]),
        (HEAD + b"$var wire 1 + c $end\n", [(5, "$var")]),
        (HEAD + b"#99999999999999999999\n", [(5, "time")]),
        (HEAD + b"#" + b"9" * 5000 + b"\n1!\n", [(5, "VCD")]),
        (HEAD + b"1" + b"!" * 20_000 + b"\n1!\n", [(5, "line")]),
        (HEAD + b"$comment\n" + b"word word\n" * 8000 + b"$end\n", [(5, "statement")]),
        (HEAD + b"$comment\n" + b"word word\n" * 8000, [(5, "statement")]),
        (b"$upscope $end\n" + HEAD, [(1, "$upscope")]),
        (b"$scope module m $end\n" + HEAD, [(5, "$enddefinitions")]),
        (b"$timescale 1 us $end\n" + HEAD, [(2, "$timescale")]),
        (b"1!\n" + HEAD, [(1, "declarations")]),
        (b"$var wire 2 ! c $end\n" + HEAD, [(3, "$var")]),
    ],
)
def test_malformed_dumps(data, problems):
    """What is malformed is told by line and place."""
    assert read(data)[2] == problems


def test_reading_goes_on_after_what_is_malformed():
    """A statement that fails is told on the line where it starts; what follows is read."""
    data = (
        b"$timescale 1 us $end\n"
        b"$scope module m $end\n"
        b"$var wire 1 ! a\n"
        b"$var wire 1 % b $end\n"
        b"\n"
        b"$var\n"
        b"  wire one & c $end\n"
        b"$upscope $end\n"
        b"$enddefinitions $end\n"
        b"#5 1% q\n"
        b"0%\n"
    )
    dump, changes, problems = read(data)
    assert problems == [(3, "VCD"), (6, "VCD"), (10, "VCD")]
    assert [alike[0].name for alike in dump.variables.values()] == ["b"]
    assert [(change.ticks, change.value, change.line) for change in changes] == [
        (5, "1", 10),
        (5, "0", 11),
    ]


def test_letters_beyond_ascii_in_comments_only():
    """A comment or date may hold any letters; a name may not."""
    assert read("$date 1. März $end\n".encode() + HEAD)[2] == []
    assert read("$var wire 1 & tür $end\n".encode() + HEAD)[2] == [(1, "VCD")]


def test_too_many_signals_are_refused():
    """A dump may declare a bounded number of signals."""
    many = b"".join(b"$var wire 1 a%d s%d $end\n" % (n, n) for n in range(MOST_VARIABLES))
    _, _, problems = read(many + HEAD)
    assert problems == [(MOST_VARIABLES + 2, "$var"), (MOST_VARIABLES + 3, "$var")]
