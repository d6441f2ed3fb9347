"""Expected readings in words and a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from simrig.expectation.prediction import Expected, Prediction
from simrig.expectation.reasons import place_words
from simrig.profile.machine import Profile
from simrig.reports import growth_text, tables, wording
from simrig.world.phases import Conditions

BALL: Final = {True: "ball", False: "no ball", None: "either"}
HEADINGS: Final = ("sensor", "address", "where", "ball", "reads")
ROWS_ON_FIRST_SCREEN: Final = 11
NOTES: Final = 8


def lines(
    profile: Profile, conditions: Conditions, found: Prediction, *, every: bool
) -> Iterator[str]:
    """Yield what was assumed, what each sensor must read, and what that stands on.

    Unless ``every`` sensor is wanted in a row of its own, neighbours that read alike
    share one where the table would not fit the first screen.
    """
    yield wording.folded(wording.assumed(profile, conditions))
    yield wording.folded(wording.polarity(profile)) + "\n"
    known = [one for one in found.readings if one.place is not None]
    plain = [
        one
        for one in known
        if one.ball is False and one.reading == "open" and _only_passed(profile, one)
    ]
    resting = [one for one in known if one not in plain]
    if resting:
        groups: Sequence[list[Expected]] = [[one] for one in resting]
        if len(resting) > ROWS_ON_FIRST_SCREEN and not every:
            groups = _alike(resting)
        rows = [_row(profile, group) for group in groups]
        yield tables.table(rows, HEADINGS, width=80)
        if len(groups) < len(resting):
            yield "Neighbours that read alike share a line; --all gives each its own."
    if plain:
        names = ", ".join(one.sensor for one in plain)
        yield wording.folded(f"OPEN, no ball passing: {names}.", "  ")
    left = len(found.readings) - len(known)
    if left:
        yield f"\n{left} switches: not known yet what works them."
    notes = growth_text.alike(profile, [note for one in known for note in one.depends_on])
    if notes:
        yield "\nThis stands on:"
        for note in notes[:NOTES]:
            yield wording.folded("  " + note, "    ")
        if len(notes) > NOTES:
            yield f"  and {len(notes) - NOTES} more: --json lists them by sensor"


def chains(found: Prediction) -> Iterator[str]:
    """Yield the chain behind each reading."""
    for one in found.readings:
        if one.place is not None:
            yield wording.folded(f"{one.sensor}: {one.why}.", "  ")


def _only_passed(profile: Profile, one: Expected) -> bool:
    """Whether balls only pass this sensor, or only stack before it."""
    sensor = profile.row("sensor", one.sensor)
    return not any(profile.spots[spot].resting for spot in sensor.spots)


def _alike(resting: list[Expected]) -> list[list[Expected]]:
    groups: list[list[Expected]] = []
    for one in resting:
        last = groups[-1][-1] if groups else None
        if last is not None and (last.place, last.ball, last.reading, last.depends_on) == (
            one.place,
            one.ball,
            one.reading,
            one.depends_on,
        ):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _row(profile: Profile, group: list[Expected]) -> tuple[str, ...]:
    first, last = group[0], group[-1]
    where = [place_words(profile, profile.row("sensor", one.sensor).spots[0]) for one in group]
    address, names = first.address, first.sensor
    if first is not last:
        addresses = [profile.address_of.get(one.sensor) for one in group]
        address = _span(wording.short_address(addresses[0]), wording.short_address(addresses[-1]))
        names = f"{first.sensor} to {last.sensor}"
    spot = _span(where[0], where[-1]).replace(" position ", " ")
    return (
        names,
        address,
        where[0] if where[0] == where[-1] else spot,
        BALL[first.ball],
        first.reading.upper(),
    )


def _span(first: str, last: str) -> str:
    """Return "first to last", with the words that both begin with said once."""
    words, others = first.split(" "), last.split(" ")
    while len(others) > 1 and words[: 1 - len(others)] and others[0] == words[0]:
        words, others = words[1:], others[1:]
    return first if first == last else f"{first} to {' '.join(others)}"
