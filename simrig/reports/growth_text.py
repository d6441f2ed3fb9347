"""What is worth finding next, in lines for the screen."""

from __future__ import annotations

from collections.abc import Iterator

from simrig.profile.machine import Profile
from simrig.reports.wording import folded

MOST = 3


def worth_lines(profile: Profile) -> Iterator[str]:
    """Yield the facts most worth finding next, with the minutes each costs and what it sharpens."""
    from simrig.expectation.worth_finding import worth_finding

    found = worth_finding(profile)
    if not found:
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
