"""Which parts of a file cannot be trusted, so that one fault is told once and not again by what
rests on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

Path = tuple[str | int, ...]


class Doubt:
    """Paths of a file at which something is wrong already, and names that are lost with their rows.

    ``lost`` holds, by table, the ids of rows that are there but cannot be used;
    ``nameless`` counts the rows whose id cannot be read: as many unknown names are
    excused, since one of them may be theirs.
    """

    def __init__(self, paths: Iterable[Path] = ()) -> None:
        self._bad: set[Path] = set()
        self._around: set[Path] = set()
        self.lost: dict[str, set[str]] = {}
        self.nameless: Counter[str] = Counter()
        for path in paths:
            self.add(path)

    def add(self, path: Path) -> None:
        """Doubt what stands at a path, and everything in it."""
        self._bad.add(path)
        self._around.update(path[:length] for length in range(len(path)))

    def lose(self, table: str, name: object) -> None:
        """Say that a row is lost; without a name that can be read it counts as nameless."""
        if isinstance(name, str):
            self.lost.setdefault(table, set()).add(name)
        else:
            self.nameless[table] += 1

    def within(self, path: Path) -> bool:
        """Whether a path leads to, or into, something doubted."""
        return any(path[:length] in self._bad for length in range(1, len(path) + 1))

    def around(self, path: Path) -> bool:
        """Whether something in what stands at a path is doubted, but not the whole of it."""
        return path in self._around

    def about(self, path: Path) -> bool:
        """Whether a path leads to, into, or around something doubted."""
        return self.around(path) or self.within(path)

    def excuses(self, table: str, name: str) -> bool:
        """Whether a name that no row has may be that of a row which is lost."""
        lost = self.lost.setdefault(table, set())
        if name in lost:
            return True
        if self.nameless[table] > 0:
            self.nameless[table] -= 1
            lost.add(name)
            return True
        return False
