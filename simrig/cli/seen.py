"""The options that say what was seen, on the command line or on sheets."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable

import attrs

from simrig.cli import conditions as stated
from simrig.cli import shop
from simrig.cli.context import Context
from simrig.diagnosis.suspects import Sheet
from simrig.errors import InputError, Problem
from simrig.expectation.observation import observe, resolve
from simrig.host.catalogue import contents
from simrig.interchange import sheets
from simrig.profile.machine import Profile
from simrig.world.phases import Conditions

LISTS = ("closed", "open", "unknown", "flicker")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("what you saw (ids, addresses, numbers, ranges 31-35)")
    group.add_argument("--closed", metavar="A,B", help="these read closed; alone: all others open")
    group.add_argument("--open", metavar="A,B", help="these read open; alone: all others closed")
    group.add_argument("--unknown", metavar="A,B", help="these were not looked at")
    group.add_argument("--flicker", metavar="A,B", help="these flicker")
    group.add_argument("--others", choices=("rest",), help="every other switch is at rest")
    group.add_argument(
        "--sheet", action="append", default=[], metavar="FILE",
        help="a sheet of readings, CSV or TOML; - reads stdin",
    )  # fmt: skip


def seen(
    profile: Profile,
    arguments: argparse.Namespace,
    conditions: Conditions,
    *,
    needed: bool = True,
) -> tuple[Sheet, ...]:
    """Return every sheet; raises InputError with every fault, or when none is there but needed."""
    problems: list[Problem] = []
    found: list[Sheet] = []
    lists = {name: _names(profile, name, getattr(arguments, name), problems) for name in LISTS}
    if any(getattr(arguments, name) is not None for name in LISTS) or (
        arguments.others and not arguments.sheet
    ):
        try:
            observation = observe(
                profile,
                **lists,
                closed_named=arguments.closed is not None,
                open_named=arguments.open is not None,
                others_rest=arguments.others == "rest",
            )
            found.append(Sheet(observation=observation, conditions=conditions))
        except ValueError as error:
            problems.append(Problem(file="command line", where="readings", message=str(error)))
    for file in arguments.sheet:
        try:
            name, data = (
                ("stdin", sys.stdin.buffer.read())
                if file == "-"
                else (file, contents(file, "sheet"))
            )
            for sheet in sheets.read(profile, data, name, conditions):
                if arguments.others == "rest":
                    sheet = attrs.evolve(sheet, observation=sheets.others_at_rest(profile, sheet))
                found.append(sheet)
        except InputError as error:
            problems.extend(error.problems)
    if problems:
        raise InputError(problems)
    if needed and not found:
        message = "nothing was seen; say --closed A,B (all others are open), or --sheet FILE"
        raise InputError([Problem(file="command line", where="readings", message=message)])
    return tuple(found)


def configure_asked(parser: argparse.ArgumentParser) -> None:
    """Add the machine, what is taken for granted, and what was seen."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    stated.configure(parser)
    configure(parser)


def asked(
    arguments: argparse.Namespace, context: Context
) -> tuple[Profile, Conditions, tuple[Sheet, ...]]:
    """Return the machine, the conditions and every sheet that the options state.

    Raises InputError with the faults of all of them together.
    """
    profile = shop.unit(arguments, context)
    problems: list[Problem] = []
    conditions = Conditions()
    try:
        conditions = stated.conditions(profile, arguments)
    except InputError as error:
        problems.extend(error.problems)
    try:
        found = seen(profile, arguments, conditions)
    except InputError as error:
        raise InputError([*problems, *error.problems]) from None
    if problems:
        raise InputError(problems)
    return profile, conditions, found


def _names(
    profile: Profile, option: str, text: str | None, problems: list[Problem]
) -> Iterable[str]:
    named: list[str] = []
    for word in (text or "").split(","):
        if not word.strip() or word.strip() == "none":
            continue
        try:
            named.extend(resolve(profile, word))
        except ValueError as error:
            problems.append(Problem(file="command line", where=f"--{option}", message=str(error)))
    return named
