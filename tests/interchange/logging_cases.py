"""Logs for the tests: events, machines, and readers that give problems as text."""

import itertools

from hypothesis import strategies as st

from simrig.errors import InputError
from simrig.interchange.logs import Event

PLACES = {"trough-1": "trough", "trough-2": "trough", "2-lane": "", "lock-a": "upper-lock"}
COILS = ("kicker",)


def told(read):
    """Return the problems of reading a log to its end, one a line; '' where there are none."""
    try:
        for _ in read:
            pass
    except InputError as error:
        return str(error)
    return ""


def cut(data, *sizes):
    """Cut bytes into pieces of the sizes given, over and over."""
    start = 0
    for size in itertools.cycle(sizes):
        if start >= len(data):
            return
        yield data[start : start + size]
        start += size


names = st.text(
    st.characters(min_codepoint=33, exclude_categories=["C", "Z"]), min_size=1, max_size=12
)


@st.composite
def changes(draw, signals=None, on_a_grid=False):
    """Events in order of time in which each signal changes; times in ms on a grid of 1 us."""
    sensors = signals or draw(st.lists(names, min_size=1, max_size=5, unique=True))
    last = {}
    events = []
    time = 0
    for _ in range(draw(st.integers(0, 30))):
        time += draw(st.integers(0, 5000) if on_a_grid else st.floats(0, 5000))
        name = draw(st.sampled_from(sorted(sensors)))
        pair = ("on", "off") if name in COILS else ("closed", "open")
        reading = draw(st.sampled_from(pair))
        if reading == last.get(name):
            reading = pair[1 - pair.index(reading)]
        last[name] = reading
        time_ms = time / 1000 if on_a_grid else time
        events.append(Event(time_ms=time_ms, signal=name, reading=reading))
    return events
