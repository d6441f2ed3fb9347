"""One event of a log."""

import pytest

from simrig.scan.events import Event


def test_the_line_does_not_count():
    """Two events that differ in where they stand are the same event."""
    first = Event(time_ms=1, signal="trough-1", reading="closed", line=4)
    assert first == Event(time_ms=1.0, signal="trough-1", reading="closed")
    assert first != Event(time_ms=2, signal="trough-1", reading="closed", line=4)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"signal": ""}, "wanted a name without blanks"),
        ({"signal": " a"}, "wanted a name without blanks"),
        ({"signal": "a\nb"}, "wanted a name that can be printed"),
        ({"signal": "x" * 201}, "found a name of 201 characters; wanted 200 at most"),
        ({"reading": "blocked"}, "reading"),
        ({"time_ms": float("nan")}, "time_ms is nan"),
        ({"time_ms": 1e16}, r"time_ms is 1e\+16"),
    ],
)
def test_values_that_cannot_be_are_refused(change, message):
    """A time, name or reading that cannot be is refused by name."""
    with pytest.raises(ValueError, match=message):
        Event(**{"time_ms": 1, "signal": "a", "reading": "open", **change})
