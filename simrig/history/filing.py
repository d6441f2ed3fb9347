"""Files what happened in the shop: every function is one acknowledged entry.

Each takes the clock and the initials as arguments.  Several calls inside
``with store.writing():`` are filed together or not at all.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from typing import Any

import attrs

from simrig.history.columns import Cell, columns_of, person
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
    make,
)
from simrig.history.store import Store
from simrig.history.troubles import refusal

_ENTRY = "entry"


def ensure_unit(store: Store, machine: str, serial: str, *, place: str = "") -> Unit:
    """Return a unit, filed if it is new; a ``place`` that is given becomes its place."""
    new = make(Unit, file=_ENTRY, machine=machine, serial=serial, place=place)
    with store.writing():
        found = store.find(Unit, "machine = ? AND serial = ?", (new.machine, new.serial))
        if not found:
            return store.add(new)
        if new.place and new.place != found[0].place:
            return store.change(attrs.evolve(found[0], place=new.place))
        return found[0]


def set_fact(
    store: Store, unit_id: int, key: str, value: Any, *, now: datetime.datetime, who: str = ""
) -> Fact:
    """Write down in what a unit differs from its profile; a fact with the same key is replaced."""
    fact = make(Fact, file=_ENTRY, unit_id=unit_id, key=key, value=value, since=now, who=who)
    with store.writing():
        store.get(Unit, unit_id)
        for known in store.find(Fact, "unit_id = ? AND key = ?", (unit_id, fact.key)):
            return store.change(attrs.evolve(fact, id=known.id))
        return store.add(fact)


def remove_fact(store: Store, unit_id: int, key: str) -> None:
    """Take back a fact: the unit is as its profile says again."""
    changed = store.execute("DELETE FROM fact WHERE unit_id = ? AND key = ?", (unit_id, key))
    if not changed:
        raise refusal(
            str(store.path),
            f'found no fact "{key}" of this unit on record; wanted one that is. '
            "See them with: simrig history list",
            where="fact",
        )


def open_job(
    store: Store,
    machine: str,
    serial: str,
    *,
    complaint: str = "",
    complaint_ids: Iterable[str] = (),
    place: str = "",
    now: datetime.datetime,
    who: str = "",
) -> Job:
    """Open a job for a complaint about a unit, which is filed too if it is new."""
    with store.writing():
        unit = ensure_unit(store, machine, serial, place=place)
        job = make(
            Job,
            file=_ENTRY,
            unit_id=unit.id,
            complaint=complaint,
            complaint_ids=tuple(complaint_ids),
            place=unit.place,
            opened=now,
            who=who,
        )
        return store.add(job)


def add_sheet(
    store: Store,
    job_id: int,
    *,
    readings: Mapping[str, str],
    conditions: Mapping[str, Any] | None = None,
    now: datetime.datetime,
    who: str = "",
) -> Sheet:
    """File a sheet of an open job: its readings and the conditions under which it was taken."""
    sheet = make(
        Sheet,
        file=_ENTRY,
        job_id=job_id,
        taken=now,
        conditions=dict(conditions or {}),
        readings=dict(readings),
        who=who,
    )
    with store.writing():
        opened(store, job_id)
        return store.add(sheet)


def add_check(
    store: Store,
    job_id: int,
    *,
    check: str,
    result: str,
    minutes: float | None = None,
    now: datetime.datetime,
    who: str = "",
) -> CheckMade:
    """File a bench check of an open job."""
    made = make(
        CheckMade,
        file=_ENTRY,
        job_id=job_id,
        check=check,
        result=result,
        minutes=minutes,
        done=now,
        who=who,
    )
    with store.writing():
        opened(store, job_id)
        return store.add(made)


def explain(store: Store, job_id: int, text: str) -> Job:
    """Write down what was wrong, in words, in place of what stood there."""
    with store.writing():
        job = opened(store, job_id)
        return store.change(
            make(Job, file=_ENTRY, **{**attrs.asdict(job, recurse=False), "explanation": text})
        )


def add_repair(
    store: Store,
    job_id: int,
    *,
    part_kind: str,
    part: str,
    what: str,
    fault: str = "",
    beside_kicker: bool = False,
    lasting: bool = True,
    due: datetime.date | None = None,
    follows: int | None = None,
    minutes: float | None = None,
    proven: str = NOT_PROVEN,
    balls_aboard: int | None = None,
    now: datetime.datetime,
    who: str = "",
) -> Repair:
    """File what was done about a part.

    A lasting repair settles the open temporary ones of the same part of the same
    unit.  ``follows`` names the temporary repair that it finishes as planned;
    without it, the part counts as failed again.
    """
    repair = make(
        Repair,
        file=_ENTRY,
        job_id=job_id,
        part_kind=part_kind,
        part=part,
        fault=fault,
        beside_kicker=beside_kicker,
        what=what,
        lasting=lasting,
        due=due,
        follows=follows,
        minutes=minutes,
        done=now,
        who=who,
        proven=proven,
        proven_at=None if proven == NOT_PROVEN else now,
        balls_aboard=balls_aboard,
    )
    with store.writing():
        job = opened(store, job_id)
        if follows is not None:
            _check_followed(store, job, follows)
        filed = store.add(repair)
        if lasting:
            store.execute(
                "UPDATE repair SET settled = ? WHERE settled IS NULL AND NOT lasting AND ("
                " id = ? OR part_kind = ? AND part = ?"
                " AND job_id IN (SELECT id FROM job WHERE unit_id = ?))",
                (_cell(filed.done), follows, filed.part_kind, filed.part, job.unit_id),
            )
        elif follows is not None:
            # The new date stands in for the old one.
            settle(store, follows, now=now)
        return filed


def _check_followed(store: Store, job: Job, follows: int) -> None:
    followed = store.get(Repair, follows)
    if followed.lasting or store.get(Job, followed.job_id).unit_id != job.unit_id:
        found = "a lasting repair" if followed.lasting else "a repair of another unit"
        raise refusal(
            str(store.path),
            f"found {found}; wanted the number of a temporary repair of this unit. "
            "See them with: simrig history due",
            where="follows",
        )


def settle(store: Store, repair_id: int, *, now: datetime.datetime) -> Repair:
    """Note that the follow-up of a repair is done, or needed no longer."""
    with store.writing():
        repair = store.get(Repair, repair_id)
        return store.change(attrs.evolve(repair, settled=now))


def prove(
    store: Store,
    repair_id: int,
    how: str,
    *,
    balls_aboard: int | None = None,
    now: datetime.datetime,
) -> Repair:
    """Note how a repair was proven: ``readings`` or ``fed one by one``."""
    with store.writing():
        repair = store.get(Repair, repair_id)
        values = attrs.asdict(repair, recurse=False)
        values.update(proven=how, proven_at=None if how == NOT_PROVEN else now)
        if balls_aboard is not None:
            values["balls_aboard"] = balls_aboard
        return store.change(make(Repair, file=_ENTRY, **values))


def order_part(
    store: Store,
    *,
    value: str,
    package: str = "",
    quantity: int = 1,
    job_id: int | None = None,
    minimum_stock: int | None = None,
    van: str = "",
    now: datetime.datetime,
    who: str = "",
) -> PartOrder:
    """Ask for a part: for a job, or for the stock of a van or the shop."""
    wanted = make(
        PartOrder,
        file=_ENTRY,
        job_id=job_id,
        value=value,
        package=package,
        quantity=quantity,
        minimum_stock=minimum_stock,
        van=van,
        asked=now,
        who=who,
    )
    with store.writing():
        if job_id is not None:
            store.get(Job, job_id)
        return store.add(wanted)


def mark_ordered(
    store: Store, order_id: int, *, reference: str = "", now: datetime.datetime
) -> PartOrder:
    """Note that a part is on order."""
    with store.writing():
        wanted = attrs.asdict(store.get(PartOrder, order_id), recurse=False)
        wanted.update(ordered=now, reference=reference or wanted["reference"])
        return store.change(make(PartOrder, file=_ENTRY, **wanted))


def mark_received(store: Store, order_id: int, *, now: datetime.datetime) -> PartOrder:
    """Note that a part came."""
    with store.writing():
        return store.change(attrs.evolve(store.get(PartOrder, order_id), received=now))


def close_job(store: Store, job_id: int, *, now: datetime.datetime) -> Job:
    """Close a job."""
    with store.writing():
        job = opened(store, job_id)
        return store.change(
            make(Job, file=_ENTRY, **{**attrs.asdict(job, recurse=False), "closed": now})
        )


def reopen_job(store: Store, job_id: int) -> Job:
    """Open a closed job again, with all that it holds."""
    with store.writing():
        return store.change(attrs.evolve(store.get(Job, job_id), closed=None))


def opened(store: Store, job_id: int) -> Job:
    """Return an open job; raises InputError where it is closed or not on record."""
    job = store.get(Job, job_id)
    if job.closed is not None:
        raise refusal(
            str(store.path),
            f"found job {job_id} closed since {job.closed:%Y-%m-%d}; wanted an open one. "
            f"Open it again with: simrig history add --job {job_id} --reopen",
            where="job",
        )
    return job


def add_answer(
    store: Store, *, trainee: str, topic: str, item: str, right: bool, now: datetime.datetime
) -> Answer:
    """File one answer of a trainee."""
    return store.add(
        make(
            Answer, file=_ENTRY, trainee=trainee, topic=topic, item=item, right=right, answered=now
        )
    )


def undo_answer(store: Store, trainee: str) -> Answer | None:
    """Take back the last answer of a trainee and return it; None if there is none."""
    with store.writing():
        found = store.find(
            Answer,
            "id = (SELECT id FROM answer WHERE trainee = ?"
            " ORDER BY answered DESC, id DESC LIMIT 1)",
            (person(trainee),),
        )
        for answer in found:
            store.execute("DELETE FROM answer WHERE id = ?", (answer.id,))
            return answer
        return None


def save_training(
    store: Store, trainee: str, progress: Mapping[str, Any], *, now: datetime.datetime
) -> Training:
    """Keep what is needed to go on later, in place of what was kept before."""
    saved = make(Training, file=_ENTRY, trainee=trainee, saved=now, progress=dict(progress))
    with store.writing():
        for known in store.find(Training, "trainee = ?", (saved.trainee,)):
            return store.change(attrs.evolve(saved, id=known.id))
        return store.add(saved)


def end_training(store: Store, trainee: str) -> None:
    """Forget what was kept to go on later."""
    store.execute("DELETE FROM training WHERE trainee = ?", (person(trainee),))


def _cell(time: datetime.datetime) -> Cell:
    return dict(columns_of(Repair))["done"].cell(time)
