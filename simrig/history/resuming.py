"""Sheets between the record and the diagnosis: filed as they were seen, taken up again as they were.

``{"phase": ..., "balls": ..., "at": {...}, "spots": [...], "states": {...}}`` keeps
the conditions; what was not stated is left out.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from simrig.history.filing import add_sheet
from simrig.history.records import Sheet
from simrig.history.store import Store

if TYPE_CHECKING:
    from simrig.expectation.observation import Observation
    from simrig.world.phases import Conditions


def plain_conditions(conditions: Conditions) -> dict[str, Any]:
    """Return conditions as the record keeps them."""
    plain = {
        "phase": conditions.phase,
        "balls": conditions.balls,
        "at": None if conditions.at is None else dict(conditions.at),
        "spots": None if conditions.spots is None else sorted(conditions.spots),
        "states": dict(conditions.states) or None,
    }
    return {name: value for name, value in plain.items() if value is not None}


def conditions_of(kept: Mapping[str, Any]) -> Conditions:
    """Return the conditions of a sheet on record."""
    from simrig.world.phases import Conditions

    spots = kept.get("spots")
    return Conditions(
        phase=kept.get("phase"),
        balls=kept.get("balls"),
        at=kept.get("at"),
        spots=None if spots is None else frozenset(spots),
        states=kept.get("states", {}),
    )


def file_seen(
    store: Store,
    job_id: int,
    observation: Observation,
    conditions: Conditions,
    *,
    now: datetime.datetime,
    who: str = "",
) -> Sheet:
    """File what was seen under a job: the sensors that were looked at, and the conditions."""
    return add_sheet(
        store,
        job_id,
        readings=observation.looked_at(),
        conditions=plain_conditions(conditions),
        now=now,
        who=who,
    )


def seen_again(sheet: Sheet) -> tuple[Observation, Conditions]:
    """Return what a sheet on record says was seen, and under which conditions."""
    from simrig.expectation.observation import Observation

    return Observation(readings=dict(sheet.readings)), conditions_of(sheet.conditions)
