"""Questions to the record.  Nothing here is counted or ordered by person."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any, Final

import attrs

from simrig.history.columns import columns_of, person
from simrig.history.records import (
    NOT_PROVEN,
    Answer,
    CheckMade,
    Fact,
    Job,
    PartOrder,
    Repair,
    Sheet,
    Training,
    Unit,
)
from simrig.history.store import Store

TEMPORARY: Final = "temporary repair"
FOLLOW_UP: Final = "follow-up"
TO_ORDER: Final = "part to order"
ON_ORDER: Final = "part on order"
UNPROVEN: Final = "never proven"
_ORDER: Final = (TEMPORARY, FOLLOW_UP, UNPROVEN, TO_ORDER, ON_ORDER)


@attrs.frozen(kw_only=True)
class UnitState:
    """What a colleague must know of a unit before touching it."""

    unit: Unit
    facts: tuple[Fact, ...]
    temporary: tuple[Repair, ...]
    open_jobs: tuple[Job, ...]

    @property
    def differences(self) -> dict[str, Any]:
        """In what the unit differs from its profile, by key."""
        return {fact.key: fact.value for fact in self.facts}


@attrs.frozen(kw_only=True)
class JobFile:
    """A job with all that is filed under it."""

    unit: Unit
    job: Job
    sheets: tuple[Sheet, ...]
    checks: tuple[CheckMade, ...]
    repairs: tuple[Repair, ...]
    orders: tuple[PartOrder, ...]

    @property
    def minutes(self) -> float:
        """What the checks and repairs cost so far."""
        spent = [check.minutes for check in self.checks] + [r.minutes for r in self.repairs]
        return sum(minutes or 0.0 for minutes in spent)


@attrs.frozen(kw_only=True)
class Listed:
    """One line of the list of jobs; ``parts`` are kinds and ids."""

    unit: Unit
    job: Job
    parts: tuple[tuple[str, str], ...]
    sheets: int
    checks: int
    minutes: float


@attrs.frozen(kw_only=True)
class Due:
    """One thing left open.

    ``number`` is that of the repair or of the order; ``days_late`` is negative
    while there is time, and None where no date is set.
    """

    kind: str
    number: int
    job_id: int | None
    machine: str = ""
    serial: str = ""
    place: str = ""
    part_kind: str = ""
    part: str = ""
    what: str
    date: datetime.date | None = None
    days_late: int | None = None
    who: str = ""


def unit_state(store: Store, machine: str, serial: str) -> UnitState | None:
    """Return what is known of a unit: its differences, open temporary repairs and open jobs."""
    with store.reading():
        for unit in store.find(Unit, "machine = ? AND serial = ?", (machine, serial)):
            of_unit = (unit.id,)
            return UnitState(
                unit=unit,
                facts=tuple(store.find(Fact, "unit_id = ?", of_unit)),
                temporary=tuple(
                    store.find(
                        Repair,
                        "NOT lasting AND settled IS NULL"
                        " AND job_id IN (SELECT id FROM job WHERE unit_id = ?)",
                        of_unit,
                    )
                ),
                open_jobs=tuple(store.find(Job, "unit_id = ? AND closed IS NULL", of_unit)),
            )
    return None


def job_file(store: Store, job_id: int) -> JobFile:
    """Return a job with all that is filed under it, so that a colleague goes on from there."""
    with store.reading():
        job = store.get(Job, job_id)
        of_job = (job_id,)
        return JobFile(
            unit=store.get(Unit, job.unit_id),
            job=job,
            sheets=tuple(store.find(Sheet, "job_id = ?", of_job)),
            checks=tuple(store.find(CheckMade, "job_id = ?", of_job)),
            repairs=tuple(store.find(Repair, "job_id = ?", of_job)),
            orders=tuple(store.find(PartOrder, "job_id = ?", of_job)),
        )


def listed(
    store: Store,
    *,
    machine: str | None = None,
    serial: str | None = None,
    place: str | None = None,
    state: str | None = None,
    part_kind: str | None = None,
    part: str | None = None,
    since: datetime.date | None = None,
    until: datetime.date | None = None,
    text: str | None = None,
    limit: int | None = None,
) -> tuple[Listed, ...]:
    """Return the jobs that fit every filter, newest first.

    ``since`` and ``until`` bound the day (UTC) on which a job was opened;
    ``text`` is looked for in the complaint and in what was wrong.
    """
    conditions: list[str] = []
    values: list[Any] = []

    def add(condition: str, *wanted: Any) -> None:
        conditions.append(condition)
        values.extend(wanted)

    for name, wanted in (("machine", machine), ("serial", serial)):
        if wanted is not None:
            add(f"unit.{name} = ?", wanted)
    if place is not None:
        add("instr(lower(job.place), lower(?)) > 0", place)
    if state is not None:
        add("job.closed IS NULL" if state == "open" else "job.closed IS NOT NULL")
    for name, wanted in (("part_kind", part_kind), ("part", part)):
        if wanted is not None:
            add(
                f"EXISTS (SELECT 1 FROM repair WHERE job_id = job.id AND repair.{name} = ?)", wanted
            )
    if since is not None:
        add("job.opened >= ?", since.isoformat())
    if until is not None:
        add("job.opened < ?", (until + datetime.timedelta(days=1)).isoformat())
    if text is not None:
        add("instr(lower(job.complaint || ' ' || job.explanation), lower(?)) > 0", text)
    where = f"WHERE {' AND '.join(conditions)}" if conditions else ""
    sql = (
        f"SELECT {_names(Unit)}, {_names(Job)},"
        " (SELECT count(*) FROM sheet WHERE job_id = job.id),"
        " (SELECT count(*) FROM check_made WHERE job_id = job.id),"
        " (SELECT total(minutes) FROM check_made WHERE job_id = job.id)"
        " + (SELECT total(minutes) FROM repair WHERE job_id = job.id)"
        f" FROM job JOIN unit ON unit.id = job.unit_id {where}"
        " ORDER BY job.opened DESC, job.id DESC LIMIT ?"
    )
    with store.reading():
        found = store.rows(sql, (*values, -1 if limit is None else limit))
        parts = _parts(store, None if limit is None else [row[_WIDTH_OF_UNIT] for row in found])
    units: dict[tuple[Any, ...], Unit] = {}
    return tuple(_listed(store, row, parts, units) for row in found)


_WIDTH_OF_UNIT: Final = len(list(columns_of(Unit)))


def _names(record: type[Any]) -> str:
    return ", ".join(f'{record.TABLE}."{name}"' for name, _ in columns_of(record))


def _parts(store: Store, jobs: Sequence[int] | None) -> dict[int, list[tuple[str, str]]]:
    """Return the parts repaired, by job; of all jobs, or of some."""
    sql = "SELECT job_id, part_kind, part FROM repair"
    if jobs is None:
        rows = store.rows(f"{sql} ORDER BY id")
    else:
        rows = []
        for start in range(0, len(jobs), 500):
            some = jobs[start : start + 500]
            marks = ", ".join("?" * len(some))
            rows += store.rows(f"{sql} WHERE job_id IN ({marks}) ORDER BY id", some)
    found: dict[int, list[tuple[str, str]]] = {}
    for job, kind, part in rows:
        of_job = found.setdefault(job, [])
        if (kind, part) not in of_job:
            of_job.append((kind, part))
    return found


def _listed(
    store: Store,
    row: tuple[Any, ...],
    parts: dict[int, list[tuple[str, str]]],
    units: dict[tuple[Any, ...], Unit],
) -> Listed:
    *cells, sheets, checks, minutes = row
    job = store.record(Job, cells[_WIDTH_OF_UNIT:])
    of_unit = tuple(cells[:_WIDTH_OF_UNIT])
    if of_unit not in units:
        units[of_unit] = store.record(Unit, of_unit)
    return Listed(
        unit=units[of_unit],
        job=job,
        parts=tuple(parts.get(job.id or 0, ())),
        sheets=sheets,
        checks=checks,
        minutes=minutes,
    )


def due(store: Store, *, today: datetime.date, ahead_days: int = 0) -> tuple[Due, ...]:
    """Return what is left open, by place so that one trip does several.

    Follow-ups whose date is reached (or will be within ``ahead_days``), parts not
    yet received, and units on which nothing was proven since their last repair.
    """
    until = (today + datetime.timedelta(days=ahead_days)).isoformat()
    with store.reading():
        found = [
            *_follow_ups(store, today, until),
            *_orders(store),
            *_unproven(store),
        ]
    return tuple(sorted(found, key=_by_place))


def _by_place(due: Due) -> tuple[str, str, str, int, int]:
    return due.place, due.machine, due.serial, _ORDER.index(due.kind), due.number


_WHERE_IT_IS: Final = (
    " FROM repair JOIN job ON job.id = repair.job_id JOIN unit ON unit.id = job.unit_id"
)


def _follow_ups(store: Store, today: datetime.date, until: str) -> list[Due]:
    rows = store.rows(
        "SELECT repair.lasting, repair.id, job.id, unit.machine, unit.serial, unit.place,"
        f" part_kind, part, what, due, repair.who{_WHERE_IT_IS}"
        " WHERE due IS NOT NULL AND settled IS NULL AND due <= ?",
        (until,),
    )
    found = []
    for lasting, number, job, machine, serial, place, part_kind, part, what, date, who in rows:
        day = datetime.date.fromisoformat(date)
        found.append(
            Due(
                kind=FOLLOW_UP if lasting else TEMPORARY,
                number=number,
                job_id=job,
                machine=machine,
                serial=serial,
                place=place,
                part_kind=part_kind,
                part=part,
                what=what,
                date=day,
                days_late=(today - day).days,
                who=who,
            )
        )
    return found


def _orders(store: Store) -> list[Due]:
    rows = store.rows(
        "SELECT part_order.ordered, part_order.id, job_id, coalesce(machine, ''),"
        " coalesce(serial, ''), coalesce(unit.place, ''), value, package, quantity,"
        " minimum_stock, van, reference, part_order.who"
        " FROM part_order LEFT JOIN job ON job.id = job_id LEFT JOIN unit ON unit.id = unit_id"
        " WHERE received IS NULL"
    )
    found = []
    for ordered, number, job, machine, serial, place, value, package, quantity, *rest in rows:
        stock, van, reference, who = rest
        what = " ".join(filter(None, (f"{quantity} x {value}", package)))
        if stock is not None:
            what += f", never fewer than {stock}"
        if van:
            what += f", for {van}"
        if reference:
            what += f", order {reference}"
        found.append(
            Due(
                kind=ON_ORDER if ordered else TO_ORDER,
                number=number,
                job_id=job,
                machine=machine,
                serial=serial,
                place=place,
                what=what,
                who=who,
            )
        )
    return found


def _unproven(store: Store) -> list[Due]:
    # A proof on a unit covers every repair made before it.
    rows = store.rows(
        "WITH proof AS (SELECT unit_id, max(proven_at) AS last FROM repair"
        " JOIN job ON job.id = repair.job_id GROUP BY unit_id)"
        " SELECT max(repair.done), repair.id, job.id, unit.machine, unit.serial, unit.place,"
        f" part_kind, part, what, repair.who{_WHERE_IT_IS} JOIN proof ON proof.unit_id = unit.id"
        f" WHERE proven = '{NOT_PROVEN}' AND repair.done > coalesce(proof.last, '')"
        " GROUP BY unit.id"
    )
    return [
        Due(
            kind=UNPROVEN,
            number=number,
            job_id=job,
            machine=machine,
            serial=serial,
            place=place,
            part_kind=part_kind,
            part=part,
            what=what,
            date=datetime.date.fromisoformat(done[:10]),
            who=who,
        )
        for done, number, job, machine, serial, place, part_kind, part, what, who in rows
    ]


def answers(store: Store, trainee: str) -> tuple[Answer, ...]:
    """Return the answers of one trainee, oldest first."""
    found = store.find(Answer, "trainee = ?", (person(trainee),))
    return tuple(sorted(found, key=lambda answer: (answer.answered, answer.id)))


def training(store: Store, trainee: str) -> Training | None:
    """Return where a trainee stopped, or None."""
    return next(iter(store.find(Training, "trainee = ?", (person(trainee),))), None)
