"""The table of links of a sound machine, and its readings, by hand."""

from __future__ import annotations

import pytest

from simrig.profile.wiring import Matrix
from simrig.scan.circuit import Crossing
from simrig.scan.controller import ball_reading
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, circuit, links, readings, scan
from simrig.world.balls import Placement
from simrig.world.worlds import Value, worlds
from tests.world.small_layouts import layout, sensor


def _matrix(diodes: str | None) -> Matrix:
    return Matrix(columns=4, rows=4, diodes=diodes)


SENSORS = (
    sensor("fitted", "lock.1", address="column 1 row 1", diode="fitted"),
    sensor("without", "lock.2", address="column 1 row 2", diode="none"),
    sensor("unknown", "lane.1", address="column 2 row 1"),
    sensor("direct", "trough.1", address="direct 5"),
)


def test_the_matrix_of_a_sound_machine():
    """A diode that is fitted lets nothing back, none lets all, an unknown one perhaps."""
    made = circuit(layout(sensor=SENSORS, matrix=_matrix("some")))
    assert made.crossings == (
        Crossing(sensor="fitted", column=(1, 0), row=(1, 0)),
        Crossing(sensor="without", column=(1, 0), row=(2, 0), backward=Value(-1, -1)),
        Crossing(sensor="unknown", column=(2, 0), row=(1, 0), backward=Value(0, -1)),
    )
    lines = {1: frozenset({(1, 0)}), 2: frozenset({(2, 0)})}
    assert (made.strobes, made.reads, made.held, made.joined) == (lines, lines, frozenset(), ())


def _contacts(**closed: int) -> dict[str, Value]:
    return {one.id: Value(closed.get(one.id, 0), closed.get(one.id, 0)) for one in SENSORS}


def test_readings_are_those_of_the_crossings_and_of_the_inputs():
    """Three corners closed, one without diode: the fourth reads closed; a direct input is
    what its contact is."""
    table = links(layout(sensor=SENSORS, matrix=_matrix("some")))
    frame = scan(
        layout(sensor=SENSORS, matrix=_matrix("some")),
        table,
        _contacts(without=0b1, direct=0b10),
        0b11,
    )
    assert frame == Frame(
        cells={
            "fitted": Value(0, 0),
            "without": Value(0b1, 0b1),
            "unknown": Value(0, 0),
            "direct": Value(0b10, 0b10),
        },
        everything=0b11,
    )


def test_exchanged_leads():
    """At an address arrives the contact of the sensor whose lead is there."""
    profile = layout(sensor=SENSORS, matrix=_matrix("all"))
    sound = links(profile)
    table = Links(
        chains=sound.chains,
        circuit=sound.circuit,
        leads={"fitted": "direct", "direct": "fitted"},
    )
    frame = scan(profile, table, _contacts(fitted=1), 1)
    assert {name for name, cell in frame.cells.items() if cell.surely} == {"direct"}


@pytest.mark.parametrize(
    ("diodes", "lost", "matrix", "direct"),
    [
        ("some", Value(0b010, 0b111), Value(0, 0b110), Value(0, 0)),
        ("none", Value(0b010, 0b111), Value(0, 0b110), Value(0, 0)),
        ("all", Value(0b010, 0b110), Value(0, 0), Value(0, 0)),
        (None, Value(0b010, 0b110), Value(0, 0), Value(0, 0)),
    ],
)
def test_a_sensor_of_unknown_address_may_make_phantoms(diodes, lost, matrix, direct):
    """Closed, it may close any crossing where diodes are left out; it may itself read so
    whenever; an input of its own stays as it is, and so does all where every diode is fitted
    or there is no matrix."""
    nowhere = sensor("lost", "lock.3")
    profile = layout(
        sensor=(SENSORS[0], SENSORS[3], nowhere), matrix=_matrix(diodes) if diodes else None
    )
    contacts = {"fitted": Value(0, 0), "direct": Value(0, 0), "lost": Value(0b010, 0b110)}
    frame = scan(profile, links(profile), contacts, 0b111)
    assert frame.cells == {"fitted": matrix, "direct": direct, "lost": lost}


def test_the_whole_chain_of_a_sound_machine():
    """A ball on the first seat of the lock closes the switch there, and nothing else."""
    profile = layout(sensor=SENSORS, matrix=_matrix("all"))
    many = worlds(profile, [Placement(spots={"lock.1"}), Placement(spots={"trough.1", "lane.1"})])
    frame = readings(profile, links(profile), many)
    assert {name: frame.reading(name, 0b01) for name in frame.cells} == {
        "fitted": "closed", "without": "open", "unknown": "open", "direct": "open",
    }  # fmt: skip
    assert {name: frame.reading(name, 0b10) for name in frame.cells} == {
        "fitted": "open", "without": "open", "unknown": "closed", "direct": "closed",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("contact", "reading"),
    [("normally open", "closed"), ("normally closed", "open"), (None, "unknown")],
)
def test_the_reading_that_means_a_ball(contact, reading):
    """It follows from the chain: a contact that opens with a ball means one when open."""
    one = sensor("s", "lock.1", address="direct 1", contact=contact)
    assert ball_reading(layout(sensor=(one,)), "s") == reading


def test_a_phantom_of_the_whole_machine():
    """Three corners closed and no diode: the fourth sensor reads closed too; direct inputs
    before and after them in the profile change nothing."""
    corners = [
        sensor(f"{c}{r}", address=f"column {c} row {r}", diode="none")
        for c in (1, 2)
        for r in (1, 2)
    ]
    profile = layout(
        sensor=(sensor("first", address="direct 1"), *corners, sensor("last", address="direct 2")),
        matrix=_matrix("none"),
    )
    contacts = {one.id: Value(1, 1) for one in corners} | {
        "12": Value(0, 0),
        "first": Value(0, 0),
        "last": Value(0, 0),
    }
    frame = scan(profile, links(profile), contacts, 1)
    assert {name for name, cell in frame.cells.items() if cell.surely} == {"11", "12", "21", "22"}
