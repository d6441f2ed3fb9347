"""The topics, and how questions are drawn: the same seed gives the same questions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
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
"""Every topic: its level, from 1, and what makes its questions."""

TRIES: Final = 40


def question(subject: Subject, topic: str, seed: int) -> Question | None:
    """Return the question of a topic with a number; None where this machine gives none."""
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


def again(subjects: Mapping[str, Subject], id_: str) -> Question | None:
    """Return a question by its id; None where its machine or topic is not there."""
    topic, _, rest = id_.partition(":")
    machine, _, seed = rest.rpartition(":")
    if topic not in TOPICS or machine not in subjects or not seed.isdigit():
        return None
    return question(subjects[machine], topic, int(seed))


def questions(
    subjects: Sequence[Subject], seed: int, *, topics: Iterable[str] | None = None, level: int = 3
) -> Iterator[Question]:
    """Yield questions without end, topics in turn up to a level; none where no machine gives any."""
    chosen = [
        name for name in (TOPICS if topics is None else topics) if TOPICS[name][0] <= level
    ] or list(topics or ())
    chance = Random(seed)
    asked: set[str] = set()
    barren = 0
    while chosen and barren < 3 * len(chosen) * max(len(subjects), 1):
        for topic in chosen:
            subject = chance.choice(list(subjects))
            found = question(subject, topic, chance.randrange(1_000_000))
            if found is None or found.text in asked:
                barren += 1
                continue
            barren = 0
            asked.add(found.text)
            yield found
