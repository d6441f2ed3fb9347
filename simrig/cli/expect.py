"""``simrig expect``: what each ball sensor must read."""

from __future__ import annotations

import argparse

from simrig.cli import conditions as stated
from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    stated.configure(parser)
    parser.add_argument("--all", action="store_true", help="a line for each sensor")
    parser.add_argument("--why", action="store_true", help="the chain behind each reading")
    parser.add_argument(
        "--fault", action="append", default=[], metavar="KIND:PART", help="with this fault in it"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the expected readings."""
    from simrig.expectation.prediction import expect

    profile = context.profile(arguments.machine)
    conditions = stated.conditions(profile, arguments)
    table = None
    if arguments.fault:
        from simrig.faults.candidates import fault_named, possible_faults
        from simrig.faults.injection import inject
        from simrig.scan.scanner import links

        possible = possible_faults(profile)
        try:
            faults = [fault_named(possible, name) for name in arguments.fault]
            table = inject(profile, links(profile), faults)
        except ValueError as error:
            raise wrong("--fault", str(error)) from None
    try:
        found = expect(profile, conditions, table=table)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    if context.json:
        from simrig.interchange import documents

        context.answer(documents.prediction(found))
        return 0
    from simrig.reports import expectation_text

    for line in expectation_text.lines(profile, conditions, found, every=arguments.all):
        context.say(line)
    if arguments.why:
        context.say("")
        for line in expectation_text.chains(found):
            context.say(line)
    return 0
