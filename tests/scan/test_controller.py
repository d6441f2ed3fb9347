"""What the controller counts."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from simrig.scan.controller import at_least, counts_at_least, shows_ball
from simrig.signals import CLOSED, OPEN, UNKNOWN
from simrig.world.worlds import Value

WORLDS = 12
EVERYTHING = (1 << WORLDS) - 1


@given(st.lists(st.integers(0, EVERYTHING), max_size=20), st.integers(0, 24))
def test_counting_all_worlds_at_once_is_counting_each(masks: list[int], wanted: int) -> None:
    """In each world the number of masks that hold it decides."""
    found = at_least(masks, wanted, EVERYTHING)
    for world in range(WORLDS):
        count = sum(mask >> world & 1 for mask in masks)
        assert (found >> world & 1) == (count >= wanted)


def test_open_means_a_ball() -> None:
    """Where open means a ball, the worlds that read closed show none."""
    assert shows_ball(OPEN, Value(0b001, 0b011), 0b111) == Value(0b100, 0b110)
    assert shows_ball(CLOSED, Value(0b001, 0b011), 0b111) == Value(0b001, 0b011)
    assert shows_ball(UNKNOWN, Value(0b001, 0b011), 0b111) == Value(0, 0b111)


def test_unsure_readings_give_an_unsure_count() -> None:
    """A reading that may be either makes the count of that world unsure."""
    shown = [Value(0b11, 0b11), Value(0b01, 0b11)]
    assert counts_at_least(shown, 2, 0b11) == Value(0b01, 0b11)
