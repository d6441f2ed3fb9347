"""One event of a log."""

import math

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
        ({"time_ms": math.nextafter(1e15, math.inf)}, "wanted a number .* at most"),
        ({"time_ms": math.nextafter(-1e15, -math.inf)}, "wanted a number .* or more"),
    ],
)
def test_values_that_cannot_be_are_refused(change, message):
    """A time, name or reading that cannot be is refused by name."""
    with pytest.raises(ValueError, match=message):
        Event(**{"time_ms": 1, "signal": "a", "reading": "open", **change})


@pytest.mark.parametrize("change", [{"time_ms": None}, {"time_ms": -1e15}, {"time_ms": 1e15},
                                    {"signal": "x" * 200}, {"reading": "on"}, {"reading": "off"},
                                    {"reading": "closed"}])  # fmt: skip
def test_the_last_values_that_can_be(change):
    """No time, a million million seconds either way, 200 characters, each of four readings."""
    given = {"time_ms": 1, "signal": "a", "reading": "open", **change}
    event = Event(**given)
    assert (event.time_ms, event.signal, event.reading, event.line) == (*given.values(), 0)
    with pytest.raises(ValueError, match="time_ms"):
        Event(time_ms=-1.1e15, signal="a", reading="open")
    with pytest.raises(ValueError, match="wanted a name without blanks"):
        Event(signal=7, reading="open")


def test_an_event_of_unknown_time():
    """Left out, the time is not known."""
    assert Event(signal="a", reading="open").time_ms is None
