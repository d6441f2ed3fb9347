"""What differs between two revisions of a profile, and which expected readings change with it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import attrs

from simrig.expectation.prediction import watched
from simrig.profile.keys import Keyed, attribute_of, keys_of
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, readings
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds


@attrs.frozen(kw_only=True)
class Change:
    """One fact that differs.

    ``table`` names the table (``matrix.column``; empty for what stands before the
    first), ``row`` its row, ``key`` the key.  ``kind`` is changed, added, taken
    out (``key`` is empty where it is a whole row), renamed (``before`` and ``after``
    are the names) or order (the same rows stand in another order).
    ``before`` and ``after`` are None where the fact is unknown.
    """

    kind: str
    table: str
    row: str = ""
    key: str = ""
    before: Any = None
    after: Any = None


@attrs.frozen(kw_only=True)
class Shift:
    """A reading that is expected otherwise; ``impossible`` where no position is legal."""

    phase: str
    balls: int
    sensor: str
    before: str
    after: str


@attrs.frozen(kw_only=True)
class Revision:
    """All that differs; neither facts nor readings: the profiles say the same."""

    changes: tuple[Change, ...]
    readings: tuple[Shift, ...]


IMPOSSIBLE = "impossible"


def revision(before: Profile, after: Profile) -> Revision:
    """Compare two revisions.

    Readings are those of sensors, phases and numbers of balls that both have.
    """
    return Revision(changes=tuple(changes(before, after)), readings=tuple(shifts(before, after)))


def changes(before: Profile, after: Profile) -> Iterator[Change]:
    """Yield every fact that differs, in the order of the profile's tables."""
    yield from _table(before, after, "", "")


def _table(before: Keyed, after: Keyed, table: str, row: str) -> Iterator[Change]:
    for name, key in keys_of(type(before)).items():
        one, other = (getattr(side, attribute_of(name)) for side in (before, after))
        if one == other:
            continue
        here = f"{table}.{name}" if table else name
        if key.shape == "tables":
            yield from _rows(one, other, here)
        elif key.shape == "table" and one is not None and other is not None:
            yield from _table(one, other, here, "")
        elif key.shape == "table":
            yield Change(kind="added" if one is None else "taken out", table=here)
        else:
            kind = "added" if one is None else "taken out" if other is None else "changed"
            yield Change(kind=kind, table=table, row=row, key=name, before=one, after=other)


def _rows(before: Sequence[Keyed], after: Sequence[Keyed], table: str) -> Iterator[Change]:
    old, new = _named(before), _named(after)
    renamed = dict(_renamed(old, new))
    yield from (
        Change(kind="renamed", table=table, row=name, before=name, after=now)
        for name, now in renamed.items()
    )
    for name, row in old.items():
        if name in new:
            yield from _table(row, new[name], table, name)
        elif name not in renamed:
            yield Change(kind="taken out", table=table, row=name)
    for name in new:
        if name not in old and name not in renamed.values():
            yield Change(kind="added", table=table, row=name)
    kept = [renamed.get(name, name) for name in old]
    if [name for name in kept if name in new] != [name for name in new if name in kept]:
        yield Change(kind="order", table=table)


def _named(rows: Sequence[Keyed]) -> dict[str, Keyed]:
    found: dict[str, Keyed] = {}
    for index, row in enumerate(rows, 1):
        name = next(
            (str(getattr(row, key)) for key in ("id", "number", "rule") if hasattr(row, key)),
            str(index),
        )
        found[name if name not in found else f"{name} ({index})"] = row
    return found


def _renamed(old: Mapping[str, Keyed], new: Mapping[str, Keyed]) -> Iterator[tuple[str, str]]:
    """Yield rows that have another id and are otherwise the same, where that is beyond doubt."""
    gone = [name for name in old if name not in new]
    come = [name for name in new if name not in old]
    for name in gone:
        if not hasattr(old[name], "id"):
            return
        nameless = _nameless(old[name])
        alike = [now for now in come if _nameless(new[now]) == nameless]
        if len(alike) == 1 and sum(_nameless(old[one]) == nameless for one in gone) == 1:
            yield name, alike[0]


def _nameless(row: Keyed) -> tuple[Any, ...]:
    return tuple(getattr(row, attribute_of(name)) for name in keys_of(type(row)) if name != "id")


def shifts(before: Profile, after: Profile) -> Iterator[Shift]:
    """Yield every expected reading that changes, by phase, number of balls and sensor."""
    tables = links(before), links(after)
    sensors = {sensor.id for sensor in watched(before)}
    common = [sensor.id for sensor in watched(after) if sensor.id in sensors]
    most = min(before.balls.installed, after.balls.installed) + 1
    for phase in after.phase:
        if before.row("phase", phase.id) is None:
            continue
        for balls in range(most, -1, -1):
            conditions = Conditions(phase=phase.id, balls=balls)
            one = _frame(before, tables[0], conditions)
            other = _frame(after, tables[1], conditions)
            for name in common:
                was, now = (
                    IMPOSSIBLE if frame is None else frame.reading(name) for frame in (one, other)
                )
                if was != now:
                    yield Shift(phase=phase.id, balls=balls, sensor=name, before=was, after=now)


def _frame(profile: Profile, table: Links, conditions: Conditions) -> Frame | None:
    placements = legal_placements(profile, conditions)
    if not placements:
        return None
    return readings(profile, table, worlds(profile, placements))
