"""``simrig expect``: what each ball sensor must read."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING

from simrig.cli import conditions as stated
from simrig.cli import shop
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.faults.candidates import Fault
    from simrig.profile.machine import Profile


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    stated.configure(parser)
    parser.add_argument("--all", action="store_true", help="a line for each sensor")
    parser.add_argument("--why", action="store_true", help="the chain behind each reading")
    parser.add_argument(
        "--fault", action="append", default=[], metavar="KIND:PART", help="with this fault in it"
    )
    shop.configure(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the expected readings."""
    from simrig.expectation.prediction import expect

    profile = shop.unit(arguments, context)
    conditions = stated.conditions(profile, arguments)
    faults = _faults(profile, arguments.fault, context)
    try:
        found = expect(profile, conditions, faults=faults)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    if context.json:
        from simrig.interchange import documents

        named = {"faults": [fault.name for fault in faults]} if faults else {}
        context.answer(documents.prediction(found) | named | shop.document(context))
        return 0
    from simrig.reports import expectation_text

    shop.say(context)
    if faults:
        from simrig.diagnosis.words import fault_words
        from simrig.reports import wording

        inside = "; ".join(fault_words(profile, fault) for fault in faults)
        context.say(wording.folded(f"With this wrong: {inside}.", "  "))
    for line in expectation_text.lines(profile, conditions, found, every=arguments.all):
        context.say(line)
    if arguments.why:
        context.say("")
        for line in expectation_text.chains(found):
            context.say(line)
    return 0


def _faults(profile: Profile, names: Sequence[str], context: Context) -> tuple[Fault, ...]:
    """Return the faults that are named; raises InputError for what this machine cannot have."""
    if not names:
        return ()
    from simrig.faults.candidates import fault_named, possible_faults

    possible = possible_faults(profile, context.fault_kinds())
    try:
        found = tuple(fault_named(possible, name) for name in dict.fromkeys(names))
    except ValueError as error:
        raise wrong("--fault", str(error)) from None
    parts = [fault.component for fault in found]
    for fault in found:
        if parts.count(fault.component) > 1:
            same = [one.name for one in found if one.component == fault.component]
            message = f"{' and '.join(same)}: a part fails in one way at a time; keep one of them"
            raise wrong("--fault", message)
    return found
