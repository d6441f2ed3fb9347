"""Expected readings in words and a table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.expectation.prediction import Expected, Prediction
from simrig.expectation.reasons import spots_words
from simrig.profile.machine import Profile
from simrig.reports import first_screen, growth_text, tables, wording
from simrig.scan.controller import ball_reading
from simrig.signals import CLOSED, OPEN
from simrig.world.phases import Conditions

BALL: Final = {True: "ball", False: "no ball", None: "either"}
HEADINGS: Final = ("sensor", "address", "where", "ball", "reads")
NOTES: Final = 8


def lines(
    profile: Profile, conditions: Conditions, found: Prediction, *, every: bool
) -> Iterator[str]:
    """Yield what was assumed, what each sensor must read, and what that stands on.

    Unless ``every`` sensor is wanted in a row of its own, neighbours that read alike
    share one where the table would not fit the first screen.
    """
    head = [
        wording.folded(wording.assumed(profile, conditions)),
        wording.folded(wording.polarity(profile)) + "\n",
    ]
    yield from head
    known = [one for one in found.readings if one.place is not None]
    left = len(found.readings) - len(known)
    notes = growth_text.alike(profile, [note for one in known for note in one.depends_on])
    below = [f"\n{left} switches: not known yet what works them."] if left else []
    below += list(_notes(notes))
    resting = [one for one in known if not _plain(profile, one, passed=True)]
    most = first_screen.ALL if every else first_screen.room(first_screen.LINES, head, below)
    # Nothing is left out: what reads as with no ball there is told in a sentence, at last all.
    with_balls = [one for one in resting if not _plain(profile, one, passed=False)]
    above: list[str] = []
    for shown, folded in ((resting, False), (resting, True), (with_balls, True), ([], True)):
        above = [*_table(profile, shown, folded=folded), *_sentences(profile, known, shown)]
        if first_screen.height(above) <= most:
            break
    yield from above
    yield from below


def _table(profile: Profile, resting: list[Expected], *, folded: bool) -> list[str]:
    if not resting:
        return []
    groups = _alike(profile, resting) if folded else [[one] for one in resting]
    found = [tables.table([_row(profile, group) for group in groups], HEADINGS, width=80)]
    if len(groups) < len(resting):
        found.append("Neighbours that read alike share a line; --all gives each its own.")
    return found


def _sentences(profile: Profile, known: list[Expected], shown: list[Expected]) -> Iterator[str]:
    """Yield in a sentence each what is not in the table, what reads alike together."""
    names = {one.sensor for one in shown}
    groups: dict[tuple[str, bool | None], list[Expected]] = {}
    for one in known:
        if one.sensor not in names:
            groups.setdefault((one.reading, one.ball), []).append(one)
    for (reading, ball), alike in groups.items():
        at = " passing" if all(_only_passed(profile, one) for one in alike) else ""
        what = {True: "a ball", False: f"no ball{at}", None: "a ball or not"}[ball]
        text = f"{reading.upper()}, {what}: {', '.join(one.sensor for one in alike)}."
        yield wording.folded(text, "  ")


def _notes(notes: list[str]) -> Iterator[str]:
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


def _plain(profile: Profile, one: Expected, *, passed: bool) -> bool:
    """Whether no ball is there and it reads so; with ``passed`` only open where balls only pass."""
    if one.ball is not False or one.reading not in (OPEN, CLOSED):
        return False
    if not passed:
        return one.reading != ball_reading(profile, one.sensor)
    return one.reading == OPEN and _only_passed(profile, one)


def _only_passed(profile: Profile, one: Expected) -> bool:
    """Whether balls only pass this sensor, or only stack before it."""
    sensor = profile.row("sensor", one.sensor)
    return not any(profile.spots[spot].resting for spot in sensor.spots)


def _alike(profile: Profile, resting: list[Expected]) -> list[list[Expected]]:
    groups: list[list[Expected]] = []
    for one in resting:
        last = groups[-1][-1] if groups else None
        several = any(
            len(profile.row("sensor", each.sensor).spots) > 1
            for each in (one, last)
            if each is not None
        )
        if (
            last is not None
            and not several
            and (last.place, last.ball, last.reading, last.depends_on)
            == (
                one.place,
                one.ball,
                one.reading,
                one.depends_on,
            )
        ):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _row(profile: Profile, group: list[Expected]) -> tuple[str, ...]:
    first, last = group[0], group[-1]
    where = [spots_words(profile, profile.row("sensor", one.sensor)) for one in group]
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
