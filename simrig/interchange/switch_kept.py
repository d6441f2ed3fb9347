"""What is kept of a switch list, and what is wrong with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import attrs

from simrig.errors import Problem
from simrig.profile.addresses import Address

MOST_SWITCHES: Final = 512
"""As many as a profile can hold."""

_LARGEST_LINE: Final = 64


@attrs.frozen(kw_only=True)
class Listed:
    """One switch of the list; what the list does not give is None or empty."""

    line: int
    name: str
    number: int | None = None
    address: Address | None = None
    wire: str = ""
    kind: str | None = None
    connector: str = ""
    pin: int | None = None


@attrs.frozen(kw_only=True)
class SwitchList:
    """The switches of a list in its order, what is wrong with it, and what was taken for granted.

    ``layout_assumed`` says why the addresses are only assumed, where they are.
    """

    switches: tuple[Listed, ...]
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()
    column_wires: Mapping[int, str] = attrs.field(factory=dict)
    row_wires: Mapping[int, str] = attrs.field(factory=dict)
    layout_assumed: str = ""


class Reading:
    """What has been read so far of one list."""

    def __init__(self, file: str) -> None:
        self.faults: list[Problem] = []
        self.file = file
        self.kept: list[Listed] = []
        self.notes: list[Problem] = []
        self.layout_assumed = ""
        self.mentioned: dict[int, int] = {}
        self.wires: dict[str, dict[int, str]] = {"column": {}, "row": {}}
        self._numbers: dict[int, int] = {}
        self._addresses: dict[Address, int] = {}

    def fault(self, line: int, where: str, message: str) -> None:
        """Note what is wrong in a line: the list cannot be taken as it stands."""
        self.faults.append(Problem(file=self.file, line=line, where=where, message=message))

    def note(self, line: int, where: str, message: str) -> None:
        """Note what a person should look at in a line; the list is taken all the same."""
        self.notes.append(Problem(file=self.file, line=line, where=where, message=message))

    def keep(self, one: Listed) -> None:
        """Keep a switch, unless its number or address has been there before."""
        if one.number is not None and one.number in self._numbers:
            first = self._numbers[one.number]
            message = f"{one.number} stands on line {first} too; keep the right one of the two"
            self.fault(one.line, "number", message)
        elif one.address is not None and one.address in self._addresses:
            first = self._addresses[one.address]
            message = f"{one.address} stands on line {first} too; keep the right one of the two"
            self.fault(one.line, "address", message)
        elif len(self.kept) >= MOST_SWITCHES:
            self.fault(one.line, "list", f"more than {MOST_SWITCHES} switches; take some out")
        else:
            if one.number is not None:
                self._numbers[one.number] = one.line
            if one.address is not None:
                self._addresses[one.address] = one.line
            self.kept.append(one)


def shortened(text: str) -> str:
    """Return what was found, short enough for a message."""
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:37] + "..."
