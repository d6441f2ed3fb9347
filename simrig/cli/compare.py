"""``simrig compare``: what was seen, held against what must be."""

from __future__ import annotations

import argparse

from simrig.cli import seen as observed
from simrig.cli.context import Context, wrong


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Compare one sheet; 0 when it agrees, 1 when it differs."""
    from simrig.expectation.comparison import compare

    profile, _, sheet = observed.asked(arguments, context)
    try:
        found = compare(profile, sheet.observation, sheet.conditions)
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    code = 0 if found.agrees else 1
    if context.json:
        from simrig.expectation.doubts import doubts
        from simrig.interchange import documents

        profile_doubts = list(doubts(profile, sheet.observation, sheet.conditions))
        context.answer({**documents.comparison(found), "profile_doubts": profile_doubts})
        return code
    from simrig.reports import tables, wording

    context.say(wording.folded(wording.assumed(profile, sheet.conditions)))
    context.say(wording.folded(wording.polarity(profile)))
    if note := wording.taken(sheet.observation):
        context.say(note)
    context.say("")
    for line in wording.verdict(profile, found, sheet.conditions):
        context.say(wording.folded(line, "  "))
    if not found.agrees:
        from simrig.expectation.doubts import doubts

        for words in list(doubts(profile, sheet.observation, sheet.conditions))[:2]:
            context.say(wording.folded(f"The profile may be wrong here: {words}.", "  "))
    if found.differences:
        rows = wording.differences(profile, found.differences)
        context.say("")
        context.say(tables.table(rows[:8], ("sensor", "where", "must read", "you saw")))
        if len(rows) > 8:
            context.say(f"and {len(rows) - 8} more: --json lists them")
    better = [one for one in found.fits if one.differences]
    if better and not (found.fits and not found.fits[0].differences):
        context.say("\nFewer would differ if:")
        for one in better[:3]:
            words = wording.fit_words(profile, one, sheet.conditions)
            context.say(wording.folded(f"  {words} ({one.differences} left)", "    "))
    return code
