"""What a change of links makes different from the sound machine, whatever made it."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple, TypeVar

from simrig.faults.deltas import Delta
from simrig.scan.circuit import Crossing, Node
from simrig.world.worlds import Value

_Key = TypeVar("_Key", bound=Hashable)
_Entry = TypeVar("_Entry")


class Content(NamedTuple):
    """What differs from the sound machine; equal for changes that no reading can part."""

    contacts: Mapping[str, Value] = {}
    leads: Mapping[str, str] = {}
    crossings: Mapping[str, Crossing] = {}
    strobes: Mapping[int, frozenset[Node]] = {}
    reads: Mapping[int, frozenset[Node]] = {}
    held: frozenset[int] = frozenset()
    joined: tuple[tuple[str, int, int], ...] = ()

    def key(self) -> Hashable:
        """A value that is equal for equal contents."""
        tables = self.contacts, self.leads, self.crossings, self.strobes, self.reads
        return *[frozenset(table.items()) for table in tables], self.held, self.joined

    def size(self) -> int:
        """How many switches it concerns, a driven line counting for all of its own."""
        return len(self.contacts) + len(self.crossings) + 10 * len(self.strobes)


class Change(NamedTuple):
    """A change of links with its content; ``number`` is the same for equal contents, 0 for none."""

    delta: Delta
    number: int
    content: Content


def merged(contents: Sequence[Content]) -> Content:
    """Return the content of changes of different links, made together."""
    if len(contents) == 1:
        return contents[0]
    return Content(
        contacts=_union([one.contacts for one in contents]),
        leads=_union([one.leads for one in contents]),
        crossings=_union([one.crossings for one in contents]),
        strobes=_union([one.strobes for one in contents]),
        reads=_union([one.reads for one in contents]),
        held=frozenset().union(*[one.held for one in contents]),
        joined=tuple([pair for one in contents for pair in one.joined]),
    )


def _union(tables: Sequence[Mapping[_Key, _Entry]]) -> Mapping[_Key, _Entry]:
    filled = [one for one in tables if one]
    if len(filled) < 2:
        return filled[0] if filled else {}
    return {key: entry for one in filled for key, entry in one.items()}
