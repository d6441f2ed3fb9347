"""The shop's record in words and as JSON."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import attrs

from simrig.cli.context import Context

if TYPE_CHECKING:
    from simrig.history import (
        Due,
        JobFile,
        Listed,
        Repair,
        Repeat,
        Shares,
        Store,
        UnitState,
        Verdict,
    )

WIDTH: Final = 80


def plain(value: Any) -> dict[str, Any]:
    """Return an answer as JSON holds it."""

    def simple(_: object, __: object, item: Any) -> Any:
        return item.isoformat() if isinstance(item, datetime.date) else item

    return attrs.asdict(value, value_serializer=simple)


def plain_record(entry: Any) -> dict[str, Any]:
    """Return an entry on record as the export writes it."""
    from simrig.history.transfer import plain_entry

    return plain_entry(entry)


def plain_listed(row: Listed) -> dict[str, Any]:
    """Return one line of the list of jobs."""
    entry = plain_record(row.job)
    entry.update(
        machine=row.unit.machine, serial=row.unit.serial, state=row.job.state,
        parts=[{"kind": kind, "part": part} for kind, part in row.parts],
        sheets=row.sheets, checks=row.checks, minutes=row.minutes,
    )  # fmt: skip
    return entry


def plain_unit(state: UnitState) -> dict[str, Any]:
    """Return what is known of a unit."""
    return plain_record(state.unit) | {
        "differences": [plain_record(fact) for fact in state.facts],
        "temporary": [plain_record(repair) for repair in state.temporary],
        "open_jobs": [job.id for job in state.open_jobs],
    }


def plain_job(found: JobFile) -> dict[str, Any]:
    """Return a job with all that it holds."""
    return plain_record(found.job) | {
        "machine": found.unit.machine,
        "serial": found.unit.serial,
        "state": found.job.state,
        "minutes": found.minutes,
        "sheets": [plain_record(entry) for entry in found.sheets],
        "checks": [plain_record(entry) for entry in found.checks],
        "repairs": [plain_record(entry) for entry in found.repairs],
        "orders": [plain_record(entry) for entry in found.orders],
    }


def plain_rates(
    sides: Mapping[bool, Shares], machine: str | None, source: str
) -> list[dict[str, Any]]:
    """Return the shares of both neighbourhoods, one entry a kind."""
    return [
        {"machine": machine, "beside_kicker": beside, "records": shares.records,
         "mass": shares.mass, "documented": source, **plain(row)}
        for beside, shares in sides.items()
        for row in shares.kinds
    ]  # fmt: skip


def tell_job(store: Store, number: int, context: Context) -> int:
    """Say all that is filed under a job."""
    from simrig.history import job_file

    found = job_file(store, number)
    if context.json:
        context.answer({"entries": [plain_job(found)]})
        return 0
    job, unit = found.job, found.unit
    where = f", {job.place}" if job.place else ""
    _say(context, f"Job {job.id}, {job.state}: {unit.machine} {unit.serial}{where}")
    until = f", closed {_day(job.closed)}" if job.closed else ""
    _say(context, f"Opened {_day(job.opened)}{_by(job.who)}{until}")
    for word, text in (("Complaint", job.complaint), ("Found", job.explanation)):
        if text:
            _say(context, f"{word}: {text}")
    for sheet in found.sheets:
        conditions = ", ".join(f"{key} {value}" for key, value in sheet.conditions.items())
        _say(context, f"Seen {_day(sheet.taken)}{_by(sheet.who)}: {conditions or 'idle'}")
        by_reading: dict[str, list[str]] = {}
        for sensor, reading in sheet.readings.items():
            by_reading.setdefault(reading, []).append(sensor)
        for reading, sensors in by_reading.items():
            _say(context, f"  {reading}: {', '.join(sensors)}")
    for check in found.checks:
        cost = "" if check.minutes is None else f" ({check.minutes:g} min)"
        _say(context, f"Checked {check.check}: {check.result}{cost}{_by(check.who)}")
    for repair in found.repairs:
        _say(context, f"Repair {repair.id}: {_repair_words(repair)}")
    for order in found.orders:
        state = "received" if order.received else "on order" if order.ordered else "to order"
        what = " ".join(filter(None, (f"{order.quantity} x {order.value}", order.package)))
        _say(context, f"Order {order.id}, {state}: {what}")
    if found.minutes:
        _say(context, f"{found.minutes:g} minutes so far.")
    return 0


def _repair_words(repair: Repair) -> str:
    kind = "lasting" if repair.lasting else f"TEMPORARY, follow-up due {repair.due}"
    if not repair.lasting and repair.settled:
        kind = f"temporary, followed up {_day(repair.settled)}"
    proof = {"none": "not proven yet"}.get(repair.proven, f"proven: {repair.proven}")
    balls = "" if repair.balls_aboard is None else f", {repair.balls_aboard} balls aboard"
    return (
        f"{repair.part_kind} {repair.part}: {repair.what} ({kind}; {proof}{balls}), "
        f"{_day(repair.done)}{_by(repair.who)}"
    )


def tell_units(states: Iterable[UnitState], context: Context) -> None:
    """Say first what a colleague must know of a unit."""
    for state in states:
        unit = state.unit
        where = f", {unit.place}" if unit.place else ""
        _say(context, f"{unit.machine} {unit.serial}{where}")
        for repair in state.temporary:
            _say(context, f"  Temporary repair {repair.id}: {_repair_words(repair)}")
        for fact in state.facts:
            value = plain_record(fact)["value"]
            _say(context, f"  Differs: {fact.key} = {value} since {_day(fact.since)}")


def tell_list(jobs: Sequence[Listed], more: bool, context: Context) -> None:
    """Print the jobs."""
    if not jobs:
        _say(context, "No job is on record that fits. File one with: simrig history add")
        return
    rows = [
        (row.job.id, _day(row.job.opened), f"{row.unit.machine} {row.unit.serial}", row.job.place,
         row.job.state, _short(row.job.complaint), ", ".join(" ".join(part) for part in row.parts))
        for row in jobs
    ]  # fmt: skip
    _table(context, rows, ("job", "opened", "machine", "place", "state", "complaint", "mended"))
    if more:
        _say(context, f"The newest {len(jobs)}. More: --all")


def tell_due(found: Sequence[Due], context: Context) -> None:
    """Print what is left open, by place."""
    if not found:
        _say(context, "Nothing is due.")
        return
    rows = []
    for row in found:
        late = "" if row.days_late is None or row.days_late <= 0 else f", {row.days_late} days late"
        date = "" if row.date is None else f"{row.date}{late}"
        what = f"{row.part_kind} {row.part}: {row.what}" if row.part else row.what
        machine = f"{row.machine} {row.serial}".strip()
        rows.append((row.place, machine, row.kind, row.number, date, what, row.who))
    _table(context, rows, ("place", "machine", "due", "no.", "date", "what", "who"))


def tell_repeats(found: Sequence[Repeat], context: Context) -> None:
    """Print what failed again."""
    if not found:
        _say(context, "No part failed again.")
        return
    rows = []
    for row in found:
        days = "" if row.shortest_days is None else f"{row.shortest_days} days"
        if row.cause_not_found:
            days += ": cause not found"
        units = ", ".join(row.serials[:4])
        if len(row.serials) > 4:
            units += f" and {len(row.serials) - 4} more"
        part = f"{row.part_kind} {row.part}".strip()
        rows.append((f"{row.machine} {units}", part, row.times, str(row.last), days))
    _table(context, rows, ("machine", "part", "times", "last", "shortest time between"))


def tell_rates(
    sides: Mapping[bool, Shares],
    machine: str | None,
    source: str,
    limit: int | None,
    context: Context,
) -> None:
    """Print the shares, beside a kicker and elsewhere."""
    records = sum(shares.records for shares in sides.values())
    _say(context, f"What fails, {machine or 'all machines'}: {_failures(records)} on record.")
    _say(context, f"Documented weights ({source}) count as much as 10 records on each side.")
    for beside, shares in sides.items():
        place = "Beside a kicker" if beside else "Elsewhere"
        _say(context, f"\n{place}: {_failures(shares.records)} on record")
        rows = [
            (row.kind, _percent(row.mean), f"{_percent(row.low)} to {_percent(row.high)}",
             row.seen, f"{row.prior:.2f}")
            for row in shares.kinds[:limit]
        ]  # fmt: skip
        _table(context, rows, ("kind of part", "share", "9 in 10 between", "records", "documented"))
        if limit is not None and len(shares.kinds) > limit:
            _say(context, f"{len(shares.kinds) - limit} more: --all")


def _failures(number: int) -> str:
    return "1 failure" if number == 1 else f"{number} failures"


def tell_verdict(verdict: Verdict, path: Path, well: str, context: Context) -> None:
    """Say what a verification or a rescue found."""
    if context.json:
        context.answer(
            {"entries": [plain(problem) for problem in verdict.problems],
             "counts": verdict.entries}
        )  # fmt: skip
        return
    for problem in verdict.problems:
        _say(context, str(problem))
    total = sum(verdict.entries.values())
    _say(context, f"{path}: {total} {'entries read.' if verdict.problems else well}")


def _table(context: Context, rows: Sequence[Sequence[object]], headers: Sequence[str]) -> None:
    from simrig.reports.tables import table

    context.say(table(rows, headers, WIDTH))


def _say(context: Context, text: str) -> None:
    for line in text.split("\n"):
        context.say(textwrap.fill(line, WIDTH, subsequent_indent="    ", break_on_hyphens=False))


def _short(text: str) -> str:
    return textwrap.shorten(text, 60, placeholder=" ...")


def _day(time: datetime.datetime) -> str:
    return f"{time.astimezone():%Y-%m-%d}"


def _by(who: str) -> str:
    return f" by {who}" if who else ""


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 or share == 0 else "under 1 %"
