"""Boxes after Leitner: right moves a question to the next box, wrong back to the first.

The box of a question follows from the answers given so far, so that taking back
an answer takes back the move.  Three boxes, asked again after 1, 3 and 5 days,
unless other intervals are given (Leitner, So lernt man lernen, 1972).

Worked example: a question starts in box 1; right, right, right, wrong, right
moves it to boxes 2, 3, 3, 1, 2.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from typing import Final

import attrs

from simrig.history import beta
from simrig.history.records import Answer

INTERVALS: Final = (1, 3, 5)


@attrs.frozen(kw_only=True)
class Boxes:
    """As many boxes as intervals, in days."""

    intervals: tuple[int, ...] = attrs.field(default=INTERVALS, converter=tuple)

    @intervals.validator
    def _check(self, _: object, value: tuple[int, ...]) -> None:
        if not value or any(days < 1 for days in value) or list(value) != sorted(value):
            raise ValueError(
                f"intervals: found {value}; wanted whole days of 1 or more, never falling"
            )

    def after(self, box: int, right: bool) -> int:
        """Return the box to which an answer moves a question."""
        if not 1 <= box <= len(self.intervals):
            raise ValueError(f"found box {box}; wanted one from 1 to {len(self.intervals)}")
        return min(box + 1, len(self.intervals)) if right else 1


@attrs.frozen(kw_only=True)
class Card:
    """One question of one trainee: its box, and when it is to be asked again."""

    topic: str
    item: str
    box: int
    asked: datetime.datetime
    due: datetime.datetime


@attrs.frozen(kw_only=True)
class TopicResult:
    """How a trainee does in one topic.

    ``estimate`` is the mean of the share of right answers under a uniform prior,
    ``low`` and ``high`` the ends of its 90 % interval.
    """

    topic: str
    asked: int
    right: int
    estimate: float
    low: float
    high: float


def cards(answers: Iterable[Answer], boxes: Boxes | None = None) -> tuple[Card, ...]:
    """Return every question asked so far with its box; ``answers`` come oldest first."""
    boxes = boxes or Boxes()
    found: dict[tuple[str, str], tuple[int, datetime.datetime]] = {}
    for answer in answers:
        key = (answer.topic, answer.item)
        box, _ = found.get(key, (1, answer.answered))
        found[key] = (boxes.after(box, answer.right), answer.answered)
    return tuple(
        Card(
            topic=topic,
            item=item,
            box=box,
            asked=asked,
            due=asked + datetime.timedelta(days=boxes.intervals[box - 1]),
        )
        for (topic, item), (box, asked) in found.items()
    )


def due_cards(cards: Iterable[Card], now: datetime.datetime) -> tuple[Card, ...]:
    """Return the questions to ask again, lowest box first, then the longest overdue."""
    waiting = [card for card in cards if card.due <= now]
    return tuple(sorted(waiting, key=lambda card: (card.box, card.due, card.topic, card.item)))


def by_topic(answers: Iterable[Answer]) -> tuple[TopicResult, ...]:
    """Return the results by topic, the weakest first."""
    tally: dict[str, list[int]] = {}
    for answer in answers:
        counts = tally.setdefault(answer.topic, [0, 0])
        counts[0] += 1
        counts[1] += answer.right
    results = []
    for topic, (asked, right) in tally.items():
        a, b = 1 + right, 1 + asked - right
        low, high = beta.interval(a, b)
        results.append(
            TopicResult(
                topic=topic, asked=asked, right=right, estimate=a / (a + b), low=low, high=high
            )
        )
    return tuple(sorted(results, key=lambda result: (result.estimate, result.topic)))
