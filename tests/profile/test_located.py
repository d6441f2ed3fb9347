"""TOML text into values with their lines."""

import re
import tomllib
from pathlib import Path

import attrs
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from simrig.errors import InputError, ProfileError
from simrig.profile.located import SIZE_LIMIT, decode, locate
from simrig.profile.positions import (
    BARE_LENGTH_LIMIT,
    NESTING_LIMIT,
    Array,
    Positions,
    Table,
)
from tests.profile.toml_documents import documents

SAMPLE = """\
# An invented machine.
title = "Basalt \\u0046reight"
balls = 6
measured = 1979-05-27 07:32:00
wiring.supply.volts = 12.0
wiring.supply."pin 1" = true

[place.trough]
spots = [
  "a", "b",   # [not a list]
  ['c', 'd'],
  { number = 3, note = "x = [1]" },
]
note = \"\"\"
[not.a.table]
no = "key"
\"\"\"

[[sensor]]
id = "trough-1"
  [sensor.address]
  column = 1
  [[sensor.link]]
  lead = 'red # not a remark'

[[sensor]]
id = "trough-2"
[[sensor.link]]
[[sensor.link]]
lead = "blue"

[place]
kept = false
"""

SAMPLE_LINES = {
    (): 1,
    ("title",): 2,
    ("measured",): 4,
    ("wiring",): 5,
    ("wiring", "supply"): 5,
    ("wiring", "supply", "volts"): 5,
    ("wiring", "supply", "pin 1"): 6,
    ("place",): 32,
    ("place", "trough"): 8,
    ("place", "trough", "spots"): 9,
    ("place", "trough", "spots", 0): 10,
    ("place", "trough", "spots", 1): 10,
    ("place", "trough", "spots", 2): 11,
    ("place", "trough", "spots", 2, 1): 11,
    ("place", "trough", "spots", 3): 12,
    ("place", "trough", "spots", 3, "note"): 12,
    ("place", "trough", "note"): 14,
    ("sensor",): 19,
    ("sensor", 0): 19,
    ("sensor", 0, "address"): 21,
    ("sensor", 0, "address", "column"): 22,
    ("sensor", 0, "link"): 23,
    ("sensor", 0, "link", 0, "lead"): 24,
    ("sensor", 1): 26,
    ("sensor", 1, "id"): 27,
    ("sensor", 1, "link"): 28,
    ("sensor", 1, "link", 0): 28,
    ("sensor", 1, "link", 1): 29,
    ("sensor", 1, "link", 1, "lead"): 30,
    ("place", "kept"): 33,
}


def refusal(text, **options):
    """The one problem that a text is refused with."""
    with pytest.raises(ProfileError) as caught:
        locate(text, "machine.toml", **options)
    (problem,) = caught.value.problems
    return problem


def paths(value, path=()):
    """Every path of parsed data."""
    yield path
    if isinstance(value, dict):
        for key, item in value.items():
            yield from paths(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from paths(item, (*path, index))


def same_structure(place, value):
    """Whether the locator found the tables and lists of the parsed data, and no others."""
    if isinstance(value, dict):
        return (
            isinstance(place, Table)
            and place.items.keys() == value.keys()
            and all(same_structure(place.items[key], item) for key, item in value.items())
        )
    if isinstance(value, list):
        return (
            isinstance(place, Array)
            and len(place.items) == len(value)
            and all(map(same_structure, place.items, value))
        )
    return isinstance(place, int)


def test_each_key_and_item_has_the_line_on_which_it_stands():
    """Tables stand at their header, rows at theirs, items and keys at their own line."""
    located = locate(SAMPLE, "machine.toml")
    assert located.file == "machine.toml"
    assert located.data == tomllib.loads(SAMPLE)
    assert {path: located.line(path) for path in SAMPLE_LINES} == SAMPLE_LINES


@pytest.mark.parametrize("before", ["", "\ufeff"])
def test_windows_line_ends_and_a_byte_order_mark_change_no_line(before):
    """A file saved on another system gives the same values and lines."""
    located = locate(before + SAMPLE.replace("\n", "\r\n"), "machine.toml")
    assert located.data == tomllib.loads(SAMPLE)
    assert {path: located.line(path) for path in SAMPLE_LINES} == SAMPLE_LINES


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("nothing",), 1),
        (("place", "lock"), 32),
        (("place", "trough", "spots", 9), 9),
        (("place", "trough", "spots", -1), 9),
        (("place", "trough", "spots", "a"), 9),
        (("place", "trough", "spots", 3, "number", "unit"), 12),
        (("place", 0), 32),
        (("sensor", 2, "id"), 19),
        (("sensor", 1, "address", "column"), 26),
    ],
)
def test_a_missing_path_takes_the_line_of_its_nearest_ancestor(path, line):
    """What is not there is reported where it should be written."""
    assert locate(SAMPLE, "machine.toml").line(path) == line


