"""Profiles that plug-ins bring, kept between runs as they were read and found sound.

Reading a profile strictly takes longer than all the rest of a short command.  What
was read is kept beside the plug-in index, with the very bytes it was read from
and the stamps of the modules that read it; unless both are as they were, it is
read anew.  Only sound profiles are kept.  A kept file that cannot be used, or a cache folder
that cannot be written, costs time and nothing else.
"""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zlib import crc32

import attrs

from simrig.host import stamps
from simrig.host.drafts import replace
from simrig.host.index import cache_folder
from simrig.profile import machine
from simrig.profile.doubt import Doubt
from simrig.profile.tables import build

if TYPE_CHECKING:
    from simrig.profile.components import SensorKind
    from simrig.profile.located import Located
    from simrig.profile.machine import Profile

_DAY: Final = "day:"
"""Marks a date in the JSON; a text that begins so, or with a blank, gets a blank before it."""


def profile(path: str, data: bytes, kinds: tuple[SensorKind, ...]) -> Profile:
    """Return the profile in the bytes of a file; raise ProfileError where it is not sound."""
    kept = _kept_file(path)
    reader = _reader(kinds)
    found = _read(kept, path, data, reader)
    if found is None:
        from simrig.profile.reader import read

        found = read(data, path, kinds=kinds)
        located = found.origin.located
        assert located is not None
        _write(kept, data, reader, located().data)
    return attrs.evolve(found, kinds=kinds)


def _kept_file(path: str) -> Path:
    name = os.path.abspath(path).encode("utf-8", "surrogatepass")
    return cache_folder() / f"profile-{crc32(name):08x}.json"


def _reader(kinds: tuple[SensorKind, ...]) -> list[Any]:
    """Return what decides how bytes are read: the modules of the reader and the sensor kinds."""
    folder = os.path.dirname(machine.__file__)
    with os.scandir(folder) as inside:
        modules = sorted(entry.path for entry in inside if entry.name.endswith(".py"))
    return [[list(stamps.stamp(module)) for module in modules], [kind.id for kind in kinds]]


def _read(kept: Path, path: str, data: bytes, reader: list[Any]) -> Profile | None:
    try:
        stored = kept.read_bytes()
        if not stored.startswith(data):
            return None
        mark, _, text = stored[len(data) :].partition(b"\n")
        if int(mark) != crc32(text):
            return None
        document = json.loads(text)
        if document["reader"] != reader or document["length"] != len(data):
            return None
        # It was checked before it was kept, and the mark says that it is what was kept.
        with attrs.validators.disabled():
            found: Profile | None = build(_dated(document["data"]), machine.Profile, (), Doubt())
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    if found is None:
        return None

    def located() -> Located:
        from simrig.profile.located import decode, locate

        return locate(decode(data, path), path)

    return attrs.evolve(found, origin=machine.Origin(file=path, located=located))


def _write(kept: Path, data: bytes, reader: list[Any], read: Mapping[str, Any]) -> None:
    document = {"reader": reader, "length": len(data), "data": _plain(read)}
    text = json.dumps(document).encode("ascii")
    with suppress(OSError, ValueError):
        kept.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        replace(kept, data + b"%d\n" % crc32(text) + text)


def _plain(value: Any) -> Any:
    if isinstance(value, datetime.date):
        return _DAY + value.isoformat()
    if isinstance(value, str):
        return " " + value if value.startswith((_DAY, " ")) else value
    if isinstance(value, Mapping):
        return {name: _plain(member) for name, member in value.items()}
    return [_plain(member) for member in value] if isinstance(value, list) else value


def _dated(value: Any) -> Any:
    if isinstance(value, str):
        if value.startswith(_DAY):
            return datetime.date.fromisoformat(value[len(_DAY) :])
        return value[1:] if value.startswith(" ") else value
    if isinstance(value, dict):
        return {name: _dated(member) for name, member in value.items()}
    return [_dated(member) for member in value] if isinstance(value, list) else value
