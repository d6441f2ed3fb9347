"""Why a sensor reads as it does: what a break, a fault or a phantom makes of it, link by link."""

from __future__ import annotations

from pathlib import Path

import pytest

import simrig
from simrig.expectation.prediction import expect
from simrig.faults.candidates import fault_named, possible_faults
from simrig.world.phases import Conditions

HELDOUT = Path(__file__).parents[1] / "heldout"


def why(machine, sensor, faults=(), **conditions):
    """The reading of a sensor, and why."""
    profile = simrig.load(machine)
    possible = possible_faults(profile)
    named = [fault_named(possible, name) for name in faults]
    found = expect(profile, Conditions(**conditions), faults=named)
    return next((one.reading, one.why) for one in found.readings if one.sensor == sensor)


def test_a_phantom_is_traced_from_column_to_row():
    """By hand: column 2 reaches row 1 by the shooter lane, column 1 by trough 3, row 2 by trough 2."""
    reading, words = why("orchard-signal", "signal-lane", phase="ready")
    assert reading == "closed"
    assert (
        "no ball; the contact is at rest; but the scan goes round, a phantom: from column 2 over "
        "shooter-ball to row 1, back past trough-3 to column 1, over trough-2 to row 2; closed"
    ) in words


def test_a_phantom_in_some_positions_only_is_said_to_be():
    """By hand: the shooter lane reads closed while the last ball is in the outhole, else open."""
    path = str(HELDOUT / "meadow-telegraph.toml")
    reading, words = why(path, "shooter-ball", phase="after-game")
    assert reading == "either"
    assert (
        "but in some positions of the balls the scan goes round, a phantom: from column 3" in words
    )


def test_a_contact_worked_open_that_a_phantom_closes():
    """By hand: the fort's common switch opens with a ball; three closed corners close its address."""
    path = str(HELDOUT / "harbour-bell.toml")
    spots = frozenset(("trough.1", "trough.3", "trough.5", "fort.1", "fort.2"))
    reading, words = why(path, "fort-any", spots=spots)
    assert reading == "closed"
    assert "over fort-a to row 3, back past bell-5 to column 1, over left-lane to row 5" in words


@pytest.mark.parametrize(
    ("fault", "sensor", "reading", "words"),
    [
        ("emitter-dead:trough-3", "trough-3", "closed",
         "emitter LED dead: it gives no light; the receiver is dark; its output on trough "
         "receiver board closes; closed"),
        ("fuse-blown:fuse-4", "trough-2", "closed",
         "fuse blown (fuse-4): everything behind it is without current; the receiver is dark"),
        ("board-dead:trough-board", "trough-1", "open",
         "the beam is blocked, the receiver is dark; its output on trough receiver board closes; "
         "receiver board dead (trough-board): its outputs do what they do without supply; open"),
        ("receiver-flooded:trough-1", "trough-1", "open",
         "sees light always; its output on trough receiver board is open; open"),
        ("channel-open:trough-1", "trough-1", "open",
         "the receiver is dark; output channel never closes: its contact stays open; open"),
        ("leads-exchanged:trough-1+trough-2", "trough-2", "closed",
         "what arrives here is the contact of trough-1; closed"),
        ("column-held:3", "left-outlane", "closed",
         "column driver always on (3): every switch closed in it closes its whole row; trough-1 "
         "closes it; closed"),
        ("row-held:2", "trough-2", "closed", "row input always on (2): the whole row reads closed"),
        ("column-open:3", "trough-1", "open",
         "closes; but column open at the controller (3): the whole column reads open; open"),
        ("diode-open:trough-1", "trough-1", "open", "but diode open: its switch never reads closed"),
        ("rows-bridged:1+2", "trough-2", "closed", "two rows bridged (1+2)"),
    ],
)  # fmt: skip
def test_what_a_fault_does_stands_in_the_chain(fault, sensor, reading, words):
    """One ball, at position 1: the words lead to the reading, and never against it."""
    found, said = why("tidal-clockwork", sensor, [fault], balls=1)
    assert found == reading
    assert words in said
