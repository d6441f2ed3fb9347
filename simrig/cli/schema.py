"""``simrig schema``: what editors and other tools need to know of a file format."""

from __future__ import annotations

import argparse
import json

from simrig.cli.context import Context

FORMATS = ("profile", "scenario", "sheets")


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "of", choices=FORMATS, nargs="?", default="profile", help="the format (profile)"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the schema; it is a JSON document with or without --json."""
    from simrig.interchange import scenarios, sheets
    from simrig.interchange.schema import schema
    from simrig.profile.machine import Profile

    rows = {"profile": Profile, "scenario": scenarios.Scenario, "sheets": sheets.SheetFile}
    title = f"simrig {arguments.of}, format 1"
    context.say(json.dumps(schema(rows[arguments.of], title), indent=2))
    return 0