def test_a_table_named_only_by_others_stands_where_it_is_first_mentioned():
    """A header of its own, later, takes over."""
    text = "\n[board.left.plug]\n[board.right]\n"
    located = locate(text, "f")
    assert (located.line(("board",)), located.line(("board", "left"))) == (2, 2)
    assert locate(text + "[board]\n", "f").line(("board",)) == 4


def test_a_located_file_cannot_be_changed():
    """The value is frozen."""
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        locate("", "f").file = "g"


# What the author of a file reads.


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("a = 1\nb 2\n", 2, "found b 2: no = after the key; wanted key = value"),
        ("größe = 1\n", 1, "found größe = 1: no = after the key"),
        ("a = trough\n", 1, "put quotes round text"),
        ("a =", 1, "found a =: no value that TOML knows"),
        ("\na = 1,5\n", 2, "write a number with a point"),
        ("a = 1 b = 2\n", 1, "start a new line"),
        ("a = 2020-02-30\n", 1, "no such day or time"),
        ('\na = "x\nb = 1\n', 2, "close the quotes"),
        ("\na = 'x\nb = 1\n", 2, "a text that is not closed"),
        ('\na = """x\nb = 1\n', 2, "a text that is not closed"),
        ('a = "C:\\dir"\n', 1, "a \\ that stands for nothing"),
        ('a = "\\uZZZZ"\n', 1, "a \\u without its digits"),
        ('a = "\\ud800"\n', 1, "names no character"),
        ("a = 1 # \x01\n", 1, "found a = 1 # \\x01: a sign that may not stand here"),
        ('a = "\x1b"\n', 1, 'found a = "\\x1b": a sign that may not stand here'),
        ("a = 1\n\nb = 2\na = 3\n", 4, "it stands on line 1 too: take one of them out"),
        ('a = 1\na = """\n\n"""\n', 4, "it stands on line 1 too"),
        ("a = 1\na = 2", 2, "it stands on line 1 too"),
        ("[a]\nb = 1\n[a]\nc = 2\n", 3, "it stands on line 1 too"),
        ("x = 1\n[x.y]\n", 2, "it stands on line 1 too"),
        ("a = 1\na = 2\nb = 1\nb = 2\n", 2, "it stands on line 1 too"),
        ("[[a]]\nb = 1\n[[a]]\nb = 1\nb = 2\n", 5, "it stands on line 4 too"),
        ("x = 1\n[[x]]\n", 2, "it stands on line 1 too"),
        ("[x]\n[[x]]\n", 2, "it stands on line 1 too"),
        ("x = { a = 1, a = 2 }\n", 1, "this key is given already"),
        ("x = []\n[[x]]\n", 2, "closed in its own brackets"),
        ("[a.b]\n[a]\nb.c = 1\n", 3, "this adds to a table that stands elsewhere"),
        ("[a\n", 1, "the brackets round the name of a table do not close"),
        ("[[a]\n", 1, "the brackets round the name of a table do not close"),
        ("[]\n", 1, "no key where one should stand"),
        ("= 1\n", 1, "neither a key nor a table"),
        ('x = [\n "a"\n "b"\n]\n', 3, "a list does not go on as one"),
        ("x = [\n1\n2\n]\n", 3, "the [ of line 1 is still open here"),
        ("x = [\n{ a = [\n1, 2 3\n", 3, "the [ of line 2 is still open here"),
        ("x = [1, 2\ny = 3\n", 2, "the [ of line 1 is still open here"),
        ("y = 3\nx = [1,\n\n", 2, "found x = [1,"),
        ("x = [\n[1], [2,\n\n", 2, "found [1], [2,"),
        ("y = 3\nx = [1,\n['a\n", 3, "found ['a: a text that is not closed"),
        ("x = { a = 1\n}\n", 1, "put in the comma or the }"),
        ("x = [ { a = 1 b = 2 } ]\n", 1, "wanted commas between, then }"),
        ("a = 1\r\r\nb = 2\n", 1, "found a = 1\\r: something follows where the line should end"),
        ("\n" * 40 + "a", 41, "found a: no = after the key"),
    ],
)
def test_a_refusal_says_where_what_was_found_and_what_to_do(text, line, words):
    """The line is the author's, and the words are not the parser's."""
    problem = refusal(text)
    assert (problem.file, problem.line, problem.where) == ("machine.toml", line, "TOML")
    assert problem.message.startswith("found ")
    assert "; wanted " in problem.message
    assert words in problem.message


