"""The option that takes a recorded log as evidence: ``--log``."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from simrig.cli import log_files
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.logged import Logged
    from simrig.profile.machine import Profile
    from simrig.world.phases import Conditions


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "--log", action="append", default=[], metavar="FILE",
        help="a recorded log, CSV or VCD; - for stdin",
    )  # fmt: skip
    log_files.configure(parser)


def evidence(
    profile: Profile, arguments: argparse.Namespace, conditions: Conditions, context: Context
) -> tuple[Logged, ...]:
    """Return the logs as evidence, and tell on stderr what they show."""
    from simrig.diagnosis.logged import Logged
    from simrig.expectation.replay import StartError, replay

    found = []
    for file in dict.fromkeys(arguments.log):
        try:
            judged = replay(
                profile,
                log_files.events(profile, file, arguments, context),
                conditions=conditions,
            )
        except StartError as error:
            raise wrong("conditions", str(error)) from None
        if not context.quiet:
            for note in judged.notes:
                print(f"{file}: {note}", file=sys.stderr)
            for one in judged.anomalies[:5]:
                print(f"{file}: {one.kind} {one.sensor}: {one.why}", file=sys.stderr)
            if len(judged.anomalies) > 5:
                left = len(judged.anomalies) - 5
                print(f"{file}: {left} more; simrig replay lists them", file=sys.stderr)
        found.append(Logged(profile=profile, replay=judged))
    return tuple(found)
