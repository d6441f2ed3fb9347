"""``simrig compare``: what was seen, held against what must be."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from simrig.cli import seen as observed
from simrig.cli import shop
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.suspects import Sheet
    from simrig.expectation.comparison import Comparison
    from simrig.profile.machine import Profile


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)
    shop.configure(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Compare every sheet; 0 when all agree, 1 when one differs."""
    from simrig.expectation.comparison import compare

    profile, _, sheets = observed.asked(arguments, context)
    try:
        found = [compare(profile, sheet.observation, sheet.conditions) for sheet in sheets]
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    code = 0 if all(one.agrees for one in found) else 1
    if context.json:
        from simrig.expectation.doubts import doubts
        from simrig.interchange import documents

        noted = [
            words
            for sheet in sheets
            for words in doubts(profile, sheet.observation, sheet.conditions)
        ]
        stands_on = [words for sheet in sheets for words in _underlying(profile, sheet)]
        more = {
            "profile_doubts": list(dict.fromkeys(noted)),
            "depends_on": list(dict.fromkeys(stands_on)),
            **shop.document(context),
        }
        context.answer(documents.comparisons(found) | more)
        return code
    shop.say(context)
    for number, (sheet, one) in enumerate(zip(sheets, found, strict=True), 1):
        if len(sheets) > 1:
            context.say(f"{'' if number == 1 else chr(10)}Sheet {number} of {len(sheets)}")
        for line in _lines(profile, sheet, one):
            context.say(line)
    return code


def _underlying(profile: Profile, sheet: Sheet) -> tuple[str, ...]:
    from simrig.expectation.facts import underlying
    from simrig.world.phases import phase_of

    conditions = sheet.conditions
    phase = None if conditions.seen_only else phase_of(profile, conditions.phase).id
    return underlying(profile, sheet.observation.looked_at(), phase)


def _lines(profile: Profile, sheet: Sheet, found: Comparison) -> Iterator[str]:
    from simrig.reports import growth_text, tables, wording

    yield wording.folded(wording.assumed(profile, sheet.conditions))
    yield wording.folded(wording.polarity(profile))
    if note := wording.taken(sheet.observation):
        yield note
    yield ""
    for line in wording.verdict(profile, found, sheet.conditions):
        yield wording.folded(line, "  ")
    if not found.agrees:
        from simrig.expectation.doubts import doubts

        for words in list(doubts(profile, sheet.observation, sheet.conditions))[:2]:
            yield wording.folded(f"The profile may be wrong here: {words}.", "  ")
    if found.differences:
        rows = wording.differences(profile, found.differences)
        yield ""
        yield tables.table(rows[:8], ("sensor", "where", "must read", "you saw"))
        if len(rows) > 8:
            yield f"and {len(rows) - 8} more: --json lists them"
    better = [one for one in found.fits if one.differences]
    if better and not (found.fits and not found.fits[0].differences):
        yield "\nFewer would differ if:"
        for one in better[:3]:
            words = wording.fit_words(profile, one, sheet.conditions)
            yield wording.folded(f"  {words} ({one.differences} left)", "    ")
    yield from growth_text.stands_on(profile, _underlying(profile, sheet))