def test_a_bracket_that_is_closed_is_not_called_open():
    """Only the bracket that the fault lies in is named."""
    assert "still open" not in refusal("x = [1]\ny = { a = [] }\nb 2\n").message


def test_only_a_part_of_a_long_line_is_shown():
    """The part is the one round the fault."""
    message = refusal(f'a = "{"x" * 500}" wrong "{"y" * 500}"\n').message
    assert "wrong" in message
    assert len(message) < 300


def test_the_caller_chooses_the_class_of_error():
    """A sheet is refused to the person at the machine, a profile to its author."""
    with pytest.raises(InputError):
        locate("a", "f", error=InputError)
    with pytest.raises(InputError):
        decode(b"\0", "f", error=InputError)


# Bounds.

NESTED = {
    "lists": lambda depth: f"x = {'[' * depth}{']' * depth}",
    "inline tables": lambda depth: f"x = {'{a = ' * (depth - 1)}{{}}{'}' * (depth - 1)}",
    "dotted key": lambda depth: f"{'a.' * depth}a = 1",
    "header": lambda depth: f"[{'.'.join('a' * depth)}]",
    # The row of the list is a table: it counts as well.
    "header of a row": lambda depth: f"[[{'.'.join('a' * (depth - 1))}]]",
    "list below a header": lambda depth: f"[a.b]\nc = {'[' * (depth - 2)}{']' * (depth - 2)}",
    "table below a row": lambda depth: f"[[a]]\n[a.{'.'.join('b' * (depth - 2))}]",
}


@pytest.mark.parametrize("kind", NESTED)
def test_nesting_goes_as_deep_as_the_bound_and_no_deeper(kind):
    """However tables and lists lie in each other, each counts once."""
    text = NESTED[kind]
    located = locate(text(NESTING_LIMIT), "f")
    deepest = max(
        len(path) - (not isinstance(value, dict | list)) for path, value in values(located.data)
    )
    assert deepest == NESTING_LIMIT
    problem = refusal(text(NESTING_LIMIT + 1))
    assert problem.line == text(NESTING_LIMIT + 1).count("\n") + 1
    assert "nested deeper than 60; wanted at most 60" in problem.message


def values(value, path=()):
    """Every path of parsed data with its value."""
    for step in paths(value, path):
        inner = value
        for key in step[len(path) :]:
            inner = inner[key]
        yield step, inner


@pytest.mark.parametrize("opening", ["[", "{a=", "[{a=", "a.", "[a,"])
@pytest.mark.parametrize("before", ["", "x = ", "\n[", "[["])
@pytest.mark.parametrize("count", [100, 1_000, 100_000])
def test_no_depth_is_more_than_the_reader_can_bear(opening, before, count):
    """Closed or not, depth ends in a refusal and never in a fault of the parser."""
    assert refusal(before + opening * count).line >= 1


@pytest.mark.parametrize("before", ["", "[", "[[", "x = { "])
def test_a_dotted_key_is_refused_before_it_is_known_to_be_whole(before):
    """The parser never sees a key of so many parts that it would take minutes."""
    assert "nested deeper than 60" in refusal(before + "a." * 1_000).message


