"""Which facts of a profile are worth finding next, worked out by trying every way they can be.

A fact that is unknown is worth the readings that become definite whatever it
turns out to be; one that is only assumed, the readings that would be others if
it were wrong.  Each is held against the minutes that finding it takes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import attrs

from simrig.expectation.worth_candidates import Candidate, candidates, reads_surely
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import links, readings
from simrig.signals import EITHER
from simrig.world.balls import Fact, Placement
from simrig.world.phases import Conditions, legal_placements, phase_of
from simrig.world.worlds import worlds

MOST_WAYS: Final = 64
"""Legal positions of one phase and count that are tried."""

WRONG: Final = 0.1
"""How often an assumption turns out wrong, taken for ranking: common practice, no source."""

Answers = Mapping[tuple[str, str], str]
"""The reading of each ball sensor under each set of conditions."""


@attrs.frozen(kw_only=True)
class Worth:
    """A fact worth finding.

    ``state`` is unknown or assumed; ``sharpens`` the sensors that it sharpens and
    ``answers`` how many readings of them, over all phases and counts; ``gain``
    says it in words.  ``topic`` names the question that asks for it, where there is one.
    """

    fact: str
    facts: tuple[Fact, ...]
    state: str
    minutes: float
    sharpens: tuple[str, ...]
    answers: int
    gain: str
    score: float = attrs.field(repr=False)
    topic: str = ""


def worth_finding(profile: Profile) -> tuple[Worth, ...]:
    """Return the facts worth finding, the one that pays best first."""
    now = answers(profile)
    found = [one for candidate in candidates(profile) if (one := _tried(candidate, now))]
    found += _structure(profile)
    return tuple(sorted(found, key=lambda one: -one.score))


def answers(profile: Profile) -> Answers:
    """Return the reading of every ball sensor in every phase and count that is asked about.

    In the idle phase every number of balls is asked about, in the others all of
    them.  A profile without phases is asked place by place.
    """
    asked = list(_asked(profile))
    if not asked:
        return {}
    frame = _frame(profile, [placement for _, ways in asked for placement in ways])
    found: dict[tuple[str, str], str] = {}
    at = 0
    sensors = [sensor.id for sensor in profile.sensor if sensor.spots]
    for name, ways in asked:
        among = ((1 << len(ways)) - 1) << at
        at += len(ways)
        for sensor in sensors:
            found[name, sensor] = frame.reading(sensor, among)
    return found


def _frame(profile: Profile, placements: list[Placement]) -> Frame:
    return readings(profile, links(profile), worlds(profile, placements))


def _asked(profile: Profile) -> Iterator[tuple[str, tuple[Placement, ...]]]:
    installed = profile.balls.installed
    for name, conditions in _conditions(profile, installed):
        ways = legal_placements(profile, conditions, most=MOST_WAYS)
        if ways:
            yield name, ways


def _conditions(profile: Profile, installed: int) -> Iterator[tuple[str, Conditions]]:
    if profile.phase:
        home = phase_of(profile, None).id
        for balls in range(installed + 2):
            yield f"{home} {balls}", Conditions(phase=home, balls=balls)
        for phase in profile.phase:
            if phase.id != home:
                yield f"{phase.id} {installed}", Conditions(phase=phase.id)
        return
    for place in profile.place:
        if not place.open_area and not place.captive:
            for balls in range(min(place.capacity, installed) + 1):
                yield f"{place.id} {balls}", Conditions(at={place.id: balls})


def _tried(candidate: Candidate, now: Answers) -> Worth | None:
    ways = [answers(way) for way in candidate.ways]
    if not ways:
        return None
    if candidate.assumed:
        keys = [key for key, seen in now.items() if any(way.get(key, seen) != seen for way in ways)]
    else:
        keys = [
            key
            for key in dict.fromkeys(key for way in ways for key in way)
            if now.get(key, EITHER) == EITHER
            and all(way.get(key, EITHER) != EITHER for way in ways)
        ]
    if not keys:
        return None
    sensors = tuple(dict.fromkeys(sensor for _, sensor in keys))
    count = f"{len(keys)} reading{'s' if len(keys) > 1 else ''}"
    gain = (
        f"{count} at {_switches(sensors)} would be others if it is wrong"
        if candidate.assumed
        else f"{count} at {_switches(sensors)} become{'s' if len(keys) == 1 else ''} definite"
    )
    weight = WRONG if candidate.assumed else 1.0
    return Worth(
        fact=candidate.words,
        facts=candidate.facts,
        state="assumed" if candidate.assumed else "unknown",
        minutes=candidate.minutes,
        sharpens=sensors,
        answers=len(keys),
        gain=gain,
        score=weight * len(keys) / candidate.minutes,
        topic=candidate.topic,
    )


def _switches(sensors: tuple[str, ...]) -> str:
    return sensors[0] if len(sensors) == 1 else f"{len(sensors)} switches"


def _structure(profile: Profile) -> Iterator[Worth]:
    """Facts that no single reading waits for: a whole place, a phase, what parts share."""
    installed = profile.balls.installed
    watched = [sensor for sensor in profile.sensor if sensor.spots]
    sure = tuple(sensor.id for sensor in watched if reads_surely(profile, sensor))
    if profile.balls.assumption("installed") is not None:
        yield _plain("balls", "how many balls the machine carries", 1.0, 20,
                     "every answer stands on it", sure, state="assumed")  # fmt: skip
    if not any(not place.captive and not place.open_area for place in profile.place):
        yield _plain("trough", "which switches a ball at rest in the trough works", 3.0,
                     installed * (installed + 1), "expect, compare and locate can answer at all")  # fmt: skip
    elif len(profile.phase) < 2 and sure:
        yield _plain("ready", "where the balls lie when a game is ready", 2.0, len(sure),
                     f"{len(sure)} readings in one phase more", sure)  # fmt: skip
    blank = tuple(
        spot.id
        for spot in profile.spots.values()
        if spot.resting and spot.id not in profile.covering and _is_watched(profile, spot.place)
    )
    if blank and any(sensor.at is None and not sensor.follows for sensor in profile.sensor):
        where = " and ".join(
            name.replace(".", " position ").replace("-", " ") for name in blank[:3]
        )
        yield _plain("", f"which switch, if any, watches {where}", 2.0 * len(blank),
                     len(blank) * (installed + 1), "a ball there is seen by nothing until then")  # fmt: skip
    beams = tuple(
        sensor.id
        for sensor in profile.sensor
        if profile.technology(sensor) == "light" and (sensor.bank is None or sensor.board is None)
    )
    if beams:
        yield _plain("", "which emitter bank and receiver board each beam is on", 2.0 * len(beams),
                     0.2 * len(beams), f"a shared cause can be told apart at {_switches(beams)}",
                     beams)  # fmt: skip
    kinds = tuple(sensor.id for sensor in watched if sensor.kind is None)
    if kinds:
        yield _plain("kinds", "which sensors are beams", 2.0, 0.5 * len(kinds),
                     f"which part can be at fault at {_switches(kinds)}", kinds)  # fmt: skip
    if profile.interlock is None or profile.interlock.fitted is None:
        yield _plain("interlock", "whether there is a door interlock", 1.0, 0.5,
                     "until then coils are taken to be live with the door open")  # fmt: skip
    if not profile.coil:
        yield _plain("", "which coils there are, and what feeds them", 8.0, 0.4,
                     "a ball that is not kicked can be traced to its coil, fuse or feed")  # fmt: skip


def _is_watched(profile: Profile, name: str | None) -> bool:
    """Whether some position of a place has a sensor."""
    place = profile.row("place", name)
    return (
        place is not None
        and not place.open_area
        and any(f"{name}.{number}" in profile.covering for number in range(1, place.capacity + 1))
    )


def _plain(
    topic: str,
    words: str,
    minutes: float,
    worth: float,
    gain: str,
    sensors: tuple[str, ...] = (),
    *,
    state: str = "unknown",
) -> Worth:
    return Worth(fact=words, facts=(), state=state, minutes=minutes, sharpens=sensors, answers=0,
                 gain=gain, score=worth / minutes, topic=topic)  # fmt: skip
