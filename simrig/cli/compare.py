"""``simrig compare``: what was seen, held against what must be."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from simrig.cli import seen as observed
from simrig.cli import shop
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.suspects import Sheet
    from simrig.expectation.comparison import Comparison
    from simrig.profile.machine import Profile


_LEAST_ROWS: Final = 3
_AROUND_ROWS: Final = 4
"""Lines around the rows of a table: an empty one, the headings, and what is said of the rest."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)
    parser.add_argument("--all", action="store_true", help="every difference")
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
    from simrig.reports.first_screen import ALL, LINES

    shop.say(context)
    for number, (sheet, one) in enumerate(zip(sheets, found, strict=True), 1):
        if len(sheets) > 1:
            context.say(f"{'' if number == 1 else chr(10)}Sheet {number} of {len(sheets)}")
        most = ALL if arguments.all or len(sheets) > 1 else LINES
        for line in _lines(profile, sheet, one, most):
            context.say(line)
    return code


def _underlying(profile: Profile, sheet: Sheet) -> tuple[str, ...]:
    from simrig.expectation.facts import underlying
    from simrig.world.phases import phase_of

    conditions = sheet.conditions
    phase = None if conditions.seen_only else phase_of(profile, conditions.phase).id
    return underlying(profile, sheet.observation.looked_at(), phase)


def _lines(profile: Profile, sheet: Sheet, found: Comparison, most: int) -> Iterator[str]:
    from simrig.reports import first_screen, growth_text, wording

    head = [
        wording.folded(wording.assumed(profile, sheet.conditions)),
        wording.folded(wording.polarity(profile)),
        *filter(None, [wording.taken(sheet.observation)]),
        "",
    ]
    verdict, *others = wording.verdict(profile, found, sheet.conditions)
    fits = [wording.folded(line, "  ") for line in others if line.startswith("  or")]
    after = [wording.folded(line, "  ") for line in others if not line.startswith("  or")]
    fit, last = (after[:1], after[1:]) if fits else (after, [])
    doubtful = []
    if not found.agrees:
        from simrig.expectation.doubts import doubts

        for words in list(doubts(profile, sheet.observation, sheet.conditions))[:2]:
            doubtful.append(wording.folded(f"The profile may be wrong here: {words}.", "  "))
    stands_on = list(growth_text.stands_on(profile, _underlying(profile, sheet)))
    better = _better(profile, sheet, found)
    rows = wording.differences(profile, found.differences)
    least = min(len(rows), _LEAST_ROWS) + _AROUND_ROWS if rows else 0
    # What is told first stays; of the rest so much as leaves room for a few rows.
    said = [*head, verdict, *fit, *last]
    fits, _ = first_screen.as_many(fits, first_screen.room(most - least, said) + 1)
    said += fits
    kept = []
    for part in (doubtful, better, stands_on):
        fitting = first_screen.height([*said, *part]) <= most - least
        kept.append(part if fitting else [])
        said += kept[-1]
    yield from (*head, wording.folded(verdict, "  "), *fit, *fits, *last, *kept[0])
    if rows:
        room = first_screen.room(most - 1, said)
        yield ""
        yield from _table(rows, room)
    yield from (*kept[1], *kept[2])


def _table(rows: list[tuple[str, str, str, str]], room: int) -> list[str]:
    from simrig.reports import first_screen, tables

    found: list[str] = []
    for shown in range(len(rows), min(_LEAST_ROWS, len(rows)) - 1, -1):
        headings = ("sensor", "where", "must read", "you saw")
        found = [tables.table(rows[:shown], headings, width=80)]
        if shown < len(rows):
            found.append(f"{len(rows) - shown} more: --all")
        if first_screen.height(found) <= room:
            break
    return found


def _better(profile: Profile, sheet: Sheet, found: Comparison) -> list[str]:
    from simrig.reports import wording

    better = [one for one in found.fits if one.differences]
    if not better or not found.fits[0].differences:
        return []
    lines = ["\nFewer would differ if:"]
    for one in better[:3]:
        words = wording.fit_words(profile, one, sheet.conditions)
        lines.append(wording.folded(f"  {words} ({one.differences} left)", "    "))
    return lines
