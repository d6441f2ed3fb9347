"""The topics, and how questions are drawn: the same seed gives the same questions."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from random import Random
from typing import Final

from simrig.training import benchwork, readings
from simrig.training.question import Question
from simrig.training.subject import Subject

Maker = Callable[[Subject, Random, str], Question | None]

TOPICS: Final[Mapping[str, tuple[int, Maker]]] = {
    "how-many": (1, readings.how_many),
    "in-order": (1, benchwork.in_order),
    "which-closed": (2, readings.which_closed),
    "symbols": (2, readings.symbols),
    "revealing-count": (2, readings.revealing),
    "where-is-it": (2, readings.where_missing),
    "setting": (2, benchwork.setting),
    "which-part": (3, benchwork.which_part),
    "reading-a-log": (3, benchwork.reading_a_log),
    "next-check": (3, benchwork.next_check),
}
"""Every topic that is built in: its level, from 1, and what makes its questions."""

TRIES: Final = 40


def levels(subjects: Iterable[Subject]) -> dict[str, int]:
    """Return every topic with its level: those above, then those of plug-ins' questions alone."""
    found = {name: level for name, (level, _) in TOPICS.items()}
    for subject in subjects:
        for one in subject.brought:
            if one.topic not in TOPICS:
                found[one.topic] = min(one.level, found.get(one.topic, one.level))
    return found


def question(subject: Subject, topic: str, seed: int) -> Question | None:
    """Return the made question of a topic with a number; None where this machine gives none."""
    _, make = TOPICS[topic]
    chance = Random(f"{subject.profile.id}/{topic}/{seed}")
    id_ = f"{topic}:{subject.profile.id}:{seed}"
    if not subject.profile.phase:
        return None
    for _ in range(TRIES):
        found = make(subject, chance, id_)
        if found is not None:
            return found
    return None


def drawn(
    subject: Subject, topic: str, seed: int, *, level: int = 3, but: Container[str] = ()
) -> Question | None:
    """Return a question of a topic, made or brought by a plug-in, each as likely.

    Brought ones are those up to a level whose text is not among ``but``.  None where this
    machine gives none.
    """
    brought = [
        one
        for one in subject.brought
        if one.topic == topic and one.level <= level and one.text not in but
    ]
    chance = Random(f"{subject.profile.id}/{topic}/{seed}/brought")
    if brought and (topic not in TOPICS or chance.random() < 0.5):
        return chance.choice(brought)
    return question(subject, topic, seed) if topic in TOPICS else None


def again(subjects: Mapping[str, Subject], id_: str) -> Question | None:
    """Return a question by its id; None where its machine, topic or plug-in is not there."""
    topic, _, rest = id_.partition(":")
    machine, _, which = rest.rpartition(":")
    if machine not in subjects:
        return None
    if topic in TOPICS and which.isascii() and which.isdigit():
        return question(subjects[machine], topic, int(which))
    return next((one for one in subjects[machine].brought if one.id == id_), None)


def questions(
    subjects: Sequence[Subject],
    seed: int,
    *,
    topics: Iterable[str] | None = None,
    level: int = 3,
) -> Iterator[Question]:
    """Yield questions without end, topics in turn up to a level; none where no machine gives any.

    Where every topic that is asked for lies above the level, all of them are asked.
    """
    known = levels(subjects)
    named = list(known if topics is None else topics)
    chosen = [name for name in named if known[name] <= level]
    if not chosen:
        chosen, level = named, 3
    chance = Random(seed)
    asked: set[str] = set()
    barren = 0
    while subjects and chosen and barren < 3 * len(chosen) * max(len(subjects), 1):
        for topic in chosen:
            subject = chance.choice(_with(subjects, topic))
            found = drawn(subject, topic, chance.randrange(1_000_000), level=level, but=asked)
            if found is None or found.text in asked:
                barren += 1
                continue
            barren = 0
            asked.add(found.text)
            yield found


def _with(subjects: Sequence[Subject], topic: str) -> list[Subject]:
    """The machines that a topic can be asked about."""
    if topic in TOPICS:
        return list(subjects)
    return [one for one in subjects if any(asked.topic == topic for asked in one.brought)]
