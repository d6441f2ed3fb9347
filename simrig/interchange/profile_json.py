"""A profile as a JSON document, and back.

The document is what the file says, key for key, days as ``"2026-01-31"``.  Its key
``format`` versions it together with the profile format.  Reading goes through the
reader of profile files, so that one set of rules holds for both.
"""

from __future__ import annotations

import contextlib
import json
import math
import re
from collections.abc import Iterator, Mapping
from typing import Any, NoReturn

import attrs

from simrig.errors import Problem, ProfileError
from simrig.interchange import toml_writer
from simrig.interchange.profile_data import plain
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.keys import keys_of
from simrig.profile.located import decode
from simrig.profile.machine import Profile
from simrig.profile.reader import read as read_toml

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)


def document(profile: Profile) -> dict[str, Any]:
    """Return a profile as a document, ``format`` first."""
    return plain(profile)


def write(profile: Profile) -> str:
    """Return a profile as JSON text."""
    return json.dumps(document(profile), indent=2) + "\n"


def read(data: bytes, file: str, *, kinds: tuple[SensorKind, ...] = SENSOR_KINDS) -> Profile:
    """Read a profile from JSON; raise ProfileError with every problem found."""
    text = decode(data, file)
    found = _parsed(text, file)
    problems = list(_not_toml(found, file))
    if problems:
        raise ProfileError(problems)
    lines = [toml_writer.pair(name, value) for name, value in _with_days(found, Profile).items()]
    try:
        return read_toml("\n".join(lines).encode(), file, kinds=kinds)
    except ProfileError as error:
        raise ProfileError(attrs.evolve(one, line=None) for one in error.problems) from None


def _parsed(text: str, file: str) -> dict[str, Any]:
    def refuse(message: str, line: int | None = None) -> NoReturn:
        raise ProfileError([Problem(file=file, line=line, where="JSON", message=message)])

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in names if names.count(name) > 1)
            refuse(f'the key "{twice}" is given twice in one object; take one of them out')
        return found

    def constant(word: str) -> NoReturn:
        refuse(f"found {word}; wanted a number")

    try:
        found = json.loads(text, object_pairs_hook=once, parse_constant=constant)
    except json.JSONDecodeError as error:
        refuse(f"found what is not JSON ({error.msg}); mend the line", error.lineno)
    except (RecursionError, ValueError):
        refuse("found lists too deep in each other, or a number too long; wanted a profile")
    if not isinstance(found, dict):
        refuse("found no object; wanted one profile in braces")
    return found


def _not_toml(value: Any, file: str, path: str = "profile") -> Iterator[Problem]:
    """Yield what JSON can say and no profile file can: null, numbers past all bounds, half signs."""
    pending = [(path, value)]
    while pending:
        where, one = pending.pop()
        if one is None:
            yield Problem(
                file=file, where=where, message="found null; leave the key out where it is unknown"
            )
        elif isinstance(one, float) and not math.isfinite(one):
            yield Problem(
                file=file, where=where, message="found a number too large; wanted a smaller one"
            )
        elif isinstance(one, str) and not _whole(one):
            yield Problem(file=file, where=where, message="found half of a sign; mend the text")
        elif isinstance(one, Mapping):
            for name, member in one.items():
                here = name if where == "profile" else f"{where}, {name}"
                pending.append((here if _whole(name) else where, member))
                if not _whole(name):
                    pending.append((where, name))
        elif isinstance(one, list):
            pending += [(f"{where} {number}", member) for number, member in enumerate(one, 1)]


def _whole(text: str) -> bool:
    return not any("\ud800" <= sign <= "\udfff" for sign in text)


def _with_days(data: Mapping[str, Any], rows: type[Any]) -> dict[str, Any]:
    """Return a table with the text of its days as days."""
    import datetime

    known = keys_of(rows)
    found: dict[str, Any] = {}
    for name, value in data.items():
        key = known.get(name)
        if key is not None and key.shape == "date" and isinstance(value, str) and _DAY.match(value):
            with contextlib.suppress(ValueError):
                value = datetime.date.fromisoformat(value)
        elif key is not None and key.table is not None:
            if isinstance(value, Mapping):
                value = _with_days(value, key.table)
            elif isinstance(value, list):
                value = [
                    _with_days(row, key.table) if isinstance(row, Mapping) else row for row in value
                ]
        found[name] = value
    return found
