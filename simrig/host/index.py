"""The plug-in index: what the installed plug-ins bring, kept between runs.

Making it means importing every plug-in, each in a process of its own.  A warm
index needs none of that: it is one JSON file, and it is used only while every
file that decided it is as it was (:mod:`simrig.host.stamps`): the entry points of
all distributions on the search path, the modules that plug-ins loaded, their
profiles and the folders that these lie in.  A kept file that cannot be read, or
a cache folder that cannot be written, costs time and nothing else.
"""

from __future__ import annotations

import json
import os
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from simrig.errors import Problem
from simrig.host import stamps
from simrig.host.drafts import replace
from simrig.host.entries import Entry
from simrig.host.found import Index, Kind, Machine, Made
from simrig.host.stamps import Stamp

FORMAT: Final = 2
RETRY_SECONDS: Final = 600
"""How long a plug-in that ran out of time is left alone before it is tried again."""


def current(path: list[str] | None = None) -> Index:
    """Return the index for a search path (this process's own), from the cache where it is warm."""
    search = list(sys.path if path is None else path)
    before = stamps.distributions(search)
    kept = _kept_file(search)
    found = _read(kept, search, before)
    if found is not None:
        return found
    from simrig.host.making import make

    began = time.time_ns()
    made = make(search)
    rests_on = [*before, *made.rests_on]
    if stamps.settled(rests_on, began):
        _write(kept, search, before, made)
    return made.found


def cache_folder() -> Path:
    """Return the folder for what can be made again."""
    stated = os.environ.get("XDG_CACHE_HOME", "")
    base = Path(stated) if os.path.isabs(stated) else Path(os.path.expanduser("~")) / ".cache"
    return base / "simrig"


def _kept_file(search: list[str]) -> Path:
    from zlib import crc32

    mark = crc32("\0".join(stamps.surroundings(search)).encode("utf-8", "surrogatepass"))
    return cache_folder() / f"plugins-{mark:08x}.json"


def _read(kept: Path, search: list[str], before: list[Stamp]) -> Index | None:
    try:
        document = json.loads(kept.read_bytes())
        if document["format"] != FORMAT or document["for"] != stamps.surroundings(search):
            return None
        if document["distributions"] != [list(entry) for entry in before]:
            return None
        until = document["until"]
        if until is not None and not 0 <= until - time.time() <= RETRY_SECONDS:
            return None
        if stamps.changed([_stamp(entry) for entry in document["rests_on"]]):
            return None
        return _index(document)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def _stamp(entry: list[Any]) -> Stamp:
    path, content, changed, size = entry
    return path, content, changed, size


def _index(document: dict[str, Any]) -> Index:
    return Index(
        machines=tuple(Machine(*row) for row in document["machines"]),
        kinds=tuple(Kind(*row) for row in document["kinds"]),
        accepted=tuple(Entry(*row) for row in document["accepted"]),
        refused=tuple(Entry(*row) for row in document["refused"]),
        problems=tuple(
            Problem(file=file, where=where, message=message)
            for file, where, message in document["problems"]
        ),
        hooks=tuple(str(hook) for hook in document["hooks"]),
    )


def _write(kept: Path, search: list[str], before: list[Stamp], made: Made) -> None:
    index = made.found
    document = {
        "format": FORMAT,
        "for": stamps.surroundings(search),
        "distributions": before,
        "rests_on": made.rests_on,
        "until": time.time() + RETRY_SECONDS if made.timed_out else None,
        "machines": index.machines,
        "kinds": index.kinds,
        "accepted": index.accepted,
        "refused": index.refused,
        "hooks": index.hooks,
        "problems": [[problem.file, problem.where, problem.message] for problem in index.problems],
    }
    with suppress(OSError, ValueError):
        kept.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        replace(kept, json.dumps(document).encode("ascii"))
