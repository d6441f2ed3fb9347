"""What the machine's controller makes of its readings: how many balls it counts.

All worlds are counted at once.  The number of sensors that show a ball is kept in
binary, one integer for each digit, as in :func:`simrig.scan.frame.fewest`.
"""

from __future__ import annotations

from collections.abc import Iterable

from simrig.profile.machine import Profile
from simrig.sensing.chain import chain, contact
from simrig.signals import CLOSED, OPEN, UNKNOWN
from simrig.world.worlds import Value


def ball_reading(profile: Profile, sensor: str) -> str:
    """Return the reading that means a ball at a sensor, from its chain: closed, open or unknown."""
    value = contact(chain(profile, profile.row("sensor", sensor)), Value(1, 1), 1)
    return CLOSED if value.surely else OPEN if not value.maybe else UNKNOWN


def shows_ball(means_ball: str, closed: Value, everything: int) -> Value:
    """Return the worlds in which a sensor shows a ball to the controller.

    ``closed`` are those in which it reads closed, ``means_ball`` is the reading that the
    controller was built to take for one; where that is unknown, either may.
    """
    if means_ball == CLOSED:
        return closed
    if means_ball == OPEN:
        return Value(everything & ~closed.maybe, everything & ~closed.surely)
    return Value(0, everything)


def at_least(masks: Iterable[int], wanted: int, everything: int) -> int:
    """Return the worlds that lie in at least ``wanted`` of the masks.

    >>> bin(at_least([0b0111, 0b0110, 0b1100], 2, 0b1111))
    '0b110'
    """
    digits: list[int] = []
    for mask in masks:
        carry = mask
        for place, digit in enumerate(digits):
            digits[place], carry = digit ^ carry, digit & carry
        if carry:
            digits.append(carry)
    # Compare from the highest digit down: what is equal or more so far, and what is more.
    enough, more = everything, 0
    for place in range(max(len(digits), wanted.bit_length()) - 1, -1, -1):
        digit = digits[place] if place < len(digits) else 0
        if wanted >> place & 1:
            enough &= digit
        else:
            more |= enough & digit
    return more | enough


def counts_at_least(shown: Iterable[Value], wanted: int, everything: int) -> Value:
    """Return the worlds in which the controller surely, and may, count so many balls."""
    values = list(shown)
    return Value(
        at_least([value.surely for value in values], wanted, everything),
        at_least([value.maybe for value in values], wanted, everything),
    )
