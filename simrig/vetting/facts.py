"""What is not known, in one note; and the rules over silences."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import attrs

from simrig.expectation.facts import in_words
from simrig.profile.keys import Stated
from simrig.profile.naming import counted
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject
from simrig.world.balls import Fact

_SHOWN: Final = 2


def not_known(subject: Subject) -> Iterator[Found]:
    unknown = tuple(dict.fromkeys(unknown_facts(subject)))
    assumed = assumed_count(subject.profile)
    if not unknown and not assumed:
        return
    parts = []
    if unknown:
        shown = "; ".join(in_words(subject.profile, fact) for fact in unknown[:_SHOWN])
        more = f"; and {len(unknown) - _SHOWN} more" if len(unknown) > _SHOWN else ""
        parts.append(
            f"{counted(len(unknown), 'fact')} that readings rest on not known: {shown}{more}"
        )
    if assumed:
        parts.append(f"{counted(assumed, 'fact')} assumed, each with its reason")
    yield Found(path=(), message=". ".join(parts))


def unknown_facts(subject: Subject) -> Iterator[Fact]:
    """Yield the facts that readings and positions of balls rest on and that are not stated."""
    profile = subject.profile
    for place in profile.place:
        if place.position_1 is None and not place.open_area and place.capacity > 1:
            yield Fact("place", place.id, "position_1")
        if place.captive and place.rest_end is None and place.captive < place.capacity:
            yield Fact("place", place.id, "rest_end")
    for mechanism in profile.mechanism:
        if mechanism.rest is None:
            yield Fact("mechanism", mechanism.id, "rest")
    if profile.balls.store is None:
        yield Fact("balls", "", "store")
    if profile.balls.extra is None:
        yield Fact("balls", "", "extra")
    if profile.matrix is not None and profile.matrix.diodes is None:
        yield Fact("matrix", "", "diodes")
    for sensor in profile.sensor:
        if sensor.at is None and not sensor.follows:
            yield Fact("sensor", sensor.id, "at")
        if sensor.address is None:
            yield Fact("sensor", sensor.id, "address")
        for link in subject.links.chains[sensor.id]:
            if link.action == "unsure":
                yield from link.facts[:1]
        address = profile.address_of.get(sensor.id)
        if (
            address is not None
            and address.in_matrix
            and profile.matrix is not None
            and profile.matrix.diodes is not None
            and profile.has_diode(sensor) is None
        ):
            yield Fact("sensor", sensor.id, "diode")


def assumed_count(table: object) -> int:
    """Return how many facts of a table, and of the tables in it, are called assumed."""
    if isinstance(table, tuple):
        return sum(map(assumed_count, table))
    if not isinstance(table, Stated):
        return 0
    below = (getattr(table, one.name) for one in attrs.fields(type(table)) if "key" in one.metadata)
    return len(table.assumed or ()) + sum(map(assumed_count, below))


RULES: Final = (
    Rule(
        code="FACT-01",
        name="facts-not-known",
        level="note",
        what="Says in one line how many facts are unknown or assumed, and the first of them.",
        why="What rests on an unknown fact reads either; answers name it. That is no fault of the "
        "profile: it only can be sharper.",
        example='id = "sample"',
        mend="Find the facts out at the machine; simrig show names those most worth finding.",
        limits="Facts that readings rest on only: where balls lie, polarity, diodes, addresses.",
        look=not_known,
    ),
    Rule(
        code="QUIET-01",
        name="silence-unknown",
        level="error",
        what="A silence names a rule that exists and can be silenced.",
        why="Otherwise the reason stands beside nothing, and what it was meant for is told.",
        example='rule = "POS-99"',
        mend="Write the code or the name as simrig vet prints it. What the reader refuses cannot be "
        "silenced: mend it.",
        limits="A rule of a plug-in that is not installed is unknown too.",
    ),
    Rule(
        code="QUIET-02",
        name="silence-of-nothing",
        level="warning",
        what="A silence still silences something.",
        why="What it was for has been mended; left there it would hide the next slip.",
        example='about = "launcher"',
        mend="Take the silence out.",
        limits="Rules that look no further because facts are unknown silence nothing for now.",
    ),
)
