"""Profiles written as TOML, and read again."""

from __future__ import annotations

import datetime
import tomllib
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.interchange.toml_writer import in_order, pair, value_text, written
from simrig.profile.components import Sensor
from simrig.profile.reader import read
from simrig.strategies import profiles

MACHINES = sorted((Path(__file__).parents[2] / "plugins/simrig_machines").glob("*.toml"))

VALUES = st.recursive(
    st.text() | st.integers(-(2**63), 2**63 - 1) | st.booleans() | st.dates()
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda below: st.lists(below, max_size=4) | st.dictionaries(st.text(), below, max_size=4),
    max_leaves=12,
)  # fmt: skip


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_a_profile_written_and_read_again_is_the_same(path: Path) -> None:
    """Nothing of a machine is lost or changed by writing it."""
    profile = read(path.read_bytes(), path.name)
    assert read(written(profile).encode(), "again") == profile


@given(profiles())
def test_a_made_profile_written_and_read_again_is_the_same(profile) -> None:  # type: ignore[no-untyped-def]
    """Nothing of a made machine is lost either."""
    assert read(written(profile).encode(), "again") == profile


@given(VALUES)
def test_any_value_comes_back_from_toml(value: object) -> None:
    """What is written is what the standard library's parser reads."""
    assert tomllib.loads(pair("a key", value)) == {"a key": value}


@given(st.text())
def test_text_stays_on_one_printable_line(text: str) -> None:
    """No sign of a text can break the line or hide in it."""
    line = value_text(text)
    assert len(line.splitlines()) == 1
    assert line.isprintable()


def test_sections_stand_in_reading_order_and_keys_in_the_order_of_the_tables() -> None:
    """Balls come before places, places before sensors; the id is first, the source last."""
    profile = read(MACHINES[-1].read_bytes(), "x")
    text = written(profile)
    marks = ["id = ", "[balls]", "[[place]]", "[[route]]", "[[phase]]", "[[sensor]]", "[matrix]",
             "[[bank]]", "[[coil]]", "[interlock]", "[controller]"]  # fmt: skip
    found = [text.index(mark) for mark in marks]
    assert found == sorted(found)
    names = [name for name, _ in in_order(Sensor)]
    assert (names[0], names[-3:]) == ("id", ["source", "dated", "assumed"])


def test_what_is_unknown_or_only_a_default_is_left_out() -> None:
    """A sensor of which only its name is known takes two lines."""
    profile = read(MACHINES[-1].read_bytes(), "x")
    bare = attrs.evolve(profile, sensor=(Sensor(id="one", kind="opto"),), dated=None)
    text = written(bare)
    assert '[[sensor]]\nid = "one"\nkind = "opto"\n\n' in text
    assert "counted" not in text
    assert "dated" not in text.partition("[balls]")[0]


def test_a_long_list_is_written_over_several_lines() -> None:
    """Lists that fit stay on one line; others take one line an entry."""
    assert pair("at", ["trough.1"]) == 'at = ["trough.1"]'
    long = pair("order", [f"sensor-{n}" for n in range(20)])
    assert long.splitlines()[1] == '    "sensor-0",'
    assert tomllib.loads(long)["order"][19] == "sensor-19"


def test_what_toml_cannot_hold_is_refused() -> None:
    """Nothing is converted on the way out."""
    assert value_text(datetime.date(2025, 1, 31)) == "2025-01-31"
    with pytest.raises(TypeError):
        value_text(None)
    with pytest.raises(ValueError, match="finite"):
        value_text(float("nan"))
