"""Every way in which a fact that is unknown, or only assumed, can be.

Each candidate is some facts that are found together, and the whole profile for
each way they can be: what follows from it is tried, not reasoned about.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

import attrs

from simrig.expectation.facts import assumed_reason, in_words
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.sensing.chain import chain, contact
from simrig.world.balls import Fact
from simrig.world.worlds import Value

MINUTES: Final = {
    "position_1": 1.0, "rest_end": 1.0, "reads": 0.5, "output_closes": 1.0, "diodes": 10.0,
    "rest": 0.5, "store": 5.0, "extra": 3.0, "others": 0.5,
}  # fmt: skip
"""Minutes that a fact takes to find, for ``reads`` and ``others`` each switch: common practice, no
source."""


@attrs.frozen(kw_only=True)
class Candidate:
    """Some facts that are found together, and the profile for each way they can be."""

    words: str
    facts: tuple[Fact, ...]
    minutes: float
    ways: tuple[Profile, ...]
    assumed: bool = False
    topic: str = ""


def candidates(profile: Profile) -> Iterator[Candidate]:
    """Yield every fact that can be tried, unknown ones first."""
    yield from _unknown_rows(profile)
    yield from _unknown_polarity(profile)
    yield from _unknown_balls(profile)
    yield from _unknown_matrix(profile)
    yield from _assumed(profile)


def _one(profile: Profile, fact: Fact, values: tuple[Any, ...], cost: str) -> Candidate:
    return Candidate(
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


def _unknown_rows(profile: Profile) -> Iterator[Candidate]:
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


def _unknown_polarity(profile: Profile) -> Iterator[Candidate]:
    groups: dict[str, list[Sensor]] = {}
    for sensor in profile.sensor:
        if sensor.spots and not reads_surely(profile, sensor):
            spot = profile.spots[sensor.spots[0]]
            groups.setdefault(spot.place or spot.route or "", []).append(sensor)
    for name, sensors in groups.items():
        row = profile.row("place", name) or profile.row("route", name)
        yield Candidate(
            words=f"how the switches of the {row.title} read with a ball"
            if len(sensors) > 1
            else f"how {sensors[0].title} reads with a ball",
            topic="polarity",
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


def _unknown_balls(profile: Profile) -> Iterator[Candidate]:
    if not profile.phase:
        return
    rest = [place.id for place in profile.place if not place.captive and not place.open_area]
    if profile.balls.store is None and rest:
        yield _one(profile, Fact("balls", "", "store"), tuple(rest), "store")
    if profile.balls.extra is None and rest:
        spots = [*rest, *(f"{place.id}.jam" for place in profile.place if place.jam)]
        ways = tuple((name, *(other for other in rest if other != name)) for name in spots)
        yield _one(profile, Fact("balls", "", "extra"), ways, "extra")


def _unknown_matrix(profile: Profile) -> Iterator[Candidate]:
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
            yield Candidate(
                words=f"which of {len(unknown)} switches have a diode",
                facts=tuple(Fact("sensor", sensor.id, "diode") for sensor in unknown),
                minutes=MINUTES["diodes"],
                ways=tuple(_each(profile, chosen, diode=word) for word in ("fitted", NONE)),
            )
    loose = [sensor for sensor in profile.sensor if sensor.at is None and not sensor.follows]
    if loose and matrix.diodes != "all":
        chosen = {sensor.id for sensor in loose}
        yield Candidate(
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


def _assumed(profile: Profile) -> Iterator[Candidate]:
    for words, facts, way in otherwise(profile):
        key = facts[0].key
        cost = MINUTES.get({"worked_reads": "reads", "contact": "reads"}.get(key, key), 2.0)
        reads = key in ("worked_reads", "contact")
        many = len(facts) if reads else 1
        yield Candidate(
            words=words,
            facts=facts,
            minutes=cost * many,
            ways=(way,),
            assumed=True,
            topic="polarity" if reads else "",
        )


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
    facts_of: list[tuple[Fact, Mapping[str, str | None]]]
    facts_of = [(Fact("place", place.id, key), ends) for place in profile.place
                for key in ("position_1", "rest_end")]  # fmt: skip
    facts_of += [(Fact("board", board.id, "output_closes"), {"dark": "lit", "lit": "dark"})
                 for board in profile.board]  # fmt: skip
    if profile.balls.store is not None:
        # Otherwise: anywhere else, as where it is not known.
        facts_of.append((Fact("balls", "", "store"), {profile.balls.store: None}))
    if profile.matrix is not None:
        facts_of.append((Fact("matrix", "", "diodes"), {"all": NONE, NONE: "all"}))
    for fact, other in facts_of:
        reason = assumed_reason(profile, fact)
        row = profile.row(fact.table, fact.row) if fact.row else getattr(profile, fact.table)
        value = getattr(row, fact.key)
        if reason is not None and value in other:
            words = f"{in_words(profile, fact)} ({reason})"
            yield words, (fact,), with_fact(profile, fact, other[value])
