"""``simrig locate``: where the balls are, trusting the readings."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from simrig.cli import seen as observed
from simrig.cli import shop
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.suspects import Sheet
    from simrig.expectation.location import Location
    from simrig.profile.machine import Profile


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)
    parser.add_argument("--all", action="store_true", help="every way the balls can lie")
    shop.configure(parser)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Find the balls; 0 when all can be present, 1 when one must be missing."""
    from simrig.expectation.location import locate, together

    profile, _, sheets = observed.asked(arguments, context)
    try:
        found = together([locate(profile, one.observation, one.conditions) for one in sheets])
    except ValueError as error:
        raise wrong("conditions", str(error)) from None
    code = 0 if all(one.complete for one in found) else 1
    if context.json:
        from simrig.interchange import documents

        stands_on = [words for sheet in sheets for words in _underlying(profile, sheet)]
        more = {"depends_on": list(dict.fromkeys(stands_on)), **shop.document(context)}
        context.answer(documents.locations(found) | more)
        return code
    from simrig.reports.first_screen import ALL, LINES

    shop.say(context)
    for number, (sheet, one) in enumerate(zip(sheets, found, strict=True), 1):
        if len(sheets) > 1:
            context.say(f"{'' if number == 1 else chr(10)}Sheet {number} of {len(sheets)}")
        most = ALL if arguments.all or len(sheets) > 1 else LINES
        for line in _lines(profile, sheet, one, most, alone=len(sheets) == 1):
            context.say(line)
    return code


def _underlying(profile: Profile, sheet: Sheet) -> tuple[str, ...]:
    from simrig.expectation.facts import underlying

    return underlying(profile, sheet.observation.looked_at(), None)


def _lines(
    profile: Profile, sheet: Sheet, found: Location, most: int, *, alone: bool
) -> Iterator[str]:
    from simrig.reports import first_screen, growth_text, wording

    stated = sheet.conditions.balls
    balls = profile.balls.installed if stated is None else stated
    head = [
        f"Assumed: {wording.number(balls, 'ball')} in the machine; every reading is right.",
        wording.folded(wording.polarity(profile)),
        *filter(None, [wording.taken(sheet.observation)]),
        "",
    ]
    yield from head
    if not found.placements:
        yield "The balls cannot lie in any way that gives these readings" + ("." if alone else ",")
        if not alone:
            yield "with as many missing as on the other sheets."
        yield "A reading is wrong, or a ball hangs where none can rest: simrig diagnose."
        return
    if found.complete:
        yield "All balls can be present:"
    else:
        yield "Not all balls can be at rest where they belong:"
    stands_on = list(growth_text.stands_on(profile, _underlying(profile, sheet)))
    ways = list(_ways(profile, found))
    shown, left = first_screen.as_many(ways, first_screen.room(most - 1, head, stands_on))
    if not shown:
        shown, left = ways[:1], len(ways) - 1
    yield from shown
    if left:
        yield f"  {left} more: --all"
    yield from stands_on


def _ways(profile: Profile, found: Location) -> Iterator[str]:
    """Yield each way the balls can lie, and where those missing can be unless just said."""
    from simrig.reports import wording

    said = ""
    for one in found.placements:
        words = wording.found_words(profile, one)
        text = wording.folded(f"  {words}  ({wording.chance(one.probability)})", "    ")
        if one.missing and not found.complete:
            hiding = wording.hiding_words(profile, one.missing_at)
            again = "the same places" if hiding == said else f"{hiding}; or out of the machine"
            said = hiding
            text += "\n" + wording.folded(f"    can be: {again}", "      ")
        yield text
