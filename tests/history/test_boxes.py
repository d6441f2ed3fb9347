"""Boxes after Leitner."""

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simrig.history import Answer, Boxes, by_topic, cards, due_cards

NOW = datetime.datetime(2026, 3, 2, 9, 30, tzinfo=datetime.UTC)
DAY = datetime.timedelta(days=1)


def answered(*rights, item="q", topic="polarity", start=NOW):
    return [
        Answer(trainee="TR", topic=topic, item=item, right=right, answered=start + number * DAY)
        for number, right in enumerate(rights)
    ]


def test_three_boxes():
    """From box 1, right, right, right, wrong, right leads to boxes 2, 3, 3, 1, 2.
    Source: LEI (TRN-07)."""
    rights = (True, True, True, False, True)
    boxes = [cards(answered(*rights[: n + 1]))[0].box for n in range(5)]
    assert boxes == [2, 3, 3, 1, 2]


def test_intervals_of_the_boxes():
    """Box 1 is asked daily, box 2 every third day, box 3 every fifth.  Source: LEI (TRN-07)."""
    for rights, days in (((False,), 1), ((True,), 3), ((True, True), 5)):
        (card,) = cards(answered(*rights))
        assert card.due - card.asked == days * DAY


@given(st.lists(st.booleans(), min_size=1), st.integers(1, 7))
def test_any_number_of_boxes(rights, number):
    """With any number of boxes a wrong answer leads to box 1, and a right one never back."""
    boxes = Boxes(intervals=tuple(range(1, number + 1)))
    box = 1
    for right in rights:
        after = boxes.after(box, right)
        assert after == (min(number, box + 1) if right else 1)
        box = after
    assert cards(answered(*rights), boxes)[0].box == box


def test_what_is_asked_again_first():
    """What is due comes lowest box first; what is not due yet does not come."""
    known = cards(
        [
            *answered(True, item="later", start=NOW - DAY),
            *answered(True, item="known", start=NOW - 9 * DAY),
            *answered(False, item="weak", start=NOW - 2 * DAY),
        ]
    )
    assert [card.item for card in due_cards(known, NOW)] == ["weak", "known"]


def test_the_weakest_topic_comes_first():
    """7 right of 10 is estimated at 0.666667 and stands behind 1 of 4.
    Source of the estimate: BB+OWN (REL-01)."""
    results = by_topic(
        [
            *answered(*[True] * 7, *[False] * 3, topic="polarity"),
            *answered(True, False, False, False, topic="counts"),
        ]
    )
    assert [result.topic for result in results] == ["counts", "polarity"]
    assert results[1].estimate == pytest.approx(0.666667, abs=1e-6)
    assert (results[1].right, results[1].asked) == (7, 10)
    assert results[1].low < results[1].estimate < results[1].high


@pytest.mark.parametrize("intervals", [(), (0,), (3, 1)])
def test_intervals_that_make_no_boxes_are_refused(intervals):
    """No box, no day, or an interval that falls is refused."""
    with pytest.raises(ValueError, match="wanted whole days"):
        Boxes(intervals=intervals)
    with pytest.raises(ValueError, match="wanted one from 1 to 3"):
        Boxes().after(4, True)
