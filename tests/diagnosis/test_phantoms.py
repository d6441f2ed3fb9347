"""The way by which a phantom comes about, in words.

Copper Viaduct has no diodes: trough 1 to 3 in column 1, left and right lane in column 3.
"""

from __future__ import annotations

from pathlib import Path

from simrig.diagnosis.diagnose import diagnose
from simrig.diagnosis.phantoms import way_to
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import observe
from simrig.profile.reader import read
from simrig.scan.scanner import links
from simrig.world.phases import Conditions

STORIES = Path(__file__).parents[1] / "stories"
VIADUCT = read((STORIES / "copper-viaduct.toml").read_bytes(), "copper-viaduct.toml")
MILL = read((STORIES / "frost-mill.toml").read_bytes(), "frost-mill.toml")


def test_three_corners_make_the_fourth() -> None:
    """Column 2 over the lane to row 1, back over trough 1, over trough 2 to row 2."""
    closed = {"trough-1", "trough-2", "lane-ball"}.__contains__
    circuit = links(VIADUCT).circuit
    assert way_to(circuit, closed, 2, 2) == (
        "over lane-ball to row 1, back over trough-1 to column 1, over trough-2 to row 2"
    )
    # Its own switch is no phantom, and nothing leads to row 3.
    assert way_to(circuit, closed, 2, 1) == ""
    assert way_to(circuit, closed, 2, 3) == ""


def test_with_a_diode_at_each_there_is_none() -> None:
    """The same three corners, where no signal passes back."""
    closed = {"trough-2", "trough-1", "lane-ball"}.__contains__
    assert way_to(links(MILL).circuit, closed, 2, 2) == ""


def test_a_contact_that_makes_a_phantom_is_explained_by_its_way() -> None:
    """A start button stuck closed closes both outlanes while three balls are home."""
    closed = ["trough-1", "trough-2", "trough-3", "left-lane", "right-lane"]
    seen = observe(VIADUCT, closed=closed, closed_named=True)
    found = diagnose(VIADUCT, [Sheet(observation=seen, conditions=Conditions())], limit=1)
    why = {cause.faults[0].name: cause.why for cause in found.causes}
    assert why["contact-stuck-closed:start"] == (
        "contact stuck closed at start: it is closed whatever works it: for left-lane over start "
        "to row 1, back over trough-1 to column 1, over trough-2 to row 2; so left-lane and "
        "right-lane read closed without a ball"
    )
    assert "for right-lane over left-lane to row 2" in why["contact-stuck-closed:left-lane"]
