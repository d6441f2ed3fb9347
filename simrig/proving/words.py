"""The steps of a proof in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from simrig.expectation.reasons import place_words
from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.proving.step import LIVE, Change
from simrig.scan.controller import ball_reading
from simrig.signals import CLOSED, OPEN

READ_EMPTY: Final = "All balls out; captive ones stay. Read the ball sensors."

INTERLOCK: Final = (
    (
        "Hands out. Open the coin door, and have the machine fire a coil that the interlock cuts.",
        "Nothing moves. The interlock is never isolation.",
    ),
    ("Hands out. Shut the coin door, and have it fire the same coil.", "The coil fires."),
)


def feed(place: Place, number: int) -> str:
    """Return the words for feeding one ball."""
    return f"Feed ball {number} by hand: {place.title}."


def hold_in_jam(place: Place) -> str:
    """Return the words for holding a ball above the kicker."""
    return (
        f"With a stick, hold a ball above the one at the kicker, then take it away: {place.title}."
    )


def take_out(place: Place) -> str:
    """Return the words for taking a ball out."""
    return f"Take one ball out at the exit: {place.title}."


def kick(profile: Profile, route: Route) -> str:
    """Return the words for one kick."""
    coil = profile.row("coil", route.coil)
    title = coil.title if coil is not None else str(route.coil).replace("-", " ")
    return f"Have one ball kicked: {route.title} ({title})."


def take_back(place: Place) -> str:
    """Return the words for taking a served ball into the hand."""
    return f"Take the ball out again: {place.title}."


def stand(mechanism: str, state: str) -> str:
    """Return the words for setting a mechanism."""
    return f"Set the {mechanism.replace('-', ' ')} to {state}."


def across(profile: Profile, route: Route, spots: Sequence[str]) -> str:
    """Return the words for rolling a ball along a way."""
    names = dict.fromkeys(one.id for spot in spots for one in profile.covering[spot])
    return f"Roll a ball by hand across {', '.join(names)}: {route.title}."


def hold_at(profile: Profile, spot: str) -> str:
    """Return the words for holding a ball at a spot."""
    return f"Hold a ball there and take it away again: {place_words(profile, spot)}."


def push_captive(place: Place) -> str:
    """Return the words for moving a captive ball."""
    return f"Push the captive ball to the other end and let it come back: {place.title}."


def lying(place: Place, balls: int) -> str:
    """Return the words for balls that lie at a place."""
    return f"{balls} in the {place.title}"


def all_back(where: Sequence[str]) -> str:
    """Return the words for the last feeding."""
    return f"Put all balls back by hand: {', '.join(where)}."


def come_home(first: str) -> str:
    """Return the words for a ball that comes home by itself, the first coil named."""
    start = f"Have it go on ({first}) and let it" if first else "Let the ball"
    return f"{start} come home by itself; what it rolls across on the way shows it."


def expected(
    profile: Profile, made: Sequence[Change], reads: Mapping[str, str], *, first: bool
) -> str:
    """Say what must be seen: what a ball works on its way, and what reads when it lies."""
    passed: list[str] = []
    stays: list[str] = []
    perhaps: list[str] = []
    for name in dict.fromkeys(one.sensor for one in made if one.sensor in reads):
        readings = [one.reading for one in made if one.sensor == name]
        if not any(one.certain for one in made if one.sensor == name):
            # A phantom that comes and stays is seen in the end, however it came.
            stays_so = reads[name] == readings[0] and reads[name] in (CLOSED, OPEN)
            (stays if stays_so else perhaps).append(f"{name} {reads[name]}" if stays_so else name)
        elif len(readings) > 1 and readings[-1] != readings[0]:
            passed.append(f"{name} {readings[0]}, then {readings[1]}")
        else:
            stays.append(f"{name} {readings[-1]}")
    parts = []
    if passed:
        parts.append("On the way: " + "; ".join(passed) + ".")
    if stays:
        parts.append("Stays: " + "; ".join(stays) + ".")
    if perhaps:
        parts.append("May show it, too quick to be sure: " + ", ".join(perhaps) + ".")
    if not made and not first:
        return "Nothing changes."
    return " ".join([*parts, showing(profile, reads)])


def showing(profile: Profile, reads: Mapping[str, str]) -> str:
    """Say which sensors show a ball when everything lies."""
    shows = [name for name, reading in reads.items() if reading == ball_reading(profile, name)]
    unsure = [name for name, reading in reads.items() if reading not in ("closed", "open")]
    known = (
        f"Then these show a ball: {', '.join(shows)}." if shows else "Then no sensor shows a ball."
    )
    return known + (f" Not known: {', '.join(unsure)}." if unsure else "")


COMMON: Final = (
    "Local codes, the machine's own manual and qualified practice come first. Close the machine "
    "or stand by it while customers or children are near."
)


def caution(profile: Profile, before: str, now: str, *, first: bool) -> str:
    """Say what to beware of where the coils become dead or live, and at the start."""
    if before == now:
        return ""
    if now == LIVE:
        return (
            "Put the coil fuses back (same value and kind), shut the door, hands and tools out: "
            "coil voltage is there, and mechanisms move by themselves."
        )
    dead = (
        "Coils dead: unplug, wait, measure the stored charge gone, take out the coil fuses; then "
        "power on for the readings. A stick, not a finger, near a mechanism."
    )
    if profile.interlock is not None and profile.interlock.fitted:
        dead += " The door's interlock is never isolation."
    return f"{dead} {COMMON}" if first else dead
