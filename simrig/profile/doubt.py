"""Which parts of a file cannot be trusted, so that one fault is told once and not again by what
rests on it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

Path = tuple[str | int, ...]


class Doubt:
    """Paths of a file at which something is wrong already, and names that are lost with their rows.

    ``lost`` holds, by table, the ids of rows that are there but cannot be used;
    ``nameless`` what stands for the id in rows where that cannot be one: as many
    unknown names are excused, since one of them may be theirs.
    """

    def __init__(self, paths: Iterable[Path] = ()) -> None:
        self._bad: set[Path] = set()
        self._around: set[Path] = set()
        self.lost: dict[str, set[str]] = {}
        self.nameless: dict[str, list[str]] = {}
        for path in paths:
            self.add(path)

    def add(self, path: Path) -> None:
        """Doubt what stands at a path, and everything in it."""
        self._bad.add(path)
        self._around.update(path[:length] for length in range(len(path)))

    def lose(self, table: str, name: str) -> None:
        """Say that the row of this id is lost."""
        self.lost.setdefault(table, set()).add(name)

    def lose_nameless(self, table: str, stands: object) -> None:
        """Say that a row is lost whose id cannot be one, and what stands there."""
        written = stands.lower() if isinstance(stands, str) else ""
        self.nameless.setdefault(table, []).append(written)

    def within(self, path: Path) -> bool:
        """Whether a path leads to, or into, something doubted."""
        return any(path[:length] in self._bad for length in range(1, len(path) + 1))

    def around(self, path: Path) -> bool:
        """Whether something in what stands at a path is doubted, but not the whole of it."""
        return path in self._around

    def about(self, path: Path) -> bool:
        """Whether a path leads to, into, or around something doubted."""
        return self.around(path) or self.within(path)

    def forgive(self, table: str, unknown: Mapping[str, int]) -> None:
        """Excuse unknown names for nameless rows: the most alike, then the most called for.

        ``unknown`` gives how often each is called for.
        """
        left = dict(unknown)
        while left and self.nameless.get(table):
            written = self.nameless[table].pop()

            def likeness(name: str, written: str = written) -> tuple[float, int]:
                return difflib.SequenceMatcher(None, name, written[:80]).ratio(), left[name]

            name = max(left, key=likeness)
            del left[name]
            self.lose(table, name)

    def excuses(self, table: str, name: str) -> bool:
        """Whether a name that no row has may be that of a row which is lost."""
        if self.within((table,)):
            return True
        if name not in self.lost.get(table, ()):
            self.forgive(table, {name: 1})
        return name in self.lost.get(table, ())
