"""Tables of keys read from located text: every fault found, with its line, and what is sound built.

Serves every format whose keys are frozen attrs classes (:mod:`simrig.profile.keys`):
profiles, sheets, scenarios.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from simrig.errors import Problem
from simrig.profile import keys
from simrig.profile.keys import Key, Stated, attribute_of, keys_of

if TYPE_CHECKING:
    from simrig.profile.located import Located

Path = tuple[str | int, ...]


def read_table(located: Located, rows: type[Any]) -> tuple[Any, list[Problem]]:
    """Read a whole file as one table; return it (None where a required key is wrong) and the
    problems."""
    faults = list(unreadable(located.data, rows, ()))
    problems = [problem(located, path, message, rule) for path, message, rule in faults]
    return build(located.data, rows, (), {path for path, _, _ in faults}), problems


def problem(located: Located, path: Path, message: str, rule: str = "") -> Problem:
    """Return a problem at a path of a file."""
    return Problem(
        file=located.file,
        line=located.line(path),
        where=where(located, path),
        message=message,
        rule=rule,
    )


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


def unreadable(
    data: Mapping[str, Any], rows: type[Any], path: Path
) -> Iterator[tuple[Path, str, str]]:
    """Yield path, message and rule of each fault of a table."""
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
        yield from unreadable(value, key.table, path)


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


def build(data: Mapping[str, Any], rows: type[Any], path: Path, bad: set[Path]) -> Any:
    """Build a table from what is sound; None where a required key is not."""
    arguments: dict[str, Any] = {}
    for name, key in keys_of(rows).items():
        here = (*path, name)
        value = data.get(name)
        if value is None or here in bad:
            value = None
        elif key.shape == "tables" and key.table is not None:
            built = [
                build(row, key.table, (*here, index), bad)
                for index, row in enumerate(value)
                if isinstance(row, Mapping)
            ]
            value = tuple(row for row in built if row is not None)
        elif key.shape == "table" and key.table is not None:
            value = build(value, key.table, here, bad) if isinstance(value, Mapping) else None
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
