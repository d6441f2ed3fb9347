"""The judgement of a log as a JSON document."""

from __future__ import annotations

from typing import Any

from simrig.expectation.replay import Replay
from simrig.profile.machine import Profile


def document(profile: Profile, found: Replay) -> dict[str, Any]:
    """Return the judgement; times are in ms, None in a log without times."""
    return {
        "machine": profile.id,
        "agrees": found.agrees,
        "anomalies": [
            {
                "time": None if one.time_ms is None else round(one.time_ms, 3),
                "sensor": one.sensor,
                "kind": one.kind,
                "why": one.why,
                "line": one.line or None,
                "others": list(one.others),
                "beside": one.beside,
            }
            for one in found.anomalies
        ],
        "untold": found.untold,
        "balls": dict(found.balls),
        "or_balls": [dict(one) for one in found.or_balls],
        "phase": found.phase,
        "timed": found.timed,
        "events": found.events,
        "notes": list(found.notes),
    }
