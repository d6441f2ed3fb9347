"""What answers stand on, and what is worth finding next, in lines for the screen."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from simrig.profile.machine import Profile
from simrig.reports.wording import folded

MOST = 3


def worth_lines(profile: Profile) -> Iterator[str]:
    """Yield the facts most worth finding next, with the minutes each costs and what it sharpens."""
    from simrig.expectation.worth_finding import worth_finding

    found = worth_finding(profile)
    if not found:
        yield "\nNothing is left open that would sharpen a reading."
        return
    yield "\nWorth finding next:"
    for number, one in enumerate(found[:MOST], 1):
        start = "check: " if one.state == "assumed" else ""
        words = f"  {number}. {start}{one.fact} ({minutes(one.minutes)}): {one.gain}."
        yield folded(words, "     ")


def minutes(value: float) -> str:
    """Return a time in words."""
    if value < 1:
        return "half a minute" if value == 0.5 else "less than a minute"
    return f"about {value:.0f} minute{'s' if round(value) != 1 else ''}"


def alike(profile: Profile, notes: Iterable[str]) -> list[str]:
    """Return what answers stand on, with notes that differ only by the switch told once."""
    titles = sorted((sensor.title for sensor in profile.sensor), key=len, reverse=True)
    patterns = [re.compile(rf"(?<!\w){re.escape(title)}(?!\w)", re.IGNORECASE) for title in titles]
    groups: dict[str, list[str]] = {}
    for note in dict.fromkeys(notes):
        named = next(filter(None, (one.search(note) for one in patterns)), None)
        key = note if named is None else note[: named.start()] + note[named.end() :]
        groups.setdefault(key, []).append(note)
    return [
        same[0] if len(same) == 1 else f"{same[0]}; and {len(same) - 1} more like it"
        for same in groups.values()
    ]


def stands_on(profile: Profile, notes: Iterable[str]) -> Iterator[str]:
    """Yield the few lines that say what an answer stands on; nothing where all is known."""
    found = alike(profile, notes)
    if found:
        yield "\nThis stands on:"
    for note in found[:MOST]:
        yield folded(f"  {note}", "    ")
    if len(found) > MOST:
        yield f"  and {len(found) - MOST} more: --json lists them"
