"""``simrig replay``: a recorded log held against what the balls must have done."""

from __future__ import annotations

import argparse
import sys

from simrig.cli import conditions as stated
from simrig.cli import log_files, scanning
from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument(
        "log", metavar="LOG", help="a log, CSV (time,sensor,reading) or VCD; - for stdin"
    )
    log_files.configure(parser)
    stated.configure(parser)
    scanning.configure(parser)
    parser.add_argument("--all", action="store_true", help="every anomaly")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Judge the log; 0 where it agrees, 1 where something in it cannot be."""
    from simrig.expectation.replay import StartError, replay
    from simrig.reports import replay_text

    profile = context.profile(arguments.machine)
    conditions = stated.conditions(profile, arguments)
    sampling = scanning.sampling(profile, arguments)
    try:
        found = replay(
            profile,
            log_files.events(profile, arguments.log, arguments, context),
            conditions=conditions,
            sampling=sampling,
        )
    except StartError as error:
        raise wrong("conditions", str(error)) from None
    if not context.quiet:
        for note in found.notes:
            print(f"{arguments.log}: {note}", file=sys.stderr)
    if context.json:
        from simrig.interchange.replay_document import document

        context.answer(document(profile, found))
    else:
        for line in replay_text.answer(profile, conditions, found, every=arguments.all):
            context.say(line)
    return 0 if found.agrees else 1
