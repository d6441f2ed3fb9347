"""``simrig show``: a machine in words and a drawing."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument("--all", action="store_true", help="every switch, not only ball sensors")
    parser.add_argument("--svg", metavar="FILE", help="write the drawing of it to a file; - prints")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Print the machine."""
    profile = context.profile(arguments.machine)
    if arguments.svg is not None:
        from simrig.cli.writing import write
        from simrig.reports.plan import plan

        write(arguments.svg, plan(profile), context)
        return 0
    if context.json:
        from simrig.interchange import profile_json

        context.answer(profile_json.document(profile))
        return 0
    from simrig.expectation.complaints import complaints
    from simrig.expectation.reasons import spots_words
    from simrig.reports import growth_text, tables, text_map, wording

    balls = wording.number(profile.balls.installed, "ball")
    context.say(f"{profile.name} ({profile.id}): {balls}")
    if profile.note:
        context.say(wording.folded(profile.note))
    context.say(wording.folded(wording.polarity(profile)) + "\n")
    for line in text_map.ball_path(profile):
        context.say(wording.folded(line, "        "))
    context.say("\nBall sensors (* counts when all others are taken for open):")
    rows = []
    for sensor in profile.sensor:
        if not (sensor.spots or arguments.all):
            continue
        mark = "*" if sensor.counted and sensor.spots else ""
        where = spots_words(profile, sensor) or sensor.title
        number = "" if sensor.number is None else str(sensor.number)
        address = wording.short_address(profile.address_of.get(sensor.id))
        rows.append((sensor.id + mark, number, address, where, sensor.kind or ""))
    context.say(tables.table(rows, ("sensor", "no.", "address", "where", "kind"), width=80))
    unknown = sum(sensor.at is None and not sensor.follows for sensor in profile.sensor)
    if unknown:
        context.say(f"{unknown} more switches: not known yet what works them (--all lists them).")
    context.say("\nPhases:" if profile.phase else "\nPhases: none stated yet.")
    for phase in profile.phase:
        ways = len(phase.placements)
        note = f": {phase.note}" if phase.note else ""
        count = f"{ways} row{'s' if ways > 1 else ''}"
        context.say(wording.folded(f"  {phase.id} ({count}){note}", "    "))
    told = complaints(profile)
    if told:
        context.say("\nComplaints that it can make (simrig diagnose --complaint ID):")
        for one in told:
            context.say(f"  {one.id:17} {one.title}")
    interlock = profile.interlock
    fitted = None if interlock is None else interlock.fitted
    words = {
        True: "fitted. It is never isolation.",
        False: "none: coils stay live with the door open.",
        None: "not known: take the coils to be live with the door open.",
    }
    context.say(f"\nDoor interlock: {words[fitted]}")
    for line in growth_text.worth_lines(profile):
        context.say(line)
    return 0
