"""What differs between two revisions of a profile, in words."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from typing import Any

from simrig.expectation.revisions import Change, Revision, Shift
from simrig.reports.wording import folded

SHOWN = 7
"""Facts, and sensors whose readings change, that the first screen shows."""

ASIDE = frozenset(("source", "dated", "name", "note", "title", "version", "wire"))
"""Keys that change no answer: what is said of them comes last."""


def lines(found: Revision, *, everything: bool = False) -> Iterator[str]:
    """Yield the answer line by line."""
    if not found.changes:
        yield "The two profiles say the same."
        return
    facts, readings = len(found.changes), len(found.readings)
    verdict = f"{facts} fact{'s' * (facts != 1)} differ{'s' * (facts == 1)}; "
    if readings:
        verdict += f"{readings} expected reading{'s' * (readings != 1)} change"
        verdict += f"{'s' * (readings == 1)} with {'it' if facts == 1 else 'them'}."
    else:
        verdict += "no expected reading changes."
    yield verdict
    yield ""
    ordered = sorted(found.changes, key=lambda change: change.key in ASIDE)
    yield from _some([fact(change) for change in ordered], everything)
    if found.readings:
        yield ""
        yield "Expected readings:"
        yield from _some(list(_by_sensor(found.readings, everything)), everything)


def _some(texts: list[str], everything: bool) -> Iterator[str]:
    shown = texts if everything else texts[:SHOWN]
    yield from (folded("  " + text, "    ") for text in shown)
    if len(shown) < len(texts):
        yield f"  and {len(texts) - len(shown)} more: --all"


def fact(change: Change) -> str:
    """Return one changed fact in words."""
    where = " ".join(word for word in (change.table.replace("_", " "), change.row) if word)
    if change.kind == "order":
        return f"{where}: the rows stand in another order."
    if change.kind == "renamed":
        return f"{change.table.replace('_', ' ')} {change.before}: it is now called {change.after}."
    if not change.key:
        return f"{where}: {'new' if change.kind == 'added' else 'no longer there'}."
    start = f"{where}: " if where else ""
    if change.key == "assumed":
        return start + _assumed(change.before or {}, change.after or {})
    key = change.key.replace("_", " ")
    return f"{start}{key} was {words(change.before)}, now {words(change.after)}."


def _assumed(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    said = []
    for key in {**before, **after}:
        name = key.replace("_", " ")
        if key not in after:
            said.append(f"{name} is no longer assumed")
        elif key not in before:
            said.append(f"{name} is now only assumed ({after[key]})")
        elif before[key] != after[key]:
            said.append(f"{name} is assumed for another reason ({after[key]})")
    return "; ".join(said) + "."


def words(value: Any) -> str:
    """Return a value as it is read aloud; unknown where there is none."""
    if value is None:
        return "unknown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {words(member)}" for name, member in value.items()) or "nothing"
    if isinstance(value, list | tuple):
        return " or ".join(words(member) for member in value) if _rows(value) else _list(value)
    text = str(value)
    return f'"{text}"' if " " in text else text


def _rows(value: Any) -> bool:
    return bool(value) and all(isinstance(member, Mapping) for member in value)


def _list(value: Any) -> str:
    return ", ".join(words(member) for member in value) or "an empty list"


def _by_sensor(found: tuple[Shift, ...], everything: bool) -> Iterator[str]:
    """Yield one text for each sensor and change: the phases and the numbers of balls."""
    groups: dict[tuple[str, str, str], dict[str, list[int]]] = {}
    for shift in found:
        phases = groups.setdefault((shift.sensor, shift.before, shift.after), {})
        phases.setdefault(shift.phase, []).append(shift.balls)
    for (sensor, before, after), phases in groups.items():
        places = [f"{phase} with {_counts(balls)}" for phase, balls in phases.items()]
        if not everything and len(places) > 2:
            places = [places[0], f"{len(places) - 1} more phases"]
        yield f"{sensor} was {before.upper()}, now {after.upper()}: {'; '.join(places)}."


def _counts(balls: list[int]) -> str:
    ordered = sorted(balls)
    if len(ordered) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1:
        return f"{ordered[0]} to {ordered[-1]} balls"
    numbers = ", ".join(str(number) for number in ordered)
    return f"{numbers} ball{'s' * (ordered != [1])}"
