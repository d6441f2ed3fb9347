"""The steps of a proof in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from simrig.expectation.reasons import place_words
from simrig.profile.layout import Place, Route
from simrig.profile.machine import Profile
from simrig.proving.step import DEAD, LIVE, Change
from simrig.scan.controller import ball_reading

READ_EMPTY: Final = "All balls out; captive ones stay. Read the ball sensors."

INTERLOCK: Final = (
    (
        "Hands out. Open the coin door and have a coil fired, by starting a game.",
        "Nothing that the interlock cuts moves. It is never isolation.",
        LIVE,
    ),
    (
        "Shut the coin door and have the same coil fired, hands out.",
        "It fires.",
        LIVE,
    ),
)


def feed(place: Place, number: int) -> str:
    """Return the words for feeding one ball."""
    return f"Feed ball {number} into the {place.title} by hand."


def hold_in_jam(place: Place) -> str:
    """Return the words for holding a ball above the kicker."""
    return (
        f"With a stick, hold a ball above the one at the kicker of the {place.title}; take it away."
    )


def take_out(place: Place) -> str:
    """Return the words for taking a ball out."""
    return f"Take one ball out of the {place.title}, at its exit."


def kick(profile: Profile, route: Route) -> str:
    """Return the words for one kick."""
    coil = profile.row("coil", route.coil)
    title = coil.title if coil is not None else str(route.coil).replace("-", " ")
    return f"Have one ball kicked: {route.title} ({title})."


def take_back(place: Place) -> str:
    """Return the words for taking a served ball into the hand."""
    return f"Take the ball out of the {place.title}."


def stand(mechanism: str, state: str) -> str:
    """Return the words for setting a mechanism."""
    return f"Set the {mechanism.replace('-', ' ')} to {state}."


def across(profile: Profile, spot: str) -> str:
    """Return the words for rolling a ball across a spot."""
    title = place_words(profile, spot).removeprefix("passing: ")
    sensors = ", ".join(one.id for one in profile.covering.get(spot, ()))
    return f"Roll a ball by hand across {sensors}: {title}."


def push_captive(place: Place) -> str:
    """Return the words for moving a captive ball."""
    return f"Push the captive ball of the {place.title} to the other end and let it come back."


def all_back(place: Place, balls: int) -> str:
    """Return the words for the last feeding."""
    return f"Feed all {balls} balls back into the {place.title}."


def expected(
    profile: Profile, made: Sequence[Change], reads: Mapping[str, str], *, first: bool
) -> str:
    """Say what must be seen: what a ball works on its way, and what reads when it lies."""
    passed, stays = [], []
    for name in dict.fromkeys(one.sensor for one in made if one.sensor in reads):
        readings = [one.reading for one in made if one.sensor == name]
        may = "" if any(one.certain for one in made if one.sensor == name) else ", or goes unseen"
        if len(readings) > 1 and readings[-1] != readings[0]:
            passed.append(f"{name} {readings[0]}, then {readings[1]}{may}")
        else:
            stays.append(f"{name} {readings[-1]}{may}")
    parts = []
    if passed:
        parts.append("On the way: " + "; ".join(passed) + ".")
    if stays:
        parts.append("Stays: " + "; ".join(stays) + ".")
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


COILS: Final = {
    DEAD: "coils dead",
    LIVE: "coils live: door shut, hands out",
}
