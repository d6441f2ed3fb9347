"""Why not this one: which readings rule a thing out, or that they cannot show it."""

from __future__ import annotations

import attrs

from simrig.diagnosis.diagnose import Diagnosis
from simrig.diagnosis.one_sheet import OneSheet
from simrig.diagnosis.suspects import Suspect
from simrig.diagnosis.words import counted, fault_words, listed, mistake_words
from simrig.faults.candidates import pick
from simrig.signals import CLOSED, FLICKERS

CAN_BE = "can be"
NOT_SHOWN = "not shown"
WITH_OTHERS = "only with others"
RULED_OUT = "ruled out"


@attrs.frozen(kw_only=True)
class Verdict:
    """What the evidence says of one suspect.

    ``verdict`` is one of the words above; ``readings`` are those that speak against
    it by itself, (sheet, sensor, what was seen); ``words`` says it in a sentence.
    """

    name: str
    verdict: str
    readings: tuple[tuple[int, str, str], ...]
    words: str


class UnknownSuspectError(ValueError):
    """A name that is none of what this machine and its reader can have wrong."""


def suspect_named(diagnosis: Diagnosis, name: str) -> int:
    """Return the position of a suspect by ``KIND:PART``, a mistake's as ``symbols:all``.

    Raises UnknownSuspectError with what this machine can have, or the nearest name.
    """
    names: dict[str, int] = {}
    for index, one in enumerate(diagnosis.suspects):
        names.setdefault(_name(one), index)
    try:
        return pick(names, name)
    except ValueError as error:
        raise UnknownSuspectError(str(error)) from None


def _name(one: Suspect) -> str:
    mistake = one.mistake
    return one.name if mistake is None else f"{mistake.kind}:{mistake.value}"


def why_not(diagnosis: Diagnosis, index: int) -> Verdict:
    """Say why a suspect is, or is not, among what can be wrong."""
    one = diagnosis.suspects[index]
    words = _title(diagnosis, one)
    name = _name(one)
    for cause in diagnosis.causes:
        if cause.members == (index,):
            return Verdict(name=name, verdict=CAN_BE, readings=(), words=f"it can be: {cause.why}")
    alone = frozenset((index,))
    against = [
        (number, system)
        for number, system in enumerate(diagnosis.systems)
        if not system.worlds(alone)
    ]
    if not against and diagnosis.as_assumed:
        return Verdict(
            name=name,
            verdict=NOT_SHOWN,
            readings=(),
            words=f"not ruled out: {words} would leave every one of these readings as it is; "
            "other positions of the balls are needed to show it",
        )
    readings = [
        (number, sensor, seen)
        for number, system in against
        for sensor, seen in _seen(diagnosis, number, system, index)
    ]
    sentence = (
        "; ".join(_speaks(diagnosis, number, system, index) for number, system in against)
        or "other evidence speaks against it by itself"
    )
    beside = [cause for cause in diagnosis.causes if index in cause.members]
    if beside:
        others = [
            _title(diagnosis, diagnosis.suspects[other])
            for other in beside[0].members
            if other != index
        ]
        more = "" if len(beside) == 1 else f" (or {counted(len(beside) - 1, 'other way')})"
        return Verdict(
            name=name,
            verdict=WITH_OTHERS,
            readings=tuple(readings),
            words=f"not by itself: {sentence}; it stays possible together with "
            f"{listed(others)}{more}",
        )
    return Verdict(
        name=name,
        verdict=RULED_OUT,
        readings=tuple(readings),
        words=f"ruled out as what is wrong here: {sentence}",
    )


def _title(diagnosis: Diagnosis, one: Suspect) -> str:
    if one.fault is not None:
        return fault_words(diagnosis.profile, one.fault)
    assert one.mistake is not None
    return mistake_words(diagnosis.profile, one.mistake)


def _seen(diagnosis: Diagnosis, number: int, system: OneSheet, index: int) -> list[tuple[str, str]]:
    looked = diagnosis.sheets[number].observation.looked_at()
    return [
        (sensor, looked[sensor])
        for sensor in system.conflicting_sensors((index,))
        if sensor in looked
    ]


def _speaks(diagnosis: Diagnosis, number: int, system: OneSheet, index: int) -> str:
    """Say which readings of a sheet cannot be with this suspect alone."""
    seen = _seen(diagnosis, number, system, index)
    nth = f" on sheet {number + 1}" if len(diagnosis.sheets) > 1 else ""
    one = diagnosis.suspects[index]
    inner = system.to_inside[index]
    own = (
        set(system.about.changed(frozenset((inner,))))
        if inner is not None and one.fault is not None
        else set()
    )
    if len(seen) == 1:
        ((sensor, reading),) = seen
        if reading == FLICKERS:
            return f"{sensor} flickers{nth}, and this neither comes nor goes"
        other = "open" if reading == CLOSED else "closed"
        if sensor in own:
            return f"with it {sensor} would read {other}{nth}; you saw it {reading}"
        return f"it would leave {sensor} {other}{nth}; you saw it {reading}"
    if not seen:
        return f"the balls can then not lie in any legal way{nth}"
    named = listed([f"{sensor} {reading}" for sensor, reading in seen], 6)
    return f"with it these cannot be together{nth}: {named}"
