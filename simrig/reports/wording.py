"""The words on the screen: what was assumed, the verdict, chances in words people use."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from simrig.expectation.reasons import place_words, spots_words
from simrig.profile.machine import Profile
from simrig.scan.controller import ball_reading
from simrig.signals import CLOSED, OPEN
from simrig.world.phases import Conditions, phase_of

if TYPE_CHECKING:
    from simrig.expectation.comparison import Comparison, Difference, Fit
    from simrig.expectation.location import Found
    from simrig.expectation.observation import Observation
    from simrig.profile.addresses import Address

WIDTH = 78


def folded(text: str, indent: str = "") -> str:
    """Return text folded to the width of a screen; later lines are indented."""
    return textwrap.fill(text, WIDTH, subsequent_indent=indent, break_on_hyphens=False)


def assumed(profile: Profile, conditions: Conditions) -> str:
    """Say what was taken for granted, and what of it nobody said."""
    if conditions.seen_only:
        return "Assumed: the balls lie as you said; nothing else."
    phase = phase_of(profile, conditions.phase)
    installed = profile.balls.installed
    balls = installed if conditions.balls is None else conditions.balls
    unsaid = [
        word
        for word, value in (("phase", conditions.phase), ("balls", conditions.balls))
        if value is None
    ]
    count = f"{balls} of {number(installed, 'ball')}"
    if balls == installed:
        count = f"all {balls} balls" if balls > 1 else "its one ball"
    said = f" (you did not say: {', '.join(unsaid)})" if unsaid else ""
    return f"Assumed: {phase.title}, {count} in the machine{said}."


def polarity(profile: Profile) -> str:
    """Say which reading means a ball, for all sensors or for those that differ."""
    ways: dict[str, list[str]] = {}
    for sensor in profile.ball_sensors():
        word = ball_reading(profile, sensor.id)
        ways.setdefault(word, []).append(sensor.id)
    if not ways:
        return "No ball sensor is known yet."
    if len(ways) == 1:
        (word,) = ways
        return (
            f"{word} = ball here."
            if word in (CLOSED, OPEN)
            else "Which reading means a ball is not known."
        )
    common = max(ways, key=lambda word: len(ways[word]))
    others = [
        f"{word} at {_few(names)}" if word in (CLOSED, OPEN) else f"not known at {_few(names)}"
        for word, names in ways.items()
        if word != common
    ]
    start = (
        f"{common} = ball here"
        if common in (CLOSED, OPEN)
        else "a ball's reading is mostly not known"
    )
    return f"{start}, but {'; '.join(others)}."


def short_address(address: Address | None) -> str:
    """Return an address in the short form that is also taken on the command line."""
    if address is not None and address.in_matrix:
        return f"c{address.column} r{address.row}"
    return str(address or "")


def taken(observation: Observation) -> str:
    """Say how many sensors nobody named were filled in, and how."""
    count = observation.taken_for_open or observation.taken_for_closed
    if not count:
        return ""
    read = "open" if observation.taken_for_open else "closed"
    were = "was" if count == 1 else "were"
    return f"{number(count, 'sensor')} that you did not name {were} taken for {read}."


def number(count: int, noun: str) -> str:
    """Return a number of things: ``1 ball``, ``2 balls``."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def verdict(profile: Profile, found: Comparison, home: Conditions) -> list[str]:
    """Say in a sentence whether what was seen is as it must be, and what would explain it."""
    if found.agrees:
        return [f"It agrees: {balls_at(profile, found.fits[0].at)}."]
    count = len(found.differences)
    lines = [f"It differs at {count} sensor{'s' if count > 1 else ''}."]
    if found.fits and not found.fits[0].differences:
        fits = [one for one in found.fits if not one.differences]
        lines.append(
            "It would fit, with no difference left, if " + fit_words(profile, fits[0], home) + "."
        )
        lines += [f"  or if {fit_words(profile, one, home)}." for one in fits[1:]]
        lines.append("Check that first: it costs nothing. No part need be at fault.")
    else:
        lines.append(
            "No other phase, count, numbering or way of reading the symbols explains it: "
            "a part, a wire, or a ball that hangs."
        )
    return lines


def differences(profile: Profile, rows: Iterable[Difference]) -> list[tuple[str, str, str, str]]:
    """Return the rows of a table of differences."""
    found = []
    for one in rows:
        sensor = profile.row("sensor", one.sensor)
        where = spots_words(profile, sensor)
        found.append((one.sensor, where, one.expected, one.seen))
    return found


def fit_words(profile: Profile, fit: Fit, home: Conditions) -> str:
    """Say under which assumptions what was seen fits."""
    parts = []
    if fit.inverted == ("all",):
        parts.append("you took all symbols the wrong way round")
    elif fit.inverted:
        parts.append(f"you took the symbols of {', '.join(fit.inverted)} the wrong way round")
    for place in fit.numbering:
        title = profile.row("place", place).title
        parts.append(f"the positions of the {title} were counted from the wrong end")
    if fit.moving:
        parts.append(f"a ball was passing ({_named(profile, fit.moving)}) when you looked")
    if not home.seen_only:
        phase = phase_of(profile, home.phase)
        if fit.phase != phase.id and fit.phase is not None:
            parts.append(f"the phase was {profile.row('phase', fit.phase).title}")
        balls = profile.balls.installed if home.balls is None else home.balls
        if fit.balls != balls:
            count = "1 ball was" if fit.balls == 1 else f"{fit.balls} balls were"
            parts.append(f"{count} in it, not {balls}")
    return " and ".join(parts) or "all is as assumed"


def _named(profile: Profile, name: str) -> str:
    row = profile.row("route", name) or profile.row("place", name)
    return str(row.title) if row is not None else name.replace("-", " ")


def balls_at(profile: Profile, at: Mapping[str, int]) -> str:
    """Say how many balls are where."""
    if not at:
        return "no ball in any position"
    words = []
    for name, number in at.items():
        row = profile.row("place", name) or profile.row("route", name)
        words.append(f"{number} in the {row.title}" if row is not None else f"{number} at {name}")
    return ", ".join(words)


def found_words(profile: Profile, found: Found) -> str:
    """Say where the balls are in one of the ways they can lie."""
    text = balls_at(profile, found.at)
    if not found.missing:
        return text
    return f"{text}; {found.missing} missing"


def hiding_words(profile: Profile, names: Iterable[str]) -> str:
    """Say where a missing ball can be."""
    words, ways = [], []
    for name in names:
        place = profile.row("place", name)
        if name in profile.spots:
            words.append(place_words(profile, name))
        elif place is not None:
            words.append(place.title)
        else:
            ways.append(profile.row("route", name).title)
    if ways:
        words.append("unseen on the way: " + ", ".join(ways))
    return "; ".join(words)


def chance(probability: float) -> str:
    """Return a chance in words that people use."""
    if probability >= 0.95:
        return "almost surely"
    if probability >= 0.075:
        return f"about {max(1, round(probability * 10))} in 10"
    if probability >= 0.0075:
        return f"about {max(1, round(probability * 100))} in 100"
    return "less than 1 in 100"


def _few(names: list[str]) -> str:
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")
