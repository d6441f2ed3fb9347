"""Contradictions between the tables of a profile, each at the fact that is to be mended."""

from __future__ import annotations

from pathlib import Path

import pytest

from simrig.profile.addresses import Address, parse
from simrig.profile.checking import MOST_WAYS, contradictions, row_ways
from simrig.profile.doubt import Doubt
from simrig.profile.layout import Balls, Phase, Place
from simrig.profile.machine import Profile
from simrig.profile.naming import counted, listed, near, words
from simrig.profile.reader import examine
from simrig.world.phases import row_counts

DATA = Path(__file__).parents[1] / "vetting/data"
BASE = (DATA / "LINE-03/sound.toml").read_text()
GRID = (DATA / "GRID-03/sound.toml").read_text()


def _told(text: str, *pairs: tuple[str, str]) -> list[tuple[str, str]]:
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return [(one.where, one.message) for one in examine(text.encode(), "f")[1]]


def _row(row: str) -> list[tuple[str, str]]:
    return _told(BASE, ("placements = [{ trough = 2, playfield = 1 }]", f"placements = [{row}]"))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("{ trough = 1 }", "the row places 1 ball; the machine carries 3"),
        ('{ trough = "0-2" }', "the row places 0 to 2 balls; the machine carries 3"),
        ('{ trough = "rest", launcher = "rest" }', "more than one place is given the rest"),
        ('{ trough = "2-1", launcher = 1 }', '"2-1" at trough runs backwards'),
        ("{ launcher = 2, trough = 1 }", "launcher holds 1; found 2"),
        ('{ playfield = 4, trough = "rest" }', "4 balls are placed; the machine carries 3"),
        ('{ launcher = "rest", trough = 1 }', "2 balls would be left for launcher, which holds 1"),
    ],
)
def test_rows_that_do_not_add_up(row: str, says: str) -> None:
    """Each way for a row not to add up is told in words, at the phase and row."""
    ((where, message),) = _row(row)
    assert where == "phase play, placements 1"
    assert says in message


@pytest.mark.parametrize(
    "row", ['{ trough = "rest" }', '{ trough = "0-3", playfield = "0-3" }', "{ playfield = 3 }"]
)
def test_rows_that_add_up(row: str) -> None:
    """Rests and ranges that can add up are taken."""
    assert _row(row) == []


def test_many_facts_against_one() -> None:
    """Where two addresses lie beyond the matrix, its number of columns is told, not each of them."""
    ((where, message),) = _told(GRID, ("columns = 2", "columns = 1"))
    assert where == "matrix, columns"
    assert "trough-3, launcher-ball lie beyond it" in message
    ((where, _),) = _told(GRID, ("column 2 row 2", "column 9 row 2"))
    assert where == "sensor launcher-ball, address"


def test_addresses_that_count_from_nought() -> None:
    """Nought is outside, at the address, even where others lie beyond too."""
    found = _told(GRID, ("column 2 row 1", "column 0 row 1"), ("column 2 row 2", "column 0 row 2"))
    assert [where for where, _ in found] == [
        "sensor trough-3, address",
        "sensor launcher-ball, address",
    ]


def test_input_boards() -> None:
    """Inputs beyond a board's count are told at the input, or at the count where there are many."""
    board = '\n[[inputs]]\nid = "node"\ncount = {}\n'
    nodes = [('"direct 3"', '"node 3"'), ('"direct 4"', '"node 4"')]
    assert _told(BASE + board.format(4), *nodes) == []
    ((where, message),) = _told(BASE + board.format(3), *nodes)
    assert where == "sensor launcher-ball, address"
    assert '"node" has inputs 1 to 3; found 4' in message
    assert [where for where, _ in _told(BASE + board.format(2), *nodes)] == ["inputs node, count"]
    ((where, message),) = _told(BASE, *nodes)
    assert where == "sensor trough-3, address"
    assert 'no input board is called "node"' in message
    lost = board.format(4).replace('id = "node"', "id = 7")
    ((where, _),) = _told(BASE + lost, *nodes)
    assert where == "inputs 1, id"


def test_no_matrix_is_told_once() -> None:
    """Without a [matrix] the first address that needs it says so; a misspelt one is told instead."""
    text = GRID[: GRID.index("[matrix]")]
    ((where, message),) = _told(text)
    assert where == "sensor trough-1, address"
    assert "needs a [matrix] table" in message
    ((where, _),) = _told(GRID, ("[matrix]", "[matrx]"))
    assert where == "matrx"


def test_lines_of_the_matrix() -> None:
    """A wire beyond the matrix, one described twice, one that runs past strangers only."""
    wire = '\n[[matrix.column]]\nnumber = {}\norder = ["trough-1", "trough-2"]\n'
    assert _told(GRID + wire.format(1)) == []
    assert [one for one, _ in _told(GRID + wire.format(5))] == ["matrix, column 1, number"]
    twice = _told(GRID + wire.format(1) + wire.format(1))
    assert [one for one, _ in twice] == ["matrix, column 2, number"]
    ((where, message),) = _told(GRID + wire.format(2))
    assert where == "matrix, column 1, number"
    assert "every sensor of its order is in another column" in message
    assert [one for one, _ in _told(GRID + wire.format('"1"'))] == ["matrix, column 1, number"]