@pytest.mark.parametrize(
    ("value", "allowed"),
    [
        ("9" * BARE_LENGTH_LIMIT, True),
        ("9" * (BARE_LENGTH_LIMIT + 1), False),
        ("9" * 100_000, False),
        ("0x" + "f" * (BARE_LENGTH_LIMIT - 2), True),
        ("0x" + "f" * 100_000, False),
        ("0." + "1" * 100_000, False),
        (f'"{"9" * 100_000}"', True),
    ],
)
@pytest.mark.parametrize("around", ["a = {}", "b = 1\na = [\n{}]"])
def test_a_number_of_huge_length_is_refused_on_its_line(value, allowed, around):
    """Every number that is let through can be written out again; quoted text is free."""
    text = around.replace("{}", value)
    if allowed:
        assert repr(locate(text, "f").data)
    else:
        problem = refusal(text)
        assert problem.line == text.count("\n") + 1
        assert f"found a value of {len(value)} characters" in problem.message


# Bytes.


def test_a_file_may_have_as_many_bytes_as_the_limit_and_no_more():
    """One byte more is refused."""
    assert decode(b" " * SIZE_LIMIT, "f") == " " * SIZE_LIMIT
    assert decode(b"1234", "f", limit=4) == "1234"
    with pytest.raises(ProfileError, match="f: file: found 1048577 bytes; wanted at most 1048576"):
        decode(b" " * (SIZE_LIMIT + 1), "f")


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize(
    ("data", "line", "words"),
    [
        (b"a\nb \xff\n", 2, "found the byte 0xff, which is not UTF-8"),
        (b"\xe4", 1, "found the byte 0xe4"),
        (b"\xc3\xa4\r\n\r\n\xed\xa0\x80", 3, "found the byte 0xed"),
        (b"a\n\n\0", 3, "found a NUL"),
    ],
)
def test_bytes_that_are_not_text_are_refused_on_their_line(mark, data, line, words):
    """The line is that of the first such byte."""
    with pytest.raises(ProfileError) as caught:
        decode(mark + data, "f")
    (problem,) = caught.value.problems
    assert (problem.line, problem.where) == (line, "text")
    assert words in problem.message
    assert "save the file as UTF-8" in problem.message


def test_a_byte_order_mark_is_not_part_of_the_text():
    """It is dropped."""
    assert decode("\ufeffä = 1\r\n".encode(), "f") == "ä = 1\r\n"
    with pytest.raises(ProfileError, match="f:1: text: found two byte order marks"):
        decode("\ufeff\ufeffa = 1".encode(), "f")


# The public TOML test suite: Source: toml-test, the files of its list for TOML 1.0.0.

LISTS = sorted(Path(__file__).parents[3].glob("*/data/toml/files-toml-1.0.0"))


def suite(kind):
    """The files of one kind, or one skipped stand-in."""
    if not LISTS:
        reason = "no folder data/toml with the public TOML test suite stands beside the project"
        return [pytest.param(None, marks=pytest.mark.skip(reason=reason))]
    names = LISTS[0].read_text(encoding="utf-8").split()
    return [
        pytest.param(LISTS[0].parent / name, id=name)
        for name in names
        if name.startswith(kind) and name.endswith(".toml")
    ]


QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"|' + r"'[^']*'")
BARE = re.compile(r"""[^\s,=#"'\[\]{}]+(?: \d\d:[^\s,=#"'\[\]{}]+)?""")


def spelt(pattern, line):
    """The values of all pieces of a line that the pattern finds and TOML reads."""
    for piece in pattern.findall(line):
        try:
            yield tomllib.loads(f"x = {piece}")["x"]
        except ValueError:
            continue


def holds(line, key, value):
    """Whether a line holds the text of a key, or of an item of a list."""
    if isinstance(key, str):
        if re.fullmatch("[A-Za-z0-9_-]+", key) and re.search(rf"(?<![\w-]){key}(?![\w-])", line):
            return True
        return key in spelt(QUOTED, line)
    if isinstance(value, dict):
        return "{" in line or "[[" in line
    if isinstance(value, list):
        return "[" in line
    if isinstance(value, str):
        return value in spelt(QUOTED, line) or '"""' in line or "'''" in line
    return any(repr(found) == repr(value) for found in spelt(BARE, line))


@pytest.mark.parametrize("file", suite("valid"))
def test_every_path_of_a_published_file_has_its_line(file):
    """The structure is the parser's, and each line holds the key or the item itself."""
    data = file.read_bytes()
    located = locate(decode(data, file.name), file.name)
    assert repr(located.data) == repr(tomllib.loads(data.decode("utf-8-sig")))
    lines = data.decode("utf-8-sig").replace("\r\n", "\n").split("\n")
    positions = Positions("\n".join(lines))
    assert positions.stopped is None
    assert same_structure(positions.root, located.data)
    for path, value in values(located.data):
        if path:
            assert holds(lines[located.line(path) - 1], path[-1], value), path


