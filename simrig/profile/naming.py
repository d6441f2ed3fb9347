"""Names in messages: of tables, of rows, and which name was meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


def listed(names: list[str], most: int = 4) -> str:
    """Return names in words, cut where they are many."""
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"


def words(table: str) -> str:
    """Return what people call a row of a table."""
    return {
        "bank": "emitter bank",
        "board": "receiver board",
        "return": "common return",
        "inputs": "input board",
    }.get(table, table.replace("_", " "))


def counted(number: int, what: str) -> str:
    """Return a number of things in words.

    >>> counted(1, "ball"), counted(2, "ball")
    ('1 ball', '2 balls')
    """
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def hint(name: str, known: Iterable[str]) -> str:
    """Return what to do about an unknown name: take the nearest known one, or one of all.

    >>> hint("trogh", ["trough", "lock"]), hint("x", ["trough", "lock"]), hint("x", [])
    ('did you mean "trough"?', 'known: trough, lock', 'the profile states none')
    """
    names = list(known)
    if close := near(name, names):
        return f'did you mean "{close}"?'
    return f"known: {listed(names, 20)}" if names else "the profile states none"


def near(name: str, known: Iterable[str]) -> str | None:
    """Return the known name that was probably meant, or None.

    >>> near("trogh", ["trough", "lock"])
    'trough'
    """
    found = difflib.get_close_matches(name[:80], known, 1)
    return found[0] if found else None
