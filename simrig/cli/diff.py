"""``simrig diff``: what changed between two revisions of a profile."""

from __future__ import annotations

import argparse

import attrs

from simrig.cli.context import Context


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("before", metavar="A", help="id of a machine, or a profile file")
    parser.add_argument("after", metavar="B", help="the other revision")
    parser.add_argument("--all", action="store_true", help="every fact and every reading")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Say what differs; 1 when anything does."""
    from simrig.expectation.revisions import revision

    found = revision(context.profile(arguments.before), context.profile(arguments.after))
    if context.json:
        from simrig.interchange.profile_data import plain_value

        context.answer(
            {
                "same": not found.changes,
                "changes": [plain_value(attrs.asdict(one)) for one in found.changes],
                "readings": [attrs.asdict(one) for one in found.readings],
            }
        )
    else:
        from simrig.reports import revision_text

        for line in revision_text.lines(found, everything=arguments.all):
            context.say(line)
    return 1 if found.changes else 0
