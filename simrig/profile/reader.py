"""From the text of a profile file to a Profile, or to every problem in it at once.

Strict: nothing is converted.  Complete: a wrong value is left out and reading
goes on, so that the cross-checks see the rest.  Located: each problem has its line.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from typing import Any

import attrs

from simrig.errors import Problem, ProfileError
from simrig.profile import keys
from simrig.profile.checking import contradictions
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.keys import Key, Stated, attribute_of, keys_of
from simrig.profile.located import Located, decode, locate
from simrig.profile.machine import Origin, Profile

Path = tuple[str | int, ...]


def read(data: bytes, file: str, *, kinds: tuple[SensorKind, ...] = SENSOR_KINDS) -> Profile:
    """Read a profile; raise ProfileError with every problem found.

    ``kinds`` are the kinds of sensor that are known: the built-in ones and those
    that plug-ins bring.
    """
    profile, problems = examine(data, file, kinds=kinds)
    if profile is None or problems:
        raise ProfileError(problems)
    return profile


def examine(
    data: bytes, file: str, *, kinds: tuple[SensorKind, ...] = SENSOR_KINDS
) -> tuple[Profile | None, tuple[Problem, ...]]:
    """Read as far as it goes: the profile where its structure allows one, and all problems."""
    try:
        located = locate(decode(data, file), file)
    except ProfileError as error:
        return None, tuple(attrs.evolve(problem, rule="not-toml") for problem in error.problems)
    faults = list(_unreadable(located.data, Profile, ()))
    problems = [
        Problem(
            file=file,
            line=located.line(path),
            where=where(located, path),
            message=message,
            rule=rule,
        )
        for path, message, rule in faults
    ]
    if located.data.get("format", 1) != 1:
        return None, tuple(problems)
    bad = {path for path, _, _ in faults}
    profile = _build(located.data, Profile, (), bad)
    if profile is None:
        return None, tuple(problems)
    origin = Origin(file=file, lines=_lines(located))
    profile = attrs.evolve(profile, origin=origin, kinds=kinds)
    for path, message, rule in contradictions(profile):
        if not any(path[: len(known)] == known for known in bad if known):
            problems.append(
                Problem(
                    file=file,
                    line=located.line(path),
                    where=where(located, path),
                    message=message,
                    rule=rule,
                )
            )
    problems.sort(key=lambda problem: problem.line or 0)
    return profile, tuple(problems)


def where(located: Located, path: Path) -> str:
    """Return a path in words: rows by their id where they have one."""
    words: list[str] = []
    value: Any = located.data
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            value = None
        if isinstance(step, int) and words:
            name = value.get("id") if isinstance(value, Mapping) else None
            words[-1] += f" {name}" if isinstance(name, str) else f" {step + 1}"
        else:
            words.append(str(step))
    return ", ".join(words) or "profile"


def _lines(located: Located) -> dict[Path, int]:
    found: dict[Path, int] = {}

    def walk(value: Any, path: Path) -> None:
        found[path] = located.line(path)
        if isinstance(value, Mapping):
            for name, member in value.items():
                walk(member, (*path, name))
        elif isinstance(value, list):
            for index, member in enumerate(value):
                walk(member, (*path, index))

    walk(located.data, ())
    return found


def _unreadable(
    data: Mapping[str, Any], rows: type[Any], path: Path
) -> Iterator[tuple[Path, str, str]]:
    known = keys_of(rows)
    for name, value in data.items():
        if name not in known:
            near = difflib.get_close_matches(name, known, 1)
            hint = f'did you mean "{near[0]}"?' if near else "known here: " + ", ".join(known)
            yield (*path, name), f"this key is not known; {hint}", "unknown-key"
            continue
        key = known[name]
        if key.shape == "tables" and isinstance(value, list):
            if key.most is not None and len(value) > key.most:
                yield (
                    (*path, name),
                    f"found {len(value)} rows; at most {key.most} are allowed",
                    "too-many",
                )
            for index, row in enumerate(value):
                yield from _table(row, key, (*path, name, index))
        elif key.shape == "table":
            yield from _table(value, key, (*path, name))
        else:
            for below, message in key.faults(value):
                yield (*path, name, *below), message, "wrong-value"
    for name, key in known.items():
        if key.required and name not in data:
            yield path, f'the key "{name}" is missing; wanted {key.expects()}', "missing-key"
    if issubclass(rows, Stated):
        yield from _assumptions(data, known, path)


def _table(value: Any, key: Key, path: Path) -> Iterator[tuple[Path, str, str]]:
    if not isinstance(value, Mapping):
        yield path, f"found {keys.shown(value)}; wanted a table", "wrong-value"
    elif key.table is not None:
        yield from _unreadable(value, key.table, path)


def _assumptions(
    data: Mapping[str, Any], known: Mapping[str, Key], path: Path
) -> Iterator[tuple[Path, str, str]]:
    stated = data.get("assumed")
    if not isinstance(stated, Mapping):
        return
    for name in stated:
        if name not in known:
            yield (*path, "assumed", name), "no key of this table has that name", "unknown-key"
        elif name not in data:
            yield (
                (*path, "assumed", name),
                "it is called assumed, but the table does not state it; state it or leave it out",
                "missing-key",
            )


def _build(data: Mapping[str, Any], rows: type[Any], path: Path, bad: set[Path]) -> Any:
    arguments: dict[str, Any] = {}
    for name, key in keys_of(rows).items():
        here = (*path, name)
        value = data.get(name)
        if value is None or here in bad:
            value = None
        elif key.shape == "tables" and key.table is not None:
            built = [
                _build(row, key.table, (*here, index), bad)
                for index, row in enumerate(value)
                if isinstance(row, Mapping)
            ]
            value = tuple(row for row in built if row is not None)
        elif key.shape == "table" and key.table is not None:
            value = _build(value, key.table, here, bad) if isinstance(value, Mapping) else None
        elif any(known[: len(here)] == here for known in bad):
            value = _sound_members(value, here, bad)
        if value is None or (key.required and value in ((), {})):
            if key.required:
                return None
            continue
        arguments[attribute_of(name)] = value
    return rows(**arguments)


def _sound_members(value: Any, here: Path, bad: set[Path]) -> Any:
    def sound(step: str | int) -> bool:
        return not any(known[: len(here) + 1] == (*here, step) for known in bad)

    if isinstance(value, Mapping):
        return {name: member for name, member in value.items() if sound(name)} or None
    if isinstance(value, list):
        return [member for index, member in enumerate(value) if sound(index)] or None
    return None
