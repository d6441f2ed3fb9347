"""What the controller reads while balls move: the whole chain, many instants at once.

An instant is a state of all sensors, worked or not.  Instants take the place of
worlds: bit *n* of a value speaks of instant *n*, and the chain, the matrix and any
fault in the table of links work as they do at rest.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

import attrs

from simrig.profile.components import Sensor
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, readings
from simrig.signals import CLOSED, EITHER, OPEN
from simrig.world.balls import Placement
from simrig.world.worlds import Value, Worlds, worlds

_AT_ONCE: Final = 2000


@attrs.frozen(kw_only=True)
class Instants(Worlds):
    """States of all sensors, one after the other."""

    states: Mapping[str, Value]
    number: int

    @property
    def everything(self) -> int:
        """The value that holds at every instant."""
        return (1 << self.number) - 1

    def works(self, sensor: Sensor) -> Value:
        """Return when a sensor is worked."""
        return self.states[sensor.id]


def worked_at_rest(profile: Profile, placement: Placement) -> dict[str, bool | None]:
    """Return whether each sensor is worked while the balls lie; None where that is not known."""
    here = worlds(profile, (placement,))
    found: dict[str, bool | None] = {}
    for sensor in profile.sensor:
        value = here.works(sensor)
        found[sensor.id] = bool(value.surely) if value.surely == value.maybe else None
    return found


def changes(
    profile: Profile,
    table: Links,
    start: Mapping[str, bool | None],
    edges: Sequence[tuple[str, bool]],
) -> Iterator[tuple[tuple[str, str], ...]]:
    """Yield what changes at the addresses: first all readings at the start, then for each edge.

    An edge is a sensor and whether it is worked from then on.  A reading is closed,
    open, or either.
    """
    state = dict(start)
    before: dict[str, str] = {}
    for first in range(0, max(1, len(edges)), _AT_ONCE):
        part = edges[first : first + _AT_ONCE]
        frame, state = _frame(profile, table, state, part)
        names = list(frame.cells)
        instants = [_split(frame, name) for name in names]
        opening = {name: bits[0] for name, bits in zip(names, instants, strict=True)}
        if first == 0:
            yield tuple(opening.items())
        before = opening
        moved: list[list[tuple[str, str]]] = [[] for _ in part]
        for name, bits in zip(names, instants, strict=True):
            last = before[name]
            if len(set(bits)) == 1:
                continue
            for number, reading in enumerate(bits[1:]):
                if reading != last:
                    moved[number].append((name, reading))
                    last = reading
        yield from map(tuple, moved)


def reading_now(profile: Profile, table: Links, state: Mapping[str, bool | None]) -> dict[str, str]:
    """Return every reading while sensors are worked as stated."""
    return dict(next(iter(changes(profile, table, state, ()))))


def _frame(
    profile: Profile,
    table: Links,
    start: Mapping[str, bool | None],
    edges: Iterable[tuple[str, bool]],
) -> tuple[Frame, dict[str, bool | None]]:
    part = list(edges)
    number = len(part) + 1
    everything = (1 << number) - 1
    state = dict(start)
    since = dict.fromkeys(state, 0)
    surely = dict.fromkeys(state, 0)
    maybe = dict.fromkeys(state, 0)

    def close(name: str, end: int) -> None:
        bits = ((1 << (end - since[name])) - 1) << since[name]
        if state[name] is not False:
            maybe[name] |= bits
        if state[name] is True:
            surely[name] |= bits
        since[name] = end

    for index, (name, worked) in enumerate(part, start=1):
        close(name, index)
        state[name] = worked
    for name in state:
        close(name, number)
    instants = Instants(
        placements=(),
        occupied={},
        perhaps={},
        states={name: Value(surely[name], maybe[name]) for name in state},
        number=number,
    )
    frame = readings(profile, table, instants)
    assert frame.everything == everything
    return frame, state


def _split(frame: Frame, name: str) -> list[str]:
    cell = frame.cells[name]
    if cell.surely == cell.maybe:
        if cell.surely == 0:
            return [OPEN] * frame.everything.bit_length()
        if cell.surely == frame.everything:
            return [CLOSED] * frame.everything.bit_length()
    width = frame.everything.bit_length()
    closed = format(cell.surely, f"0{width}b")[::-1]
    perhaps = format(cell.maybe, f"0{width}b")[::-1]
    return [
        CLOSED if sure == "1" else OPEN if may == "0" else EITHER
        for sure, may in zip(closed, perhaps, strict=True)
    ]
