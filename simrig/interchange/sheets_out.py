"""Sheets as text that the commands read again: the TOML form, one ``[[sheet]]`` each."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from simrig.world.phases import Conditions


def toml(sheets: Iterable[tuple[Conditions, Mapping[str, str]]]) -> str:
    """Return sheets as a TOML file: the conditions that were stated, then the readings.

    >>> print(toml([(Conditions(phase="idle", balls=3), {"trough-1": "closed"})]))
    [[sheet]]
    phase = "idle"
    balls = 3
    readings = { trough-1 = "closed" }
    <BLANKLINE>
    """
    found = []
    for conditions, readings in sheets:
        lines = ["[[sheet]]"]
        if conditions.phase is not None:
            lines.append(f"phase = {_text(conditions.phase)}")
        if conditions.balls is not None:
            lines.append(f"balls = {conditions.balls}")
        pairs = ", ".join(f"{name} = {_text(seen)}" for name, seen in readings.items())
        lines.append("readings = { " + pairs + " }")
        found.append("\n".join(lines) + "\n")
    return "\n".join(found)


def _text(word: str) -> str:
    # Ids hold no sign that JSON and TOML escape in different ways.
    return json.dumps(word, ensure_ascii=False)
