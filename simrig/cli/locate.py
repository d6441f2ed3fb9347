"""``simrig locate``: where the balls are, trusting the readings."""

from __future__ import annotations

import argparse

from simrig.cli import seen as observed
from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Find the balls; 0 when all can be present, 1 when one must be missing."""
    from simrig.expectation.location import locate

    profile, conditions, sheet = observed.asked(arguments, context)
    try:
        found = locate(profile, sheet.observation, sheet.conditions)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    code = 0 if found.complete else 1
    if context.json:
        from simrig.interchange import documents

        context.answer(documents.location(found))
        return code
    from simrig.reports import wording

    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    context.say(f"Assumed: {balls} balls in the machine; every reading is right.")
    context.say(wording.folded(wording.polarity(profile)))
    if note := wording.taken(sheet.observation):
        context.say(note)
    context.say("")
    if not found.placements:
        context.say("The balls cannot lie in any way that gives these readings.")
        context.say("A reading is wrong, or a ball hangs where none can rest: simrig diagnose.")
        return code
    if found.complete:
        context.say("All balls can be present:")
    else:
        context.say("Not all balls can be at rest where they belong:")
    for one in found.placements[:5]:
        words = wording.found_words(profile, one)
        context.say(wording.folded(f"  {words}  ({wording.chance(one.probability)})", "    "))
        if one.missing and not found.complete:
            hiding = wording.hiding_words(profile, one.missing_at)
            context.say(wording.folded(f"    can be: {hiding}; or out of the machine", "      "))
    if len(found.placements) > 5:
        context.say(f"  {len(found.placements) - 5} more: --json lists them")
    return code
