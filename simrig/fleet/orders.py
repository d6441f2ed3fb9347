"""What is asked of the workers: pieces of a machine's work, and what is said with each."""

from __future__ import annotations

from typing import Final

import attrs

PIECE: Final = 8
"""Trials in a piece, where there are several machines: what they share is made once."""

SMALL_PIECE: Final = 2
"""Trials in a piece of a machine that is alone."""


@attrs.frozen(kw_only=True)
class Options:
    """What is done with every machine.

    ``singles`` None injects every single fault; ``examples`` are those that each check of
    the conformance suite draws, None leaves the suite out.
    """

    singles: int | None = None
    pairs: int = 0
    seed: int = 0
    examples: int | None = None


@attrs.frozen(kw_only=True)
class Order:
    """One piece of the work on one machine.

    The bytes of the profile go with it: they are few, the worker may be on another
    computer, and the file may change meanwhile.  ``piece`` counts the pieces of the trials,
    or the checks of the conformance suite where ``check`` names one.  ``size`` is the number of trials
    in a piece, ``surroundings`` what the sender's answers rest on besides.
    """

    machine: int
    file: str
    data: bytes = attrs.field(repr=False)
    options: Options
    piece: int = 0
    check: str = ""
    size: int
    strict: bool = False
    surroundings: str = ""

    @property
    def name(self) -> str:
        """What this piece of a machine's work is called."""
        return f"conformance {self.check}" if self.check else f"trials {self.piece}"

    @property
    def turn(self) -> tuple[int, bool, int]:
        """When it is its turn: machine after machine, the trials first."""
        return self.machine, bool(self.check), self.piece
