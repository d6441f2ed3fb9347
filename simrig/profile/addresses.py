"""Where a reading is read: a crossing of the matrix, a direct input, an input of a board."""

from __future__ import annotations

import re

import attrs

_MATRIX = re.compile(r"(?:column\s*|c\s*)(\d{1,3})[\s,/]*(?:row\s*|r\s*)(\d{1,3})\Z")
_DIRECT = re.compile(r"(?:direct\s*|d\s*)(\d{1,4})\Z")
_BOARD = re.compile(r"([a-z0-9][a-z0-9-]*)[\s:]+(\d{1,4})\Z")


@attrs.frozen(kw_only=True)
class Address:
    """One place where the controller reads: exactly one of its three forms."""

    column: int | None = None
    row: int | None = None
    direct: int | None = None
    board: str | None = None
    input: int | None = None

    def __attrs_post_init__(self) -> None:
        forms = (
            self.column is not None and self.row is not None,
            self.direct is not None,
            self.board is not None and self.input is not None,
        )
        given = [value for value in attrs.astuple(self) if value is not None]
        if sum(forms) != 1 or len(given) != (1 if forms[1] else 2):
            raise ValueError("an address is column and row, or direct, or board and input")

    @property
    def in_matrix(self) -> bool:
        """Whether it is a crossing of the matrix."""
        return self.column is not None

    def __str__(self) -> str:
        if self.column is not None:
            return f"column {self.column} row {self.row}"
        if self.direct is not None:
            return f"direct {self.direct}"
        return f"{self.board} {self.input}"


def parse(text: str) -> Address | None:
    """Read an address as people write it; None where it is not one.

    >>> str(parse("Column 3, row 4")), str(parse("c3r4")), str(parse("node-a 7"))
    ('column 3 row 4', 'column 3 row 4', 'node-a 7')
    """
    words = text.strip().lower()
    if match := _MATRIX.match(words):
        return Address(column=int(match[1]), row=int(match[2]))
    if match := _DIRECT.match(words):
        return Address(direct=int(match[1]))
    match = _BOARD.match(words)
    # Half of another form is no board of that name.
    if match and match[1] not in ("column", "row", "direct"):
        return Address(board=match[1], input=int(match[2]))
    return None
