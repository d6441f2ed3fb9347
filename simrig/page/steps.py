"""The plan that is ticked off while the balls are fed back."""

from __future__ import annotations

import attrs

from simrig.profile.machine import Profile
from simrig.reports.feeding import feeding, feeding_place
from simrig.scan.scanner import Links


@attrs.frozen(kw_only=True)
class Step:
    """One thing to do, and what must be seen then."""

    do: str
    expect: tuple[str, ...]


def steps(profile: Profile, table: Links) -> tuple[Step, ...]:
    """Return the steps for a machine: the empty place first, then ball by ball."""
    place = feeding_place(profile)
    found = []
    for fed in feeding(profile, table=table):
        expect = []
        if fed.past:
            names = [sensor.title for sensor in fed.past]
            many = f"{names[0]} and the next ones, to {names[-1]}"
            passed = many if len(names) > 4 else ", ".join(names)
            expect.append(f"It goes past: {passed}.")
        if fed.stops:
            expect.append(f"It stops at: {fed.stops}.")
        expect += [f"{reading}: {', '.join(names)}" for reading, names in fed.grouped()]
        where = place.title if place else ""
        do = f"Feed ball {fed.ball} into the {where}" if fed.ball else f"Empty the {where}"
        found.append(Step(do=do, expect=tuple(expect)))
    return tuple(found)
