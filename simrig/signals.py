"""The words for a reading, and nothing else.

A switch is *open* or *closed*.  A prediction may also be *either*: legal
positions of the balls, or unknown facts, differ.  What a person saw may also
*flicker* or be *unknown*: not looked at.
"""

from __future__ import annotations

from typing import Final, Literal

Reading = Literal["closed", "open", "either", "flickers", "unknown"]

CLOSED: Final = "closed"
OPEN: Final = "open"
EITHER: Final = "either"
FLICKERS: Final = "flickers"
UNKNOWN: Final = "unknown"


def opposite(reading: str) -> str:
    """Return the reading that someone notes who takes the symbols the wrong way round."""
    return {CLOSED: OPEN, OPEN: CLOSED}.get(reading, reading)
