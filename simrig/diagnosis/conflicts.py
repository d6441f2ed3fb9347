"""Nothing explains what was seen: which readings cannot go together, and the way back."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from simrig.diagnosis.one_sheet import OneSheet
from simrig.diagnosis.reasoning import Explanations, Together, explain
from simrig.diagnosis.suspects import Sheet
from simrig.diagnosis.words import counted, listed
from simrig.profile.machine import Profile

NOTHING_FITS = "nothing fits"
SHEETS = "the sheets contradict each other"
MOST_AT_ONCE = 3
"""How many things wrong at once can be asked for: beyond, the search takes too long."""

MOST_TRIED = 6
"""Sheets of which each is left out in turn, to see whether the others fit together."""

BESIDES = "the rest of the evidence contradicts the readings"


@attrs.frozen(kw_only=True)
class Conflicting:
    """Why nothing explains the evidence.

    ``kind`` is one of the words above.  ``readings`` are those that cannot go
    together on a sound machine: (sheet, sensor, reading); ``words`` says it in a
    sentence, ``way_back`` what to do next.
    """

    kind: str
    readings: tuple[tuple[int, str, str], ...]
    words: str
    way_back: str


def conflicting(
    profile: Profile,
    sheets: tuple[Sheet, ...],
    systems: Sequence[OneSheet],
    found: Explanations,
    limit: int,
) -> Conflicting:
    """Say what contradicts what; ``found`` holds no explanation."""
    at_once = f"up to {counted(limit, 'thing')} wrong at once"
    if not systems:
        return Conflicting(
            kind=NOTHING_FITS,
            readings=(),
            words=f"with {at_once} nothing explains what the machine did",
            way_back="make sure that it did just this, and add a sheet of readings",
        )
    alone = [explain(system, limit).count > 0 for system in systems]
    if all(alone) and not explain(Together(systems=tuple(systems)), limit).count:
        return Conflicting(
            kind=SHEETS,
            readings=_readings(sheets, systems, range(len(systems))),
            words=f"each of the {len(systems)} sheets can be explained by itself, but with "
            f"{at_once} nothing explains all of them",
            way_back="something changed between the sheets, or one was noted under the wrong "
            "conditions: check how many balls each says, read again without touching anything, "
            f"or {_without(systems, limit)}",
        )
    if all(alone):
        return Conflicting(
            kind=BESIDES,
            readings=_readings(sheets, systems, range(len(systems))),
            words=f"the readings can be explained by themselves, but with {at_once} nothing "
            "explains them and the rest of the evidence",
            way_back="leave out one result at a time and see which one contradicts; repeat that check",
        )
    bad = [number for number, fits in enumerate(alone) if not fits]
    readings = _readings(sheets, systems, bad)
    which = "" if len(systems) == 1 else f" on sheet {listed([str(n + 1) for n in bad])}"
    named = listed([f"{name} {seen}" for _, name, seen in readings], 6)
    words = f"with {at_once} nothing explains the readings{which}"
    if len(readings) == 1:
        words += f"; a sound machine cannot give this: {named}"
    elif readings:
        words += f"; a sound machine cannot give these together: {named}"
    again = {0: "everything", 1: "that sensor"}.get(len(readings), "those sensors")
    more = (
        f"--faults {limit + 1} allows one more thing to be wrong, or "
        if limit < MOST_AT_ONCE
        else ""
    )
    return Conflicting(
        kind=NOTHING_FITS,
        readings=readings,
        words=words,
        way_back=f"read {again} again and check the phase and the number of balls; then "
        f"{more}--unknown leaves out the readings that you are not sure of",
    )


def _without(systems: Sequence[OneSheet], limit: int) -> str:
    """Say which sheets, left out by itself, leave others that fit together."""
    fitting = []
    if 2 < len(systems) <= MOST_TRIED:
        for number in range(len(systems)):
            others = (*systems[:number], *systems[number + 1 :])
            if explain(Together(systems=others), limit).count:
                fitting.append(str(number + 1))
    if not 0 < len(fitting) < len(systems):
        return "give one sheet at a time"
    return f"leave one out: without sheet {' or '.join(fitting)} the others fit together"


def _readings(
    sheets: tuple[Sheet, ...], systems: Sequence[OneSheet], numbers: Sequence[int]
) -> tuple[tuple[int, str, str], ...]:
    found = []
    for number in numbers:
        looked = sheets[number].observation.looked_at()
        for name in systems[number].conflicting_sensors(()):
            if name in looked:
                found.append((number, name, looked[name]))
    return tuple(found)
