"""The state of a matrix under a change: the ways that are open, and the rows that are reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from simrig.faults.contents import Content
from simrig.scan.circuit import Node

Cells = dict[str, int]
"""The worlds in which each cell surely reads closed, and above them those in which it may."""

Forward = dict[Node, dict[str, tuple[Node, int]]]
Back = dict[str, tuple[Node, Node, int]]


class State(NamedTuple):
    """The machine under a change.

    ``forward`` and ``back`` are the ways through the matrix that are open in some
    world, by sensor; ``rows`` what each strobed column reaches; ``returning`` the
    columns whose signal passes back somewhere.  ``cells`` are the readings that
    differ from the sound machine's.
    """

    content: Content
    forward: Forward
    back: Back
    strobes: Mapping[int, frozenset[Node]]
    rows: Mapping[int, dict[Node, int]]
    returning: frozenset[int]
    cells: Cells


def rewired(
    forward: Forward, name: str, old: Node, new: Node, entry: tuple[Node, int] | None
) -> Forward:
    """Return the ways forward with one sensor's moved, changed or taken out."""
    changed = forward.copy()
    changed[old] = {key: way for key, way in changed.get(old, {}).items() if key != name}
    if entry is not None:
        changed[new] = {**changed.get(new, {}), name: entry}
    return changed


def returns(
    rows: Mapping[Node, int],
    back: Iterable[tuple[Node, Node, int]],
    driven: frozenset[Node],
) -> bool:
    """Tell whether a signal that has reached some rows passes back to a further column."""
    for row, node, value in back:  # noqa: SIM110, a loop is faster here
        if row in rows and rows[row] & value and node not in driven:
            return True
    return False