def test_a_sensor_of_unknown_address_may_be_on_a_line() -> None:
    """An order that names a sensor whose address is unknown contradicts nothing."""
    wire = '\n[[matrix.column]]\nnumber = 1\norder = ["trough-1", "trough-2"]\n'
    assert _told(GRID + wire, ('address = "column 1 row 2"\n', "")) == []


def test_diodes() -> None:
    """One sensor against the matrix is told at the sensor, several at the matrix; none at a direct
    input."""
    one = ('address = "column 1 row 1"\n', 'address = "column 1 row 1"\ndiode = "none"\n')
    other = ('address = "column 1 row 2"\n', 'address = "column 1 row 2"\ndiode = "none"\n')
    assert [where for where, _ in _told(GRID, one)] == ["sensor trough-1, diode"]
    ((where, message),) = _told(GRID, one, other)
    assert where == "matrix, diodes"
    assert "trough-1, trough-2 say otherwise" in message
    direct = ('address = "direct 1"\n', 'address = "direct 1"\ndiode = "fitted"\n')
    ((where, message),) = _told(BASE, direct)
    assert "direct 1 is not in the matrix" in message


def test_captive_balls() -> None:
    """A route to a captive ball, and a row that counts it, are told each."""
    bell = '\n[[place]]\nid = "bell"\nkind = "captive"\nseats = 1\ncaptive = 1\n'
    ((where, _),) = _told(BASE + bell, ('to = ["playfield"]', 'to = ["playfield", "bell"]'))
    assert where == "route launch, to"
    ((where, message),) = _told(BASE + bell, ('from = "playfield"', 'from = "bell"'))
    assert where == "route drain, from"
    assert "never leaves" in message


def test_how_many_ways_a_row_allows() -> None:
    """A row's ways are those that can be counted one by one."""
    places = tuple(Place(id=f"p{n}", kind="hold", seats=n + 1) for n in range(4))
    for row in ({"p0": 1, "p1": 2}, {"p3": "rest", "p2": "0-2", "p1": "1-2"}, {"p1": "0-2"}):
        profile = Profile(
            format=1, id="x", balls=Balls(installed=3), place=places,
            phase=(Phase(id="a", placements=(row,)),),
        )  # fmt: skip
        assert row_ways(profile, row) == len(list(row_counts(profile, row)))


def test_ways_of_all_phases_together() -> None:
    """The row with which the phases allow more ways than the bound is refused."""
    places = "".join(f'[[place]]\nid = "p{n}"\nkind = "hold"\nseats = 20\n' for n in range(7))
    row = ", ".join(f'p{n} = "0-20"' for n in range(6))
    phases = "".join(
        f'[[phase]]\nid = "f{n}"\nplacements = [{{ {row}, p6 = "rest" }}]\n' for n in range(2)
    )
    head = 'format = 1\nid = "x"\n[balls]\ninstalled = {}\n'
    few = head.format(9) + places + phases  # 5,005 ways twice: combinations of 9 + 6 over 6
    assert _told(few) == []
    ((where, message),) = _told(head.format(12) + places + phases)  # 18,564 twice
    assert where == "phase f1, placements 1"
    assert f"may allow {MOST_WAYS} in all" in message


def test_contradictions_of_a_profile_made_by_hand() -> None:
    """Without doubts handed over, a sound profile has none, and a doubted fact is not told."""
    place = Place(id="p", kind="hold", seats=1)
    phase = Phase(id="a", placements=({"p": 1},))
    profile = Profile(
        format=1, id="x", balls=Balls(installed=1, store="q"), place=(place,), phase=(phase,)
    )
    assert [path for path, _, _ in contradictions(profile)] == [("balls", "store")]
    assert list(contradictions(profile, Doubt([("balls",)]))) == []


def test_doubt() -> None:
    """Within, around, about: below, above, or either of what is doubted."""
    doubt = Doubt([("place", 1, "seats")])
    assert doubt.within(("place", 1, "seats", 0))
    assert not doubt.within(("place", 1))
    assert doubt.around(("place", 1))
    assert doubt.about(("place",))
    assert not doubt.about(("place", 2))
    doubt.lose_nameless("place", "Trough")
    doubt.forgive("place", {"attic": 9, "trough": 1})
    assert doubt.excuses("place", "trough")
    assert not doubt.excuses("place", "attic")
    assert not doubt.excuses("route", "attic")


def test_names_in_words() -> None:
    """Lists are cut, tables have names for people, a near miss is found, one is one."""
    assert listed(["a", "b"]) == "a, b"
    assert listed(list("abcdef")) == "a, b, c, d and 2 more"
    assert (words("bank"), words("coil_bank")) == ("emitter bank", "coil bank")
    assert (near("trogh", ["trough"]), near("x", ["trough"])) == ("trough", None)
    assert (counted(1, "ball"), counted(0, "ball")) == ("1 ball", "0 balls")


