"""Tables of keys read from located text: every fault found, with its line, and what is sound built.

Serves every format whose keys are frozen attrs classes (:mod:`simrig.profile.keys`):
profiles, sheets, scenarios.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

from simrig.errors import Problem
from simrig.profile import keys
from simrig.profile.doubt import Doubt
from simrig.profile.keys import Key, Stated, attribute_of, keys_of

if TYPE_CHECKING:
    from simrig.profile.located import Located

Path = tuple[str | int, ...]
Fault = tuple[Path, str, str]
StandingIn = Literal["nothing", "keys", "members"]

MOST_FAULTS: Final = 500
"""A file with more is not read further: the last problem says so."""


def read_table(located: Located, rows: type[Any]) -> tuple[Any, list[Problem]]:
    """Read a whole file as one table; return it and the problems.

    With problems, it serves to look for more of them and nothing else: what is
    wrong is left out, and something neutral stands in for a required key.
    """
    faults, doubt = faults_of(located.data, rows)
    problems = [problem(located, path, message, rule) for path, message, rule in faults]
    return build(located.data, rows, (), doubt, standing_in="keys"), problems


def faults_of(data: Mapping[str, Any], rows: type[Any]) -> tuple[list[Fault], Doubt]:
    """Return the faults of a whole file, at most :data:`MOST_FAULTS`, and what they put in doubt."""
    doubt = Doubt()
    faults = limited(unreadable(data, rows, (), doubt))
    for path, _, rule in faults:
        if rule != "past-bound":
            doubt.add(path)
    return faults, doubt


def limited(faults: Iterable[Fault]) -> list[Fault]:
    """Return the faults; where there are too many, the first of them and one that says so."""
    found = list(itertools.islice(faults, MOST_FAULTS + 1))
    if len(found) > MOST_FAULTS:
        words = f"more than {MOST_FAULTS} faults; the rest is not told; mend these first"
        found[MOST_FAULTS:] = [((), words, "wrong-value")]
    return found


def problem(located: Located, path: Path, message: str, rule: str = "") -> Problem:
    """Return a problem at a path of a file."""
    return Problem(
        file=located.file,
        line=located.line(path),
        where=where(located.data, path),
        message=message,
        rule=rule,
    )


def where(data: Mapping[str, Any], path: Path) -> str:
    """Return a path in words: rows by their id where they have one."""
    words: list[str] = []
    value: Any = data
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            value = None
        if isinstance(step, int) and words:
            name = value.get("id") if isinstance(value, Mapping) else None
            words[-1] += f" {_plain(name)}" if isinstance(name, str) else f" {step + 1}"
        else:
            words.append(_plain(str(step)))
    return ", ".join(words) or "profile"


def _plain(name: str) -> str:
    """A name as it can be printed on one line, cut to a readable length."""
    text = name if name.isprintable() else name.encode("unicode_escape").decode("ascii")
    return text if len(text) <= 60 else text[:57] + "..."


def unreadable(
    data: Mapping[str, Any], rows: type[Any], path: Path, doubt: Doubt
) -> Iterator[Fault]:
    """Yield path, message and rule of each fault of a table.

    What a misspelt key would have said is put in ``doubt``, so that nothing else
    complains of its absence.
    """
    known = keys_of(rows)
    meant: set[str] = set()
    for name, value in data.items():
        if name not in known:
            near = _near(name, known, data)
            if near is not None:
                meant.add(near)
                _misspelt(value, known[near], (*path, near), near in data, doubt)
            hint = f'did you mean "{near}"?' if near else "known here: " + _listed(rows)
            yield (*path, name), f"this key is not known; {hint}", "unknown-key"
            continue
        key = known[name]
        if key.shape == "tables" and isinstance(value, list):
            yield from _rows(value, key, (*path, name), doubt)
        elif key.shape == "table":
            yield from _table(value, key, (*path, name), doubt)
        else:
            for below, message in key.faults(value):
                yield (*path, name, *below), message, "wrong-value"
    for name, key in known.items():
        if key.required and name not in data and name not in meant:
            message = f'the key "{name}" is missing; wanted {key.expects()}'
            yield (*path, name), message, "missing-key"
    if issubclass(rows, Stated):
        yield from _assumptions(data, known, path)


def _listed(rows: type[Any]) -> str:
    """The keys of a table, its own first."""
    stated = keys_of(Stated) if issubclass(rows, Stated) else {}
    own = [name for name in keys_of(rows) if name not in stated]
    return ", ".join([*own, *stated])


def _near(name: str, known: Mapping[str, Key], data: Mapping[str, Any]) -> str | None:
    for choice in ([key for key in known if key not in data], known):
        found = difflib.get_close_matches(name[:80], choice, 1, 0.7)
        if found:
            return found[0]
    return None


def _misspelt(value: Any, key: Key, path: Path, given: bool, doubt: Doubt) -> None:
    if not given:
        doubt.add(path)
    if key.shape == "tables" and isinstance(value, list) and len(path) == 1:
        for row in value:
            if isinstance(row, Mapping):
                _lose(str(path[0]), row, doubt)


def _lose(table: str, row: Mapping[str, Any], doubt: Doubt) -> None:
    name = row.get("id")
    if isinstance(name, str):
        doubt.lose(table, name)
    else:
        doubt.lose_nameless(table, name)


def _rows(value: list[Any], key: Key, path: Path, doubt: Doubt) -> Iterator[Fault]:
    if key.most is not None and len(value) > key.most:
        words = f"found {len(value)} rows; at most {key.most} are allowed; take some out"
        yield (*path, key.most), words, "past-bound"
    named = len(path) == 1 and key.table is not None and "id" in keys_of(key.table)
    for index, row in enumerate(value):
        if key.most is not None and index >= key.most:
            if named and isinstance(row, Mapping):
                _lose(str(path[0]), row, doubt)
            continue
        bad_name = not isinstance(row, Mapping) or "id" not in row
        for fault in _table(row, key, (*path, index), doubt):
            bad_name = bad_name or fault[0] == (*path, index, "id")
            yield fault
        if named and bad_name:
            doubt.lose_nameless(str(path[0]), row.get("id") if isinstance(row, Mapping) else None)


def _table(value: Any, key: Key, path: Path, doubt: Doubt) -> Iterator[Fault]:
    if key.table is None or not isinstance(value, Mapping):
        yield path, f"found {keys.shown(value)}; wanted a table", "wrong-value"
    else:
        yield from unreadable(value, key.table, path, doubt)


def _assumptions(data: Mapping[str, Any], known: Mapping[str, Key], path: Path) -> Iterator[Fault]:
    stated = data.get("assumed")
    if not isinstance(stated, Mapping):
        return
    for name in stated:
        if name not in known:
            yield (
                (*path, "assumed", name),
                "no key of this table is called so; name one",
                "unknown-key",
            )
        elif name not in data:
            yield (
                (*path, "assumed", name),
                "it is called assumed, but the table does not state it; state it or leave it out",
                "missing-key",
            )


def build(
    data: Mapping[str, Any],
    rows: type[Any],
    path: Path,
    doubt: Doubt,
    *,
    standing_in: StandingIn = "nothing",
) -> Any:
    """Build a table from what is sound; None where a required key is not.

    ``standing_in`` puts something neutral where a required key is wrong (``keys``),
    and also where the member of a list or of pairs is (``members``), so that every
    row keeps its place and cross-checks see the rest: such a table serves them and
    nothing else.
    """
    arguments: dict[str, Any] = {}
    for name, key in keys_of(rows).items():
        here = (*path, name)
        value = data.get(name)
        if value is None or doubt.within(here):
            value = None
        elif key.shape == "tables" and key.table is not None:
            built = [
                build(
                    row if isinstance(row, Mapping) else {},
                    key.table,
                    (*here, index),
                    doubt,
                    standing_in=standing_in,
                )
                for index, row in enumerate(value[: key.most])
                if standing_in != "nothing" or isinstance(row, Mapping)
            ]
            value = tuple(row for row in built if row is not None)
        elif key.shape == "table" and key.table is not None:
            value = build(value, key.table, here, doubt, standing_in=standing_in)
        elif doubt.around(here):
            value = _members(value, key, here, doubt, standing_in)
        if value is None or (key.required and value == ()):
            if not key.required:
                continue
            if standing_in == "nothing":
                return None
            value = _stand_in(key, here, doubt)
        arguments[attribute_of(name)] = value
    return rows(**arguments)


def _members(value: Any, key: Key, here: Path, doubt: Doubt, standing_in: StandingIn) -> Any:
    """The members of a list or of pairs that are sound, or something neutral in their place."""
    pairs = value.items() if isinstance(value, Mapping) else enumerate(value)
    found: dict[Any, Any] = {}
    for step, member in pairs:
        at = (*here, step)
        if doubt.within(at):
            if standing_in != "members" or key.item is None:
                continue
            found[step] = _stand_in(key.item, at, doubt)
        elif doubt.around(at) and key.item is not None:
            sound = _members(member, key.item, at, doubt, standing_in)
            if sound is not None:
                found[step] = sound
        else:
            found[step] = member
    if not found:
        return None
    return found if isinstance(value, Mapping) else list(found.values())


def _stand_in(key: Key, here: Path, doubt: Doubt) -> Any:
    if key.shape == "table" and key.table is not None:
        return build({}, key.table, here, doubt, standing_in="members")
    if key.shape == "list" and key.item is not None:
        return (_stand_in(key.item, here, doubt),)
    if key.shape in ("integer", "number"):
        return key.words[0] if key.words else key.high
    if key.shape == "choice":
        return key.choices[0]
    rows = "-".join(str(step) for step in here if isinstance(step, int))
    return {"mapping": {}, "tables": (), "balls": 0, "boolean": True}.get(
        key.shape, f"unreadable-{rows or 0}"
    )
