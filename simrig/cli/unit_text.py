"""What the shop's record says of one machine, before anything else."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import TYPE_CHECKING

from simrig.reports import wording

if TYPE_CHECKING:
    from simrig.history import UnitState


def lines(state: UnitState) -> Iterator[str]:
    """Yield its open temporary repairs first, then its differences and open jobs."""
    unit = state.unit
    where = f", {unit.place}" if unit.place else ""
    yield wording.folded(f"Unit {unit.serial}{where}, by the shop's record:")
    for repair in state.temporary:
        due = "" if repair.due is None else f", due {repair.due.isoformat()}"
        yield wording.folded(
            f"  Temporary repair, look there first: {repair.part_kind} {repair.part}: "
            f"{repair.what} ({_day(repair.done)}{due}).",
            "    ",
        )
    for fact in state.facts:
        yield wording.folded(
            f"  Differs from the model: {fact.key} = {_shown(fact.value)}.", "    "
        )
    for job in state.open_jobs:
        said = f": {job.complaint}" if job.complaint else ""
        yield wording.folded(f"  Open job {job.id} since {_day(job.opened)}{said}.", "    ")
    if not (state.temporary or state.facts or state.open_jobs):
        yield "  nothing that differs, no temporary repair, no open job."
    yield ""


def weighed(records: int) -> str:
    """Say on how many records the chances stand."""
    many = "1 repair" if records == 1 else f"{records} repairs"
    return f"Chances weighed by this shop's record: {many} of this model."


def _day(when: datetime.datetime) -> str:
    return when.date().isoformat()


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
