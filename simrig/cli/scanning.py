"""The options that say how the controller, or the recorder, reads the switches."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING

from simrig.cli.context import wrong

if TYPE_CHECKING:
    from simrig.profile.machine import Profile
    from simrig.scan.sampling import Sampling


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("how the switches are read (as the profile says)")
    group.add_argument("--scan-period", metavar="MS", help="time between two readings of a switch")
    group.add_argument("--debounce", metavar="N", help="equal readings in a row that are wanted")


def sampling(profile: Profile, arguments: argparse.Namespace) -> Sampling | None:
    """Return how the switches are read; None where neither options nor profile say it."""
    from simrig.expectation.motions import sampling_of

    period = readings = None
    if arguments.scan_period is not None:
        period = number(arguments.scan_period, "--scan-period", least=0.01, most=1000.0)
    if arguments.debounce is not None:
        readings = int(number(arguments.debounce, "--debounce", least=1, most=100, whole=True))
    return sampling_of(profile, period_ms=period, equal_readings=readings)


def number(text: str, option: str, *, least: float, most: float, whole: bool = False) -> float:
    """Return the number that an option states; raises InputError for any other text."""
    try:
        value = float(int(text)) if whole else float(text)
    except ValueError:
        value = math.nan
    if least <= value <= most:
        return value
    kind = "a whole number" if whole else "a number"
    raise wrong(option, f'found "{text}"; wanted {kind} from {least:g} to {most:g}')
