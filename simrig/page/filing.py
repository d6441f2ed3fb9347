"""The end of a job: what was seen, checked and found goes into the shop's record."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from simrig.page.session import State
from simrig.profile.machine import Profile

if TYPE_CHECKING:
    from simrig.expectation.observation import Observation
    from simrig.history import Store
    from simrig.world.phases import Conditions

NO_NUMBER: Final = "without a number"


def units(store: Path | None, machine: str) -> list[tuple[str, str]]:
    """Return the known units of a model: serial and place; none where there is no record yet."""
    from simrig import history

    path = history.default_store() if store is None else store
    if not path.exists():
        return []
    with history.open_store(path) as opened:
        found = opened.find(history.Unit, "machine = ?", (machine,))
    return [(unit.serial, unit.place) for unit in found][-12:]


def file_job(
    store: Path | None,
    profile: Profile,
    state: State,
    form: Mapping[str, str],
    *,
    begun: datetime.datetime,
    now: datetime.datetime,
) -> int:
    """File a whole job, all of it or nothing, and return its number on the record.

    What was filed already since the job was ``begun``, and not acknowledged because the
    server was killed just then, is not filed twice.  Raises InputError, in words, for what
    the record does not take.
    """
    from simrig import history

    serial = form.get("unit", "").strip() or form.get("serial", "").strip() or NO_NUMBER
    words = form.get("found", "").strip() or form.get("words", "").strip()
    who = form.get("who", "").strip()
    complaint = form.get("complaint", "").strip()
    if state.fed:
        right = sum(state.fed.values())
        fed = f"Fed one by one: {right} of {len(state.fed)} steps as they must be."
        words = f"{words} {fed}".strip()
    sheets = [(sheet.observation(profile), sheet.conditions) for sheet in state.taken]
    with history.open_store(store, write=True) as opened, opened.writing():
        unit = history.ensure_unit(opened, profile.id, serial)
        filed = _filed(opened, unit.id, begun, sheets, (complaint, words))
        if filed is not None:
            return filed
        job = history.open_job(
            opened, profile.id, serial, complaint=complaint, now=now,
            who=who,
        )  # fmt: skip
        assert job.id is not None
        for observation, conditions in sheets:
            history.file_seen(opened, job.id, observation, conditions, now=now, who=who)
        for check, result in state.checks:
            history.add_check(opened, job.id, check=check, result=result, now=now, who=who)
        if words:
            history.explain(opened, job.id, words)
        if form.get("close") == "yes":
            history.close_job(opened, job.id, now=now)
        return job.id


def _filed(
    store: Store,
    unit_id: int | None,
    begun: datetime.datetime,
    sheets: Sequence[tuple[Observation, Conditions]],
    said: tuple[str, str],
) -> int | None:
    """Return the number of a job of this unit with just these sheets and words, opened since a
    time."""
    from simrig import history

    wanted = [(seen.looked_at(), history.plain_conditions(stated)) for seen, stated in sheets]
    for job in store.find(history.Job, "unit_id = ?", (unit_id,)):
        # The record keeps times to the second.
        if job.opened < begun.replace(microsecond=0) or said != (job.complaint, job.explanation):
            continue
        found = [
            (dict(sheet.readings), dict(sheet.conditions))
            for sheet in store.find(history.Sheet, "job_id = ?", (job.id,))
        ]
        if found == wanted:
            return job.id
    return None
