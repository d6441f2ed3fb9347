"""How to see that a file, a folder or a set of installed distributions has changed."""

from __future__ import annotations

import os
import sys
from typing import Final, TypeAlias

Stamp: TypeAlias = tuple[str, int, int, int]
"""A path, when its content and its entry changed (ns), and its size; -1 where it is not there."""

TICK: Final = 50_000_000
"""Nanoseconds within which a file system may give two changes the same time."""


def stamp(path: str) -> Stamp:
    """Return the stamp of a file or folder."""
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return path, 0, 0, -1
    # The size of a folder says nothing; on Windows the second time is that of creation.
    return path, found.st_mtime_ns, found.st_ctime_ns, found.st_size


def changed(stamps: list[Stamp]) -> bool:
    """Whether any of these files or folders is no longer as it was."""
    return any(stamp(before[0]) != before for before in stamps)


def settled(stamps: list[Stamp], now: int) -> bool:
    """Whether every change is old enough for a later one to show in the stamp.

    A file system that keeps whole seconds needs two of them.
    """
    for _, content, entry, _ in stamps:
        newest = max(content, entry)
        coarse = newest % 1_000_000_000 == 0
        if newest > now - (2_000_000_000 if coarse else TICK):
            return False
    return True


def distributions(path: list[str]) -> list[Stamp]:
    """Return the stamps of all that decides which entry points a search path offers."""
    found: list[Stamp] = []
    for folder in dict.fromkeys(path):
        try:
            with os.scandir(folder or ".") as inside:
                names = sorted(
                    entry.path
                    for entry in inside
                    if entry.name.endswith((".dist-info", ".egg-info", ".egg"))
                )
        except NotADirectoryError:
            found.append(stamp(folder))
            continue
        except OSError:
            continue
        for name in names:
            for file in ("entry_points.txt", "METADATA", "PKG-INFO"):
                entry = stamp(os.path.join(name, file))
                if entry[3] >= 0:
                    found.append(entry)
    return found


def surroundings(path: list[str]) -> list[str]:
    """Return what else a kept index depends on: this Python and its search path."""
    return [sys.executable, sys.version, *path]
