"""Which plug-ins are installed: the entry points of the group ``simrig``, read by ourselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from simrig.errors import Problem

GROUP = "simrig"


class Entry(NamedTuple):
    """One entry point, and the distribution that brings it."""

    name: str
    value: str
    distribution: str
    version: str

    @property
    def source(self) -> str:
        """The distribution and its version."""
        return f"{self.distribution} {self.version}"

    def problem(self, stage: str, message: str) -> Problem:
        """Return a problem of this plug-in at a stage, such as ``on import``."""
        return Problem(file=self.source, where=f"plug-in {self.name}, {stage}", message=message)


def installed(path: list[str]) -> Iterator[Entry]:
    """Yield the plug-ins on a search path, in order of distribution and name.

    A distribution that an earlier one of the same name hides does not count;
    one whose metadata cannot be read is passed over.
    """
    from importlib.metadata import distributions

    found: dict[str, list[Entry]] = {}
    for distribution in distributions(path=path):
        try:
            name, version = distribution.metadata["Name"], distribution.version
            points = [point for point in distribution.entry_points if point.group == GROUP]
        except Exception:
            continue
        if not name:
            continue
        found.setdefault(
            re.sub(r"[-_.]+", "-", name).lower(),
            [Entry(point.name, point.value, name, version) for point in points],
        )
    for _, entries in sorted(found.items()):
        yield from sorted(entries)
