"""Readings over many worlds, by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.scan.frame import Frame, fewest
from simrig.world.worlds import Value

FRAME = Frame(
    cells={
        "closed": Value(0b111, 0b111),
        "open": Value(0, 0),
        "ball": Value(0b001, 0b001),
        "unsure": Value(0b001, 0b011),
    },
    everything=0b111,
    flickers=frozenset({"loose"}),
)


@pytest.mark.parametrize(
    ("sensor", "within", "reading"),
    [
        ("closed", None, "closed"),
        ("open", None, "open"),
        ("ball", None, "either"),
        ("ball", 0b001, "closed"),
        ("ball", 0b110, "open"),
        ("unsure", 0b010, "either"),
        ("unsure", 0b101, "either"),
        ("unsure", 0b100, "open"),
        ("loose", None, "flickers"),
        ("stranger", None, "unknown"),
    ],
)
def test_a_reading_over_some_worlds(sensor, within, reading):
    """Closed where it is so in all of them, open where it can be closed in none."""
    assert FRAME.reading(sensor, within) == reading


@pytest.mark.parametrize(
    ("sensor", "seen", "worlds"),
    [
        ("unsure", "closed", 0b100),
        ("unsure", "open", 0b001),
        ("unsure", "flickers", 0),
        ("closed", "unknown", 0),
        ("stranger", "closed", 0),
        ("stranger", "open", 0),
        ("open", "closed", 0b111),
    ],
)
def test_worlds_that_disagree(sensor, seen, worlds):
    """Those in which what was seen cannot be; flickers and unknown fit any."""
    assert FRAME.disagrees(sensor, seen) == worlds


def test_a_frame_of_one_world():
    """What a person saw is one world."""
    assert Frame(cells={"a": Value(1, 1)}).reading("a") == "closed"
    assert Frame(cells={"a": Value(1, 1)}).disagrees("a", "open") == 1


@given(st.lists(st.integers(0, 0b111111)), st.integers(1, 0b111111))
def test_fewest_is_the_least_of_counting_each(masks, within):
    """The least number of masks a world is in, and every world that reaches it."""
    counts = {n: sum(mask >> n & 1 for mask in masks) for n in range(6) if within >> n & 1}
    least = min(counts.values())
    assert fewest(masks, within) == (least, sum(1 << n for n in counts if counts[n] == least))


def test_no_world_to_choose_from():
    """The least of nothing is refused."""
    with pytest.raises(ValueError, match="no world to choose from"):
        fewest([1], 0)


def test_what_is_open_in_one_world_is_open():
    """A frame of one world is no frame of none."""
    assert Frame(cells={"a": Value(0, 0)}).reading("a") == "open"
    assert Frame(cells={"a": Value(0, 1)}).reading("a") == "either"
