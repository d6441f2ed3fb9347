"""``simrig part``: the parts behind one sensor, what to order, how to set it."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument("sensor", metavar="SENSOR", help="its id, its address or its number")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print what is known of the parts behind a sensor."""
    from simrig.expectation.observation import resolve
    from simrig.expectation.parts_behind import behind

    profile = context.profile(arguments.machine)
    try:
        names = resolve(profile, arguments.sensor)
    except ValueError as error:
        raise wrong("SENSOR", str(error)) from None
    found = [behind(profile, name) for name in names]
    if context.json:
        from simrig.interchange import part_document

        context.answer({"sensors": [part_document.document(profile, one) for one in found]})
        return 0
    from simrig.reports import part_text

    for number, one in enumerate(found):
        if number:
            context.say("")
        for line in part_text.lines(profile, one):
            context.say(line)
    return 0
