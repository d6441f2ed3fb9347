"""Where each statement of a TOML text begins and ends, so that one can be changed alone."""

from __future__ import annotations

from typing import Any, NamedTuple

from simrig.profile.positions import Array, Path, Place, Positions, Table


class Pair(NamedTuple):
    """Offsets of one ``key = value``: of its first sign, its last key, its value, its end."""

    start: int
    key: int
    value: int
    end: int


class Spans(Positions):
    """The positions of a text, with the span of every pair, header and pair of braces."""

    def __init__(self, text: str) -> None:
        self._pairs: dict[tuple[int, str], Pair] = {}
        self._headers: dict[int, tuple[int, int]] = {}
        self._ends: dict[int, int] = {}
        self._braces: dict[int, tuple[int, int]] = {}
        super().__init__(text)

    def table(self, path: Path) -> Table:
        """Return the table at a path, which must be there."""
        place: Any = self.root
        for step in path:
            place = place.items[step]
        assert isinstance(place, Table), "a path leads to a table"
        return place

    def pair(self, table: Table, key: str) -> Pair | None:
        """Return the span of a key that stands in a table; None for tables under headers."""
        return self._pairs.get((id(table), key))

    def header(self, table: Table) -> tuple[int, int] | None:
        """Return where the header of a table begins and ends; None where it has none."""
        return self._headers.get(id(table))

    def braces(self, table: Table) -> tuple[int, int] | None:
        """Return where the braces of a table in one line open and end; None for others."""
        return self._braces.get(id(table))

    def end(self, table: Table) -> int:
        """Return the end of the last statement of a table, the tables below it included."""
        found = [self._ends.get(id(table), 0)]
        for place in table.items.values():
            below = place.items if isinstance(place, Array) else [place]
            found += [self.end(one) for one in below if isinstance(one, Table)]
        return max(found)

    def line_end(self, offset: int) -> int:
        """Return the offset of the end of the line on which an offset lies."""
        end = self.text.find("\n", offset)
        return len(self.text) if end < 0 else end

    def line_start(self, offset: int) -> int:
        """Return the offset of the start of the line on which an offset lies."""
        return self.text.rfind("\n", 0, offset) + 1

    def _read_header(self, at: int) -> tuple[Table, int, int]:
        table, depth, end = super()._read_header(at)
        self._headers[id(table)] = at, end
        self._ends[id(table)] = end
        return table, depth, end

    def _read_pair(self, table: Table, depth: int, at: int) -> int:
        end = super()._read_pair(table, depth, at)
        self._ends[id(table)] = end
        keys, value = self._read_keys(at, "=")
        while self.text.startswith((" ", "\t"), value):
            value += 1
        for name, _ in keys[:-1]:
            below = table.items[name]
            assert isinstance(below, Table), "a dotted key leads through tables"
            table = below
            self._ends[id(table)] = end
        name, key = keys[-1]
        self._pairs[id(table), name] = Pair(at, key, value, end)
        return end

    def _read_inline_table(self, depth: int, at: int, start: int) -> tuple[Place, int]:
        place, end = super()._read_inline_table(depth, at, start)
        self._braces[id(place)] = at - 1, end
        return place, end
