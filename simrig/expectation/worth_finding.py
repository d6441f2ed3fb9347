"""Which facts of a profile are worth finding next, worked out by trying every way they can be.

A fact that is unknown is worth the readings that become definite whatever it
turns out to be; one that is only assumed, the readings that would be others if
it were wrong.  Each is held against the minutes that finding it takes.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Any, Final

import attrs

from simrig.expectation.facts import assumed_reason, in_words
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import links, readings
from simrig.sensing.chain import chain, contact
from simrig.signals import EITHER
from simrig.world.balls import Fact, Placement
from simrig.world.phases import Conditions, legal_placements, phase_of
from simrig.world.worlds import Value, worlds

MOST_WAYS: Final = 64
"""Legal positions of one phase and count that are tried."""

MINUTES: Final = {
    "balls": 1.0, "trough": 3.0, "position_1": 1.0, "rest_end": 1.0, "reads": 0.5,
    "output_closes": 1.0, "diodes": 10.0, "rest": 0.5, "store": 5.0, "extra": 3.0,
    "phase": 2.0, "others": 0.5, "chain": 2.0, "interlock": 1.0, "other": 2.0,
}  # fmt: skip
"""Minutes that a fact takes to find, each or, for ``reads`` and ``others`` and ``chain``, each
switch: common practice, no source."""

WRONG: Final = 0.1
"""How often an assumption turns out wrong, taken for ranking: common practice, no source."""

Answers = Mapping[tuple[str, str], str]
"""The reading of each ball sensor under each set of conditions."""


@attrs.frozen(kw_only=True)
class Worth:
    """A fact worth finding.

    ``state`` is unknown or assumed; ``sharpens`` the sensors that it sharpens and
    ``answers`` how many readings of them, over all phases and counts; ``gain``
    says it in words.
    """

    fact: str
    facts: tuple[Fact, ...]
    state: str
    minutes: float
    sharpens: tuple[str, ...]
    answers: int
    gain: str
    score: float = attrs.field(repr=False)


@attrs.frozen(kw_only=True)
class _Candidate:
    """Some facts that are found together, and the profile for each way they can be."""

    words: str
    facts: tuple[Fact, ...]
    minutes: float
    ways: tuple[Profile, ...]
    assumed: bool = False


def worth_finding(profile: Profile) -> tuple[Worth, ...]:
    """Return the facts worth finding, the one that pays best first."""
    now = answers(profile)
    found = [one for candidate in _candidates(profile) if (one := _tried(candidate, now))]
    found += _structure(profile, now)
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
        ways = tuple(itertools.islice(legal_placements(profile, conditions), MOST_WAYS))
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


def _tried(candidate: _Candidate, now: Answers) -> Worth | None:
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
        else f"{count} at {_switches(sensors)} become definite"
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
    )


def _switches(sensors: tuple[str, ...]) -> str:
    return sensors[0] if len(sensors) == 1 else f"{len(sensors)} switches"


def _candidates(profile: Profile) -> Iterator[_Candidate]:
    yield from _unknown_rows(profile)
    yield from _unknown_polarity(profile)
    yield from _unknown_balls(profile)
    yield from _unknown_matrix(profile)
    yield from _assumed(profile)


def _one(profile: Profile, fact: Fact, values: tuple[Any, ...], cost: str) -> _Candidate:
    return _Candidate(
        words=in_words(profile, fact),
        facts=(fact,),
        minutes=MINUTES[cost],
        ways=tuple(with_fact(profile, fact, value) for value in values),
    )


def with_fact(profile: Profile, fact: Fact, value: Any) -> Profile:
    """Return the profile with one fact taken to be so."""
    rows: Any
    if fact.row:
        rows = tuple(
            attrs.evolve(row, **{fact.key: value}) if row.id == fact.row else row
            for row in getattr(profile, fact.table)
        )
    else:
        rows = attrs.evolve(getattr(profile, fact.table), **{fact.key: value})
    changes: dict[str, Any] = {fact.table: rows}
    return attrs.evolve(profile, **changes)


def _unknown_rows(profile: Profile) -> Iterator[_Candidate]:
    ends = ("exit end", "far end")
    for place in profile.place:
        if place.position_1 is None and not place.open_area and place.capacity > 1:
            yield _one(profile, Fact("place", place.id, "position_1"), ends, "position_1")
        if place.captive and place.rest_end is None:
            yield _one(profile, Fact("place", place.id, "rest_end"), ends, "rest_end")
    for board in profile.board:
        if board.output_closes is None:
            fact = Fact("board", board.id, "output_closes")
            yield _one(profile, fact, ("dark", "lit"), "output_closes")
    for mechanism in profile.mechanism:
        if mechanism.rest is None:
            fact = Fact("mechanism", mechanism.id, "rest")
            yield _one(profile, fact, mechanism.states, "rest")


def _unknown_polarity(profile: Profile) -> Iterator[_Candidate]:
    groups: dict[str, list[Sensor]] = {}
    for sensor in profile.sensor:
        if sensor.spots and not reads_surely(profile, sensor):
            spot = profile.spots[sensor.spots[0]]
            groups.setdefault(spot.place or spot.route or "", []).append(sensor)
    for name, sensors in groups.items():
        row = profile.row("place", name) or profile.row("route", name)
        yield _Candidate(
            words=f"how the switches of the {row.title} read with a ball"
            if len(sensors) > 1
            else f"how {sensors[0].title} reads with a ball",
            facts=tuple(Fact("sensor", sensor.id, "worked_reads") for sensor in sensors),
            minutes=MINUTES["reads"] * len(sensors),
            ways=tuple(_reading(profile, sensors, word) for word in ("closed", "open")),
        )


def reads_surely(profile: Profile, sensor: Sensor) -> bool:
    """Whether the reading with a ball follows from what is known."""
    value = contact(chain(profile, sensor), Value(1, 1), 1)
    return bool(value.surely) or not value.maybe


def _reading(profile: Profile, sensors: list[Sensor], word: str) -> Profile:
    chosen = {sensor.id for sensor in sensors}
    normally = "normally open" if word == "closed" else "normally closed"

    def settled(sensor: Sensor) -> Sensor:
        if sensor.id not in chosen:
            return sensor
        if profile.technology(sensor) == "light":
            return attrs.evolve(sensor, board=None, worked_reads=word)
        return attrs.evolve(sensor, contact=normally)

    return attrs.evolve(profile, sensor=tuple(settled(sensor) for sensor in profile.sensor))


def _unknown_balls(profile: Profile) -> Iterator[_Candidate]:
    if not profile.phase:
        return
    rest = [place.id for place in profile.place if not place.captive and not place.open_area]
    if profile.balls.store is None and rest:
        yield _one(profile, Fact("balls", "", "store"), tuple(rest), "store")
    if profile.balls.extra is None and rest:
        ways = tuple((name, *(other for other in rest if other != name)) for name in rest)
        yield _one(profile, Fact("balls", "", "extra"), ways, "extra")


def _unknown_matrix(profile: Profile) -> Iterator[_Candidate]:
    matrix = profile.matrix
    if matrix is None:
        return
    if matrix.diodes is None:
        yield _one(profile, Fact("matrix", "", "diodes"), ("all", NONE), "diodes")
    elif matrix.diodes == "some":
        unknown = [
            sensor
            for sensor in profile.sensor
            if sensor.diode is None
            and (address := profile.address_of.get(sensor.id)) is not None
            and address.in_matrix
        ]
        if unknown:
            chosen = {sensor.id for sensor in unknown}
            yield _Candidate(
                words=f"which of {len(unknown)} switches have a diode",
                facts=tuple(Fact("sensor", sensor.id, "diode") for sensor in unknown),
                minutes=MINUTES["diodes"],
                ways=tuple(_each(profile, chosen, diode=word) for word in ("fitted", NONE)),
            )
    loose = [sensor for sensor in profile.sensor if sensor.at is None and not sensor.follows]
    if loose and matrix.diodes != "all":
        chosen = {sensor.id for sensor in loose}
        yield _Candidate(
            words=f"what works {len(loose)} other switches, and how they stand at rest",
            facts=tuple(Fact("sensor", sensor.id, "at") for sensor in loose),
            minutes=MINUTES["others"] * len(loose),
            ways=tuple(_each(profile, chosen, at=NONE, contact=f"normally {word}")
                       for word in ("open", "closed")),
        )  # fmt: skip


def _each(profile: Profile, chosen: set[str], **changes: Any) -> Profile:
    return attrs.evolve(
        profile,
        sensor=tuple(
            attrs.evolve(sensor, **changes) if sensor.id in chosen else sensor
            for sensor in profile.sensor
        ),
    )


def _assumed(profile: Profile) -> Iterator[_Candidate]:
    for words, facts, way in otherwise(profile):
        key = facts[0].key
        cost = MINUTES.get({"worked_reads": "reads", "contact": "reads"}.get(key, key), 2.0)
        many = len(facts) if key in ("worked_reads", "contact") else 1
        yield _Candidate(words=words, facts=facts, minutes=cost * many, ways=(way,), assumed=True)


def otherwise(profile: Profile) -> Iterator[tuple[str, tuple[Fact, ...], Profile]]:
    """Yield each assumption of a profile in words, its facts, and the profile if it is wrong.

    What is assumed of several sensors for one reason is one assumption.
    """
    reads: dict[tuple[str, str, str], list[Sensor]] = {}
    for sensor in profile.sensor:
        for key in ("worked_reads", "contact"):
            reason = sensor.assumption(key)
            if reason is not None and getattr(sensor, key) is not None:
                reads.setdefault((key, str(getattr(sensor, key)), reason), []).append(sensor)
    opposite = {"closed": "open", "open": "closed", "normally open": "normally closed",
                "normally closed": "normally open"}  # fmt: skip
    for (key, value, reason), sensors in reads.items():
        facts = tuple(Fact("sensor", sensor.id, key) for sensor in sensors)
        many = f"how {len(sensors)} switches read with a ball"
        words = many if len(sensors) > 1 else in_words(profile, facts[0])
        changed = _each(profile, {sensor.id for sensor in sensors}, **{key: opposite[value]})
        yield f"{words} ({reason})", facts, changed
    ends = {"exit end": "far end", "far end": "exit end"}
    facts_of = [(Fact("place", place.id, key), ends) for place in profile.place
                for key in ("position_1", "rest_end")]  # fmt: skip
    facts_of += [(Fact("board", board.id, "output_closes"), {"dark": "lit", "lit": "dark"})
                 for board in profile.board]  # fmt: skip
    if profile.matrix is not None:
        facts_of.append((Fact("matrix", "", "diodes"), {"all": NONE, NONE: "all"}))
    for fact, other in facts_of:
        reason = assumed_reason(profile, fact)
        row = profile.row(fact.table, fact.row) if fact.row else getattr(profile, fact.table)
        value = getattr(row, fact.key)
        if reason is not None and value in other:
            words = f"{in_words(profile, fact)} ({reason})"
            yield words, (fact,), with_fact(profile, fact, other[value])


def _structure(profile: Profile, now: Answers) -> Iterator[Worth]:
    """Facts that no single reading waits for: a whole place, a phase, what parts share."""
    installed = profile.balls.installed
    watched = [sensor for sensor in profile.sensor if sensor.spots]
    if not any(not place.captive and not place.open_area for place in profile.place):
        yield _plain("which switches a ball at rest in the trough works", "trough", 1,
                     installed * (installed + 1), "expect, compare and locate can answer at all")  # fmt: skip
    elif len(profile.phase) < 2 and watched:
        sure = [sensor.id for sensor in watched if reads_surely(profile, sensor)]
        if sure:
            yield _plain("where the balls lie when a game is ready", "phase", 1, len(sure),
                         f"{len(sure)} readings in one phase more", tuple(sure))  # fmt: skip
    beams = [
        sensor.id
        for sensor in profile.sensor
        if profile.technology(sensor) == "light" and (sensor.bank is None or sensor.board is None)
    ]
    if beams:
        yield _plain("which emitter bank and receiver board each beam is on", "chain", len(beams),
                     0.2 * len(beams), f"a shared cause can be told apart at {_switches(tuple(beams))}",
                     tuple(beams))  # fmt: skip
    kinds = [sensor.id for sensor in watched if sensor.kind is None]
    if kinds:
        yield _plain("which sensors are beams", "other", 1, 0.5 * len(kinds),
                     f"which part can be at fault at {_switches(tuple(kinds))}", tuple(kinds))  # fmt: skip
    if profile.interlock is None or profile.interlock.fitted is None:
        yield _plain("whether there is a door interlock", "interlock", 1, 0.5,
                     "until then coils are taken to be live with the door open")  # fmt: skip
    if not profile.coil:
        yield _plain("which coils there are, and what feeds them", "other", 4, 0.4,
                     "a ball that is not kicked can be traced to its coil, fuse or feed")  # fmt: skip


def _plain(
    words: str, cost: str, many: int, worth: float, gain: str, sensors: tuple[str, ...] = ()
) -> Worth:
    minutes = MINUTES[cost] * many
    return Worth(fact=words, facts=(), state="unknown", minutes=minutes, sharpens=sensors,
                 answers=0, gain=gain, score=worth / minutes)  # fmt: skip