@pytest.mark.parametrize("file", suite("invalid"))
def test_a_published_file_that_is_not_valid_is_refused_on_a_line_of_its_own(file):
    """One problem, on a line that the file has."""
    data = file.read_bytes()
    with pytest.raises(ProfileError) as caught:
        locate(decode(data, file.name), file.name)
    (problem,) = caught.value.problems
    assert problem.file == file.name
    assert 1 <= problem.line <= data.count(b"\n") + 1
    assert problem.message.startswith("found ")
    assert "what TOML does not allow" not in problem.message


@settings(max_examples=120, deadline=None, derandomize=True)
@given(document=documents(), windows=st.booleans())
def test_any_text_has_the_lines_that_it_was_written_with(document, windows):
    """Values and lines are those of the writer, path by path."""
    text, data, lines = document
    located = locate(text.replace("\n", "\r\n") if windows else text, "f")
    assert located.data == data
    assert {path: located.line(path) for path in paths(located.data)} == lines


EDITS = st.lists(
    st.tuples(
        st.sampled_from(["replace", "insert", "delete", "repeat", "cut"]),
        st.integers(0, 2000),
        st.one_of(
            st.sampled_from([bytes([sign]) for sign in b"\"'[]{}=.,#\\\n\r\t \0_-+:eE0"]),
            st.sampled_from([b'"""', b"'''", b"[[", b"]]", b"\r\n", b"\\u", b"\xef\xbb\xbf"]),
            st.binary(min_size=1, max_size=2),
        ),
        st.integers(1, 40),
    ),
    min_size=1,
    max_size=6,
)


def edited(data, edits):
    """The bytes after some slips of the hand."""
    for kind, at, piece, length in edits:
        at %= len(data) + 1
        if kind == "replace":
            data = data[:at] + piece + data[at + len(piece) :]
        elif kind == "insert":
            data = data[:at] + piece + data[at:]
        elif kind == "delete":
            data = data[:at] + data[at + length :]
        elif kind == "repeat":
            data = data[:at] + data[max(0, at - length) :]
        else:
            data = data[:at]
    return data


def judged(data):
    """Holds what becomes of bytes to the parser alone; only bounds may differ."""
    try:
        text = data.removeprefix(b"\xef\xbb\xbf").decode()
        wanted = tomllib.loads(text)
    except (ValueError, RecursionError):
        wanted = None
    if b"\0" in data:
        wanted = None
    try:
        located = locate(decode(data, "f"), "f")
    except ProfileError as refused:
        (problem,) = refused.problems
        assert wanted is None or "wanted at most" in problem.message
        assert 1 <= problem.line <= data.count(b"\n") + 1
        assert problem.message.startswith("found ")
        assert problem.message.isprintable()
        return
    assert repr(located.data) == repr(wanted)
    positions = Positions(text.replace("\r\n", "\n"))
    assert positions.stopped is None
    assert same_structure(positions.root, wanted)


@settings(max_examples=500, deadline=None, derandomize=True)
@given(edits=EDITS, windows=st.booleans())
def test_slips_in_a_file_give_values_or_a_refusal(edits, windows):
    """What the parser takes is taken with all its lines; all else is refused in words."""
    text = SAMPLE.replace("\n", "\r\n") if windows else SAMPLE
    judged(edited(text.encode(), edits))


@settings(max_examples=80, deadline=None, derandomize=True)
@given(document=documents(), edits=EDITS)
def test_slips_in_any_text_give_values_or_a_refusal(document, edits):
    """The same holds for texts of every form."""
    judged(edited(document[0].encode(), edits))


@settings(max_examples=500, deadline=None, derandomize=True)
@given(data=st.one_of(st.binary(max_size=60), st.text("ab.=[]{}\"'\\,#\n\r 01-:", max_size=40)))
@example(data="a = {b.c = 1, b = {}}")
@example(data="a = []\n[a.b]\n")
@example(data="a = ''''''''")
def test_any_bytes_give_values_or_a_refusal(data):
    """Nothing else leaves the reader, whatever the bytes are."""
    judged(data if isinstance(data, bytes) else data.encode())
