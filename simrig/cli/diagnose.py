"""``simrig diagnose``: from what was seen to what can be wrong."""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from simrig.cli import checked, complained, isolating, logged, shop
from simrig.cli import conditions as stated
from simrig.cli import seen as observed
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.diagnose import Diagnosis, Evidence
    from simrig.diagnosis.exclusion import Verdict
    from simrig.diagnosis.isolation import Isolation

PATIENCE_S = 2.0
AGAIN_S = 20.0


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    observed.configure_asked(parser)
    complained.configure(parser)
    logged.configure(parser)
    group = parser.add_argument_group("what to answer")
    group.add_argument(
        "--faults", default="2", metavar="N", help="things wrong at once, at most (2)"
    )
    group.add_argument("--all", action="store_true", help="everything that can be wrong, and why")
    group.add_argument(
        "--why-not", action="append", default=[], metavar="KIND:PART",
        help="what speaks against this",
    )  # fmt: skip
    checked.configure(parser)
    shop.configure(parser, rates=True, files=True)


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Diagnose the sheets; 0 when all is as assumed, 1 otherwise."""
    from simrig.diagnosis.diagnose import ImpossibleError
    from simrig.diagnosis.exclusion import UnknownSuspectError, suspect_named, why_not

    isolating.resume(arguments)
    limit = _limit(arguments.faults)
    profile = shop.unit(arguments, context)
    conditions = stated.conditions(profile, arguments)
    evidence: tuple[Evidence, ...] = (
        *complained.evidence(profile, arguments),
        *logged.evidence(profile, arguments, conditions, context),
    )
    needed = not evidence and not arguments.found
    sheets = observed.seen(profile, arguments, conditions, needed=needed)
    what = f"working out what can be wrong with {profile.name}"
    if limit > 2:
        what += f", {limit} things at once (minutes where a machine has hundreds of parts)"
    with patience(context, what):
        try:
            kinds = context.fault_kinds()
            job, results = isolating.job_of(profile, sheets, evidence, kinds, limit, arguments)
            job, records = shop.weighed(job, arguments)
            found = job.diagnosis(results)
        except ImpossibleError as error:
            raise wrong("conditions", str(error)) from None
        try:
            verdicts = [why_not(found, suspect_named(found, name)) for name in arguments.why_not]
        except UnknownSuspectError as error:
            raise wrong("--why-not", str(error)) from None
        if not arguments.ask:
            _answer(found, job.isolation(results), verdicts, records, arguments, context)
    code = 0 if found.as_assumed else 1
    if arguments.ask:
        for line in _beginning(records, context):
            context.say(line)
        code, results = isolating.ask(job, results, arguments, context)
        found = job.diagnosis(results)
    if arguments.file:
        words = found.causes[0].why if found.told_apart and found.causes else ""
        shop.file_diagnosis(profile, sheets, results, words, arguments, context)
    return code


def _beginning(records: int, context: Context) -> list[str]:
    """Return what the shop's record brings in, to be said first."""
    from simrig.cli import unit_text

    lines = [] if context.unit is None else list(unit_text.lines(context.unit))
    if records:
        lines.append(unit_text.weighed(records))
    return [row for line in lines for row in line.split("\n")]


def _answer(
    found: Diagnosis,
    isolation: Isolation,
    verdicts: Sequence[Verdict],
    records: int,
    arguments: argparse.Namespace,
    context: Context,
) -> None:
    if context.json:
        from simrig.diagnosis.diagnose import every_cause
        from simrig.interchange import diagnosis_document as documents
        from simrig.interchange import isolation_document as bench

        causes = every_cause(found) if arguments.all else iter(found.causes)
        document = documents.document(found, next_check=bench.next_check(isolation), asked=verdicts)
        document |= shop.document(context) | ({"records": records} if records else {})
        if arguments.plan:
            document["plan"] = bench.plan(isolation)
        rows = (documents.explanation(found, cause) for cause in causes)
        for line in documents.lines(document, rows):
            context.say(line)
        return
    from simrig.reports import diagnosis_text as report
    from simrig.reports import isolation_text

    lines = _beginning(records, context)
    step = partial(isolation_text.next_lines, isolation)
    if arguments.plan and found.conflict is None:
        lines += isolation_text.plan_lines(isolation)
    elif arguments.all:
        lines += [*report.everything(found, next_lines=step), *report.asked(verdicts)]
    else:
        lines += report.screen(found, next_lines=step, most=report.MOST_LINES - len(lines))
        lines += report.asked(verdicts)
    for line in lines:
        context.say(line)


def _limit(text: str) -> int:
    from simrig.diagnosis.conflicts import MOST_AT_ONCE

    if text.isascii() and text.isdigit() and len(text) < 3 and 1 <= int(text) <= MOST_AT_ONCE:
        return int(text)
    message = f'found "{text}"; wanted a whole number from 1 to {MOST_AT_ONCE}'
    raise wrong("--faults", message)


@contextmanager
def patience(context: Context, what: str) -> Iterator[None]:
    """Say on stderr what is going on when it takes longer than a person waits gladly."""
    done = threading.Event()

    def tell() -> None:
        waited = PATIENCE_S
        if done.wait(waited):
            return
        print(f"{what} ...", file=sys.stderr)
        while not done.wait(AGAIN_S):
            waited += AGAIN_S
            print(f"... still at it after {waited:.0f} seconds; Ctrl-C stops it", file=sys.stderr)

    if context.quiet:
        yield
        return
    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
