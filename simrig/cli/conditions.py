"""The options that say what is taken for granted about a machine, and what the eye saw."""

from __future__ import annotations

import argparse

from simrig.errors import InputError, Problem
from simrig.profile.machine import Profile
from simrig.profile.naming import hint
from simrig.world.phases import Conditions


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("what is taken for granted")
    group.add_argument("--phase", help="phase of play (idle when left out)")
    group.add_argument("--balls", help="balls in the machine (all installed when left out)")
    group.add_argument(
        "--at", action="append", default=[], metavar="PLACE=N", help="balls that you see at a place"
    )
    group.add_argument(
        "--seats", metavar="POSITION,...", help="exactly these positions hold a ball; none: none"
    )
    group.add_argument(
        "--state", action="append", default=[], metavar="NAME=STATE",
        help="how a diverter, a drop target or another mechanism stands",
    )  # fmt: skip
    group.add_argument("--door", choices=("open", "closed"), help="the coin door")


def conditions(profile: Profile, arguments: argparse.Namespace) -> Conditions:
    """Return the conditions that the options state; raises InputError with every fault in them."""
    problems: list[Problem] = []

    def fault(where: str, message: str) -> None:
        problems.append(Problem(file="command line", where=where, message=message))

    most = profile.balls.installed + 1
    balls = (
        _number(arguments.balls, "--balls", most, fault) if arguments.balls is not None else None
    )
    at: dict[str, int] = {}
    for pair in arguments.at:
        name, _, number = pair.partition("=")
        known = [place.id for place in profile.place] + [route.id for route in profile.route]
        if name not in known:
            fault("--at", f'no place or way is called "{name}"; {hint(name, known)}')
        elif (count := _number(number, "--at", 20, fault)) is not None:
            at[name] = count
    spots = _spots(profile, arguments.seats, fault)
    states: dict[str, str] = {}
    pairs = list(arguments.state)
    if arguments.door is not None:
        door = _door(profile)
        if door is None:
            fault("--door", "the profile has no sensor at the door; leave the option out")
        else:
            stands = profile.row("mechanism", door).states
            shut = next((state for state in stands if state != "open"), "closed")
            pairs.append(f"{door}={'open' if arguments.door == 'open' else shut}")
    for pair in pairs:
        name, _, state = pair.partition("=")
        mechanism = profile.row("mechanism", name)
        if mechanism is None:
            known = [row.id for row in profile.mechanism]
            fault("--state", f'no mechanism is called "{name}"; {hint(name, known)}')
        elif state not in mechanism.states:
            fault("--state", f'{name} can stand: {", ".join(mechanism.states)}; found "{state}"')
        else:
            states[name] = state
    phase = arguments.phase
    if phase is not None and profile.row("phase", phase) is None:
        fault("--phase", f'no phase is called "{phase}"; '
              + hint(phase, [row.id for row in profile.phase]))  # fmt: skip
    if problems:
        raise InputError(problems)
    return Conditions(phase=phase, balls=balls, at=at or None, spots=spots, states=states)


def _number(text: str, where: str, high: int, fault: object) -> int | None:
    if text.isascii() and text.isdigit() and len(text) < 4 and int(text) <= high:
        return int(text)
    assert callable(fault)
    fault(where, f'found "{text}"; wanted a whole number from 0 to {high}')
    return None


def _spots(profile: Profile, text: str | None, fault: object) -> frozenset[str] | None:
    if text is None:
        return None
    if text.strip() == "none":
        return frozenset()
    named = [word.strip() for word in text.split(",") if word.strip()]
    for word in named:
        if word not in profile.spots:
            assert callable(fault)
            fault("--seats", f'there is no position "{word}"; {hint(word, profile.spots)}')
    return frozenset(named) & frozenset(profile.spots)


def _door(profile: Profile) -> str | None:
    return next((row.id for row in profile.mechanism if row.kind == "door"), None)
