"""Which parts failed again, which kinds fail on several machines, and counts for the rates.

A failure is one part of one unit in one job.  A repair that finishes a temporary
one as planned is no failure.
"""

from __future__ import annotations

import datetime
import itertools
from typing import Any, Final

import attrs

from simrig.history.dates import months_later
from simrig.history.rates import Seen
from simrig.history.store import Store

SAME_PART: Final = "same part again"
SAME_KIND: Final = "same kind on several machines"
CAUSE_NOT_FOUND_MONTHS: Final = 3
"""The same part again within so many months: the cause was not found (common practice)."""


@attrs.frozen(kw_only=True)
class Repeat:
    """Failures that belong together.

    ``serials`` are the units concerned; ``part`` is empty where several parts of
    a kind are; ``shortest_days`` is the least time between two failures of one
    part.
    """

    kind: str
    machine: str
    serials: tuple[str, ...]
    place: str = ""
    part_kind: str
    part: str = ""
    times: int
    first: datetime.date
    last: datetime.date
    shortest_days: int | None = None
    cause_not_found: bool = False


def _failures(since: datetime.date | None, until: datetime.date | None, machine: str | None) -> Any:
    """Return the SQL of the failures and its values."""
    conditions = ["follows IS NULL"]
    values: list[str] = []
    if machine is not None:
        conditions.append("unit.machine = ?")
        values.append(machine)
    if since is not None:
        conditions.append("done >= ?")
        values.append(since.isoformat())
    if until is not None:
        conditions.append("done < ?")
        values.append((until + datetime.timedelta(days=1)).isoformat())
    sql = (
        "SELECT unit.machine AS machine, unit.serial AS serial, unit.place AS place,"
        " part_kind, part, min(done) AS done, max(beside_kicker) AS beside_kicker"
        " FROM repair JOIN job ON job.id = job_id JOIN unit ON unit.id = unit_id"
        f" WHERE {' AND '.join(conditions)} GROUP BY job_id, part_kind, part"
    )
    return sql, values


def repeats(
    store: Store,
    *,
    since: datetime.date | None = None,
    until: datetime.date | None = None,
    machine: str | None = None,
    least: int = 2,
) -> tuple[Repeat, ...]:
    """Return what failed at least ``least`` times in the days given.

    First the same part of the same unit, causes not found before the others; then
    the same kind of part on at least ``least`` units of one model.  Most often
    first.
    """
    failures, values = _failures(since, until, machine)
    rows = store.rows(
        f"SELECT machine, serial, place, part_kind, part, done FROM ({failures})"
        " ORDER BY machine, serial, part_kind, part, done",
        values,
    )
    found = [*_same_part(rows, least), *_same_kind(rows, least)]
    return tuple(
        sorted(
            found,
            key=lambda repeat: (
                repeat.kind != SAME_PART,
                not repeat.cause_not_found,
                -repeat.times,
                repeat.machine,
                repeat.serials,
                repeat.part_kind,
                repeat.part,
            ),
        )
    )


def _same_part(rows: list[tuple[Any, ...]], least: int) -> list[Repeat]:
    found = []
    for (machine, serial, place, kind, part), group in itertools.groupby(rows, lambda row: row[:5]):
        dones = [row[5] for row in group]
        if len(dones) < least:
            continue
        days = [datetime.date.fromisoformat(done[:10]) for done in dones]
        pairs = list(itertools.pairwise(days))
        found.append(
            Repeat(
                kind=SAME_PART,
                machine=machine,
                serials=(serial,),
                place=place,
                part_kind=kind,
                part=part,
                times=len(days),
                first=days[0],
                last=days[-1],
                shortest_days=min(((late - early).days for early, late in pairs), default=None),
                cause_not_found=any(
                    late <= months_later(early, CAUSE_NOT_FOUND_MONTHS) for early, late in pairs
                ),
            )
        )
    return found


def _same_kind(rows: list[tuple[Any, ...]], least: int) -> list[Repeat]:
    groups: dict[tuple[str, str], list[tuple[Any, ...]]] = {}
    for row in rows:
        groups.setdefault((row[0], row[3]), []).append(row)
    found = []
    for (machine, kind), group in groups.items():
        serials = tuple(sorted({row[1] for row in group}))
        if len(serials) < max(least, 2):
            continue
        parts = {row[4] for row in group}
        dones = sorted(row[5] for row in group)
        found.append(
            Repeat(
                kind=SAME_KIND,
                machine=machine,
                serials=serials,
                part_kind=kind,
                part=parts.pop() if len(parts) == 1 else "",
                times=len(group),
                first=datetime.date.fromisoformat(dones[0][:10]),
                last=datetime.date.fromisoformat(dones[-1][:10]),
            )
        )
    return found


def seen(
    store: Store,
    *,
    machine: str | None = None,
    since: datetime.date | None = None,
    until: datetime.date | None = None,
) -> tuple[Seen, ...]:
    """Return how often each kind of part failed, by machine model and neighbourhood."""
    failures, values = _failures(since, until, machine)
    rows = store.rows(
        f"SELECT machine, part_kind, beside_kicker, count(*) FROM ({failures})"
        " GROUP BY machine, part_kind, beside_kicker ORDER BY machine, part_kind, beside_kicker",
        values,
    )
    return tuple(
        Seen(machine=machine, part_kind=kind, beside_kicker=bool(beside), count=count)
        for machine, kind, beside, count in rows
    )


def by_month(
    store: Store,
    *,
    machine: str | None = None,
    since: datetime.date | None = None,
    until: datetime.date | None = None,
) -> tuple[tuple[str, str, int], ...]:
    """Return month (UTC), kind of part and number of failures, oldest first."""
    failures, values = _failures(since, until, machine)
    rows = store.rows(
        f"SELECT substr(done, 1, 7), part_kind, count(*) FROM ({failures})"
        " GROUP BY 1, 2 ORDER BY 1, 2",
        values,
    )
    return tuple((month, kind, count) for month, kind, count in rows)