@pytest.mark.parametrize(
    "text", ["", "column 3", "row 4", "3", "direct", "direct 12345", "a b c 1"]
)
def test_what_is_no_address(text: str) -> None:
    """What is none of the three forms is no address."""
    assert parse(text) is None


def test_an_address_is_one_of_its_forms() -> None:
    """An address made by hand is exactly one form."""
    with pytest.raises(ValueError, match="an address is column and row"):
        Address(column=1)
    with pytest.raises(ValueError, match="an address is column and row"):
        Address(direct=1, column=2, row=3)


def test_rows_named_twice() -> None:
    """The second row of a name is told, once, whatever else it repeats; so is a route that is
    called as a place is."""
    twice = BASE[
        BASE.index('[[sensor]]\nid = "trough-1"') : BASE.index('[[sensor]]\nid = "trough-2"')
    ]
    assert _told(BASE + "\n" + twice) == [
        ("sensor trough-1, id", 'the sensor "trough-1" is there twice; give one another name')
    ]
    assert _told(BASE, ('id = "launch"', 'id = "launcher"')) == [
        (
            "route launcher, id",
            '"launcher" is also the name of a place; give the route another name',
        )
    ]


def test_captive_balls_and_rows() -> None:
    """More captive balls than positions, and a row that counts a captive ball, are told each."""
    bell = '\n[[place]]\nid = "bell"\nkind = "captive"\nseats = 1\ncaptive = {}\n'
    assert _told(BASE + bell.format(2)) == [
        ("place bell, captive", "2 captive balls do not fit into 1 position; mend one of the two")
    ]
    row = ("placements = [{ trough = 3 }]", "placements = [{ trough = 3, bell = 0 }]")
    assert _told(BASE + bell.format(1), row) == [
        (
            "phase idle, placements 1, bell",
            "the captive ball of bell never counts; take bell out of the row",
        )
    ]


def test_an_address_that_cannot_be_read() -> None:
    """What is none of the forms of an address is told at the sensor, with the forms."""
    assert _told(BASE, ('"direct 4"', '"row 4"')) == [
        (
            "sensor launcher-ball, address",
            'found "row 4"; wanted "column 3 row 4", "direct 5" or an input board and number such '
            'as "node-a 7"',
        )
    ]


def test_what_two_sensors_share() -> None:
    """One address, one channel, one number belongs to one sensor: the second that states it is
    told."""
    board = '\n[[board]]\nid = "eye"\n'
    channel = [
        (f'address = "direct {n}"', f'address = "direct {n}"\nboard = "eye"\nchannel = 7')
        for n in (1, 2)
    ]
    assert _told(BASE, ('"direct 4"', '"direct 1"')) == [
        (
            "sensor launcher-ball, address",
            'direct 1 is also the address of "trough-1"; mend the wrong one',
        )
    ]
    assert _told(BASE + board, *channel) == [
        (
            "sensor trough-2, channel",
            'channel 7 of "eye" is also that of "trough-1"; mend the wrong one',
        )
    ]
    assert _told(BASE, ("number = 4", "number = 1")) == [
        ("sensor launcher-ball, number", '1 is also the number of "trough-1"; mend the wrong one')
    ]


def test_one_stranger_on_a_line() -> None:
    """A sensor of another column is told at its place of the order; the others are not."""
    wire = '\n[[matrix.column]]\nnumber = 1\norder = ["trough-1", "trough-3"]\n'
    assert _told(GRID + wire) == [
        (
            "matrix, column 1, order 2",
            '"trough-3" is not in column 1; mend its address or this order',
        )
    ]


GATE = '\n[[mechanism]]\nid = "gate"\nkind = "gate"\nstates = ["up", "down"]\n'


def test_a_sensor_worked_by_two_things() -> None:
    """A sensor follows a mechanism or sees a ball, never both."""
    both = ('at = ["trough.1"]', 'at = ["trough.1"]\nfollows = { gate = "up" }')
    assert _told(BASE + GATE, both) == [
        (
            "sensor trough-1, follows",
            "it is worked by a ball and by a mechanism; state one of the two",
        )
    ]


def test_states_that_no_mechanism_has() -> None:
    """A state asked for once is told where it is asked for; one asked for by several, while the
    mechanism states nearly its name and nobody asks for that, is told at the mechanism."""
    when = ('by = "plunger"', 'by = "plunger"\nwhen = { gate = "dwn" }')
    down = ('by = "gravity"', 'by = "gravity"\nwhen = { gate = "down" }')
    assert _told(BASE + GATE, when, down) == [
        ("route launch, when, gate", '"gate" has no state "dwn"; it can stand in: up, down')
    ]
    again = ('by = "gravity"', 'by = "gravity"\nwhen = { gate = "dwn" }')
    assert _told(BASE + GATE, when, again) == [
        (
            "mechanism gate, states 2",
            'nothing asks for "down", but "dwn" is asked for 2 times; one of the two is misspelt',
        )
    ]
