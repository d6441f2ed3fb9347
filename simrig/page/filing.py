"""The end of a job: what was seen, checked and found goes into the shop's record."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from simrig.page.session import State
from simrig.profile.machine import Profile

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
    now: datetime.datetime,
) -> int:
    """File a whole job, all of it or nothing, and return its number on the record.

    Raises InputError, in words, for what the record does not take.
    """
    from simrig import history

    serial = form.get("unit", "").strip() or form.get("serial", "").strip() or NO_NUMBER
    words = form.get("found", "").strip() or form.get("words", "").strip()
    who = form.get("who", "").strip()
    with history.open_store(store, write=True) as opened, opened.writing():
        job = history.open_job(
            opened, profile.id, serial, complaint=form.get("complaint", "").strip(), now=now,
            who=who,
        )  # fmt: skip
        assert job.id is not None
        for sheet in state.taken:
            history.file_seen(
                opened, job.id, sheet.observation(profile), sheet.conditions, now=now, who=who
            )
        for check, result in state.checks:
            history.add_check(opened, job.id, check=check, result=result, now=now, who=who)
        if state.fed:
            right = sum(state.fed.values())
            fed = f"Fed one by one: {right} of {len(state.fed)} steps as they must be."
            words = f"{words} {fed}".strip()
        if words:
            history.explain(opened, job.id, words)
        if form.get("close") == "yes":
            history.close_job(opened, job.id, now=now)
        return job.id
