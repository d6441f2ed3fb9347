"""Rules over stated readings and the links that decide them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from simrig.profile.keys import NONE
from simrig.profile.naming import listed
from simrig.sensing.chain import contact
from simrig.signals import CLOSED, OPEN
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject
from simrig.world.worlds import Value

_WORKED = Value(0b10, 0b10)
"""Two worlds: nothing works the sensor in the first, something does in the second."""

_KEYS: Final = {
    "bank": ("light",),
    "resistor_ohm": ("light",),
    "beam_height_mm": ("light",),
    "board": ("light",),
    "channel": ("light",),
    "contact": ("contact", "proximity"),
    "lever_travel_mm": ("contact",),
    "supply": ("proximity",),
    "indicator": ("proximity",),
    "sensing_mm": ("proximity",),
    "ball_gap_mm": ("proximity",),
}


def contradicted(subject: Subject) -> Iterator[Found]:
    found = dict(_contradicted(subject))
    for number, board in enumerate(subject.profile.board):
        stating = [
            index
            for index, sensor in enumerate(subject.profile.sensor)
            if sensor.board == board.id and (sensor.rest_reads or sensor.worked_reads)
        ]
        if len(stating) > 1 and board.output_closes and all(index in found for index in stating):
            names = [subject.profile.sensor[index].id for index in stating]
            for index in stating:
                del found[index]
            yield Found(
                path=("board", number, "output_closes"),
                message=f'found "{board.output_closes}"; all that is stated of the readings of '
                f"{listed(names)} says the other; mend this or them",
                about=(board.id, *names),
            )
    yield from found.values()


def _contradicted(subject: Subject) -> Iterator[tuple[int, Found]]:
    for index, sensor in enumerate(subject.profile.sensor):
        if sensor.rest_reads is not None and sensor.rest_reads == sensor.worked_reads:
            continue
        closed = contact(subject.links.chains[sensor.id], _WORKED, 0b11)
        against = []
        for key, bit in (("rest_reads", 0b01), ("worked_reads", 0b10)):
            stated = getattr(sensor, key)
            follows = CLOSED if closed.surely & bit else None if closed.maybe & bit else OPEN
            if stated is not None and follows is not None and stated != follows:
                against.append((key, stated, follows))
        if against:
            key, stated, follows = against[0]
            parts = [str(link.part) for link in subject.links.chains[sensor.id] if link.facts]
            yield (
                index,
                Found(
                    path=("sensor", index, key),
                    message=f'found "{stated}"; by its links ({listed(parts)}) it reads {follows}; '
                    "mend the statement or the link",
                    about=(sensor.id,),
                ),
            )


def never_changes(subject: Subject) -> Iterator[Found]:
    for index, sensor in enumerate(subject.profile.sensor):
        if sensor.rest_reads is not None and sensor.rest_reads == sensor.worked_reads:
            yield Found(
                path=("sensor", index, "worked_reads"),
                message=f'found "{sensor.worked_reads}", and the same at rest: a sensor that never '
                "changes shows nothing; mend one of the two",
                about=(sensor.id,),
            )


def strange_keys(subject: Subject) -> Iterator[Found]:
    for index, sensor in enumerate(subject.profile.sensor):
        technology = subject.technology(sensor)
        strange = [
            key
            for key, fits in _KEYS.items()
            if technology and technology not in fits and getattr(sensor, key) not in (None, NONE)
        ]
        if strange:
            yield Found(
                path=("sensor", index, strange[0]),
                message=f"{listed(strange)} says something that this {sensor.kind} does not have; "
                "mend the kind, or take it out",
                about=(sensor.id,),
            )


RULES: Final = (
    Rule(
        code="READ-01",
        name="reading-contradicted",
        level="error",
        what="The readings stated for a sensor are those that follow from its links.",
        why="Two statements that differ mean that one is wrong: the board's output, the contact, or "
        "what was noted at the machine. Polarity is what goes wrong most easily.",
        example='worked_reads = "open"',
        mend="Look at the machine: which way does it read with a ball? Then mend the other.",
        limits="Links that are unknown contradict nothing; then the stated reading stands in. Where "
        "all sensors of a board say the other, the board is told.",
        look=contradicted,
    ),
    Rule(
        code="READ-02",
        name="reading-never-changes",
        level="error",
        what="A sensor reads one way at rest and the other way when it is worked.",
        why="Both alike is a slip of the pen.",
        example='rest_reads = "closed"\nworked_reads = "closed"',
        mend="Mend one of the two.",
        limits="Stated readings only; whether the machine brings a change about is another rule.",
        look=never_changes,
    ),
    Rule(
        code="READ-03",
        name="key-of-another-kind",
        level="warning",
        what="A sensor states only what its kind has: an opto no lever, a contact no emitter bank.",
        why="Either the kind is wrong or the facts belong to another sensor.",
        example="lever_travel_mm = 3",
        mend="Mend the kind, or move the facts to where they belong.",
        limits='"none" is always allowed.',
        look=strange_keys,
    ),
)
