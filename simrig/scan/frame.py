"""Readings: what the controller shows, predicted or seen, for one world or for many."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import attrs

from simrig.signals import CLOSED, EITHER, FLICKERS, OPEN, UNKNOWN
from simrig.world.worlds import Value


@attrs.frozen(kw_only=True)
class Frame:
    """The reading of each sensor, by id.

    ``cells`` holds the worlds in which it surely reads closed and those in
    which it may; ``flickers`` the sensors seen to flicker.  What a person saw is
    a Frame of one world.
    """

    cells: Mapping[str, Value]
    everything: int = 1
    flickers: frozenset[str] = frozenset()

    def reading(self, sensor: str, within: int | None = None) -> str:
        """Return the reading of a sensor over the given worlds (all of them when left out)."""
        if sensor in self.flickers:
            return FLICKERS
        cell = self.cells.get(sensor)
        among = self.everything if within is None else within
        if cell is None:
            return UNKNOWN
        if cell.surely & among == among:
            return CLOSED
        return OPEN if not cell.maybe & among else EITHER

    def disagrees(self, sensor: str, seen: str) -> int:
        """Return the worlds in which a reading that was seen cannot be; flickers and unknown fit."""
        cell = self.cells.get(sensor)
        if cell is None:
            return 0
        if seen == CLOSED:
            return self.everything & ~cell.maybe
        return cell.surely if seen == OPEN else 0


def fewest(masks: Iterable[int], within: int) -> tuple[int, int]:
    """Return the least number of masks that any world is in, and the worlds that reach it.

    ``within`` are the worlds to choose from; it must not be empty.  The count of
    each world is kept in binary, one integer for each digit, so that a million
    worlds cost no loop.

    >>> fewest([0b011, 0b110], 0b111)
    (1, 5)
    """
    if not within:
        raise ValueError("no world to choose from")
    digits: list[int] = []
    for mask in masks:
        carry = mask & within
        for place, digit in enumerate(digits):
            digits[place], carry = digit ^ carry, digit & carry
        if carry:
            digits.append(carry)
    least, best = 0, within
    for place in reversed(range(len(digits))):
        without = best & ~digits[place]
        if without:
            best = without
        else:
            least += 1 << place
    return least, best
