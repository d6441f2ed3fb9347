"""``simrig expect``: what each ball sensor must read."""

from __future__ import annotations

import argparse

from simrig.cli import conditions as stated
from simrig.cli.context import Context, wrong
from simrig.expectation.prediction import Expected
from simrig.profile.machine import Profile

BALL = {True: "ball", False: "no ball", None: "either"}


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    stated.configure(parser)
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
    from simrig.expectation.reasons import place_words
    from simrig.reports import growth_text, tables, wording

    context.say(wording.folded(wording.assumed(profile, conditions)))
    context.say(wording.folded(wording.polarity(profile)) + "\n")
    known = [one for one in found.readings if one.place is not None]
    plain = [
        one
        for one in known
        if one.ball is False and one.reading == "open" and _passing(profile, one)
    ]
    rows = []
    for one in known:
        if one not in plain:
            here = place_words(profile, profile.row("sensor", one.sensor).spots[0])
            rows.append((one.sensor, one.address, here, BALL[one.ball], one.reading.upper()))
    if rows:
        context.say(tables.table(rows, ("sensor", "address", "where", "ball", "reads")))
    if plain:
        names = ", ".join(one.sensor for one in plain)
        context.say(wording.folded(f"OPEN, no ball passing: {names}.", "  "))
    left = len(found.readings) - len(known)
    if left:
        context.say(f"\n{left} switches: not known yet what works them.")
    notes = growth_text.alike(profile, [note for one in known for note in one.depends_on])
    if notes:
        context.say("\nThis stands on:")
        for note in notes[:8]:
            context.say(wording.folded("  " + note, "    "))
        if len(notes) > 8:
            context.say(f"  and {len(notes) - 8} more: --json lists them by sensor")
    if arguments.why:
        context.say("")
        for one in known:
            context.say(wording.folded(f"{one.sensor}: {one.why}.", "  "))
    return 0


def _passing(profile: Profile, one: Expected) -> bool:
    """Whether balls only pass this sensor, or only stack before it."""
    sensor = profile.row("sensor", one.sensor)
    return not any(profile.spots[spot].resting for spot in sensor.spots)
