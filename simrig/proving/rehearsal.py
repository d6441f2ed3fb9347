"""A plan carried out on the simulated machine, sound or with a fault in it."""

from __future__ import annotations

from simrig.profile.machine import Profile
from simrig.proving.plan import Plan
from simrig.proving.step import readings_of, worked_by
from simrig.scan.events import Event
from simrig.scan.scanner import Links

STEP_MS = 10_000.0


def rehearse(
    profile: Profile, plan: Plan, table: Links, *, unseen: frozenset[int] = frozenset()
) -> tuple[Event, ...]:
    """Return what a recorder would write while the plan is carried out.

    It starts with every reading; steps are ten seconds apart.  ``unseen`` are the numbers,
    over the whole run, of the passes that may go unseen and do.
    """
    names = plan.steps[0].reads
    opening, _ = readings_of(profile, table, plan.empty, ())
    events = [
        _event(0.0, name, opening[name]) for name in names if opening[name] in ("closed", "open")
    ]
    here, doubtful = plan.empty, 0
    for number, deed in enumerate(plan.deeds, 1):
        worked, _ = worked_by(profile, here, deed)
        goings = {one.going for one in worked if not one.certain}
        away = {going for turn, going in enumerate(sorted(goings), doubtful) if turn in unseen}
        doubtful += len(goings)
        told = [one for one in worked if one.certain or one.going not in away]
        _, made = readings_of(profile, table, here, told)
        events += [
            _event(number * STEP_MS + place, change.sensor, change.reading)
            for place, change in enumerate(made)
            if change.sensor in names and change.reading in ("closed", "open")
        ]
        here = deed.after
    return tuple(events)


def _event(time_ms: float, sensor: str, reading: str) -> Event:
    return Event(time_ms=time_ms, signal=sensor, reading=reading)  # type: ignore[arg-type]
