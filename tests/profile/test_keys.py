"""Tables of keys made by hand: checked, frozen, equal by what they say."""

from __future__ import annotations

import pytest

from simrig.profile.layout import Balls, Phase, Route
from simrig.profile.wiring import Fuse, Line


def test_equal_tables_count_once() -> None:
    """Tables of one class that say the same are equal and stand once in a set; others are apart."""
    once = {Fuse(id="low"), Fuse(id="low"), Fuse(id="low", rating="1 A slow")}
    assert len(once) == 2
    assert Fuse(id="low") != Balls(installed=1)


def test_a_table_shows_what_it_states() -> None:
    """What is printed of a table is its class and the keys that it states, no others."""
    assert repr(Fuse(id="low", rating="1 A slow")) == "Fuse(id='low', rating='1 A slow')"
    assert repr(Balls(installed=3)) == "Balls(installed=3)"


def test_lists_are_frozen() -> None:
    """A list becomes a tuple, so that nobody changes it behind the table's back."""
    assert Line(number=1, order=["a", "b"]).order == ("a", "b")


def test_a_wrong_value_names_class_and_key() -> None:
    """A value that the file could not hold is refused by hand as well, at its member."""
    with pytest.raises(
        ValueError, match=r"Balls\.installed: found 0; wanted a whole number from 1"
    ):
        Balls(installed=0)
    with pytest.raises(ValueError, match=r"Route\.to\.1: found 5; wanted a name of small letters"):
        Route(id="r", from_="a", to=("b", 5), by="coil")
    with pytest.raises(
        ValueError, match=r"Phase\.placements\.0\.trough: found 99; wanted a number"
    ):
        Phase(id="idle", placements=({"trough": 99},))
