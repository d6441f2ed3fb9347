"""``simrig machines``: the profiles at hand."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context


def configure(parser: argparse.ArgumentParser) -> None:
    """No options of its own."""


def run(arguments: argparse.Namespace, context: Context) -> int:
    """List the machines; 2 when a profile in a folder cannot be read."""
    import sys

    catalogue = context.catalogue
    machines = catalogue.machines()
    if context.json:
        context.answer(
            {
                "machines": [
                    {"id": one.id, "title": one.title, "balls": one.balls, "source": one.source}
                    for one in machines
                ]
            }
        )
    elif machines:
        from simrig.reports.tables import table

        rows = [(one.id, one.title, one.balls, one.source) for one in machines]
        context.say(table(rows, ("machine", "title", "balls", "comes from")))
    else:
        context.say("No machine is at hand; install a plug-in, or name --profiles DIR.")
    for problem in catalogue.folder_problems:
        print(problem, file=sys.stderr)
    return 0
