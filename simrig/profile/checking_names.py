"""Names that no row has: of rows, of positions, of the states of mechanisms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final, NamedTuple

from simrig.profile.doubt import Doubt, Path
from simrig.profile.keys import Key, attribute_of, keys_of
from simrig.profile.machine import Profile
from simrig.profile.naming import near, words

Finding = tuple[Path, str, str]

_HINTS: Final = 60
"""So many names are searched for what was meant; a file with more has other troubles."""


class Use(NamedTuple):
    """A place of the file that names a row, a position or a state."""

    path: Path
    name: str
    part: str = ""
    """The position, where the name is only the first half of it."""


def references(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    """Yield each name that is called for and does not exist.

    A row that nobody calls for, while one of nearly its name is called for more
    than once, is misspelt itself: that is told, at the row.
    """
    called: dict[str, dict[str, list[Use]]] = {}
    for table, use in uses(profile):
        if not doubt.about(use.path):
            called.setdefault(table, {}).setdefault(use.name, []).append(use)
    hints = _HINTS
    for table, named in called.items():
        rows = [row.id for row in getattr(profile, attribute_of(table))]
        existing = set(rows)
        unknown = {
            name: calls
            for name, calls in named.items()
            if name not in existing and not _elsewhere(profile, table, calls)
        }
        doubt.forgive(table, {name: len(calls) for name, calls in unknown.items()})
        for name, calls in unknown.items():
            if doubt.excuses(table, name):
                continue
            hints -= 1
            close = near(name, rows) if hints > 0 else None
            if close is not None and len(calls) > 1 and close not in named:
                doubt.lose(table, name)
                yield (
                    (table, rows.index(close), "id"),
                    f'nothing names the {words(table)} "{close}", but "{name}" is called for '
                    f"{len(calls)} times; one of the two is misspelt",
                    "unknown-reference",
                )
                continue
            for use in calls:
                yield use.path, _unknown(table, use, close), "unknown-reference"
    yield from _positions(profile, doubt)
    yield from _states(profile, doubt)


def _elsewhere(profile: Profile, table: str, calls: list[Use]) -> bool:
    """Positions are named after places and routes: what is no place may be a route."""
    return bool(calls[0].part) and profile.row("route", calls[0].name) is not None


def _unknown(table: str, use: Use, close: str | None) -> str:
    if use.part and "." not in use.part:
        hint = f'; did you mean "{close}"?' if close else ""
        return f'there is no place or position "{use.name}"; name one of them{hint}'
    if use.part:
        hint = f'; did you mean "{close}.{use.part.partition(".")[2]}"?' if close else ""
        return _no_position(use.part, hint)
    hint = f'; did you mean "{close}"?' if close else f"; add it to [[{table}]] or mend the name"
    return f'no {words(table)} is called "{use.name}"{hint}'


def _no_position(spot: str, hint: str) -> str:
    return f'there is no position "{spot}"; wanted PLACE.NUMBER, PLACE.jam or ROUTE.NUMBER{hint}'


def uses(profile: Profile) -> Iterator[tuple[str, Use]]:
    """Yield every name of a row that the profile calls for, with the table it is looked up in."""

    def walk(key: Key, value: Any, path: Path) -> Iterator[tuple[str, Use]]:
        if value is None or (isinstance(value, str) and value in key.words):
            return
        if key.table is not None:
            rows = value if key.shape == "tables" else (value,)
            for index, row in enumerate(rows):
                here = (*path, index) if key.shape == "tables" else path
                for name, below in keys_of(key.table).items():
                    yield from walk(below, getattr(row, attribute_of(name)), (*here, name))
        elif key.item is not None:
            pairs = key.shape == "mapping"
            for step, member in value.items() if pairs else enumerate(value):
                if pairs and key.refers:
                    yield key.refers, Use((*path, step), str(step))
                yield from walk(key.item, member, (*path, step))
        elif key.shape == "spot":
            stem = value.partition(".")[0]
            table = "route" if profile.row("route", stem) is not None else "place"
            yield table, Use(path, stem, value)
        elif key.refers:
            yield key.refers, Use(path, value)

    for name, key in keys_of(Profile).items():
        yield from walk(key, getattr(profile, attribute_of(name)), (name,))


def _positions(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    known = [name for name in profile.spots if not name.endswith(".way")]
    hints = _HINTS
    for index, sensor in enumerate(profile.sensor):
        for place, spot in enumerate(sensor.spots):
            if spot not in profile.spots and not _unsure(profile, spot, doubt):
                hints -= 1
                close = near(spot, known) if hints > 0 else None
                hint = f'; did you mean "{close}"?' if close else ""
                yield ("sensor", index, "at", place), _no_position(spot, hint), "unknown-position"
        if sensor.spots and sensor.follows:
            yield (
                ("sensor", index, "follows"),
                "it is worked by a ball and by a mechanism; state one of the two",
                "two-causes",
            )
    for index, spot in enumerate(profile.balls.extra or ()):
        if (
            spot not in profile.spots
            and profile.row("place", spot) is None
            and not _unsure(profile, spot, doubt)
        ):
            yield (
                ("balls", "extra", index),
                f'there is no place or position "{spot}"; name one of them',
                "unknown-position",
            )


def _unsure(profile: Profile, spot: str, doubt: Doubt) -> bool:
    """Whether a position may exist once what is in doubt is mended."""
    stem = spot.partition(".")[0]
    for table, keys in (("place", ("seats", "jam")), ("route", ("points",))):
        for index, row in enumerate(getattr(profile, table)):
            if row.id == stem:
                return any(doubt.about((table, index, key)) for key in keys)
    return doubt.excuses("place", stem) or doubt.excuses("route", stem)


def _states(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    calls: dict[str, dict[str, list[Path]]] = {}

    def call(pairs: Mapping[str, Any] | None, path: Path) -> None:
        for name, wanted in (pairs or {}).items():
            for state in (wanted,) if isinstance(wanted, str) else wanted:
                calls.setdefault(name, {}).setdefault(state, []).append((*path, name))

    for index, route in enumerate(profile.route):
        call(route.when, ("route", index, "when"))
    for index, phase in enumerate(profile.phase):
        call(phase.states, ("phase", index, "states"))
    for index, sensor in enumerate(profile.sensor):
        call(sensor.follows, ("sensor", index, "follows"))
    for index, mechanism in enumerate(profile.mechanism):
        if doubt.about(("mechanism", index, "states")):
            continue
        wanted = calls.get(mechanism.id, {})
        if mechanism.rest is not None:
            wanted.setdefault(mechanism.rest, []).append(("mechanism", index, "rest"))
        for state, paths in wanted.items():
            if state in mechanism.states:
                continue
            close = near(state, mechanism.states)
            if close is not None and len(paths) > 1 and close not in wanted:
                yield (
                    ("mechanism", index, "states", mechanism.states.index(close)),
                    f'nothing asks for "{close}", but "{state}" is asked for {len(paths)} times; '
                    "one of the two is misspelt",
                    "unknown-state",
                )
                continue
            for path in paths:
                yield (
                    path,
                    f'"{mechanism.id}" has no state "{state}"; it can stand in: '
                    + ", ".join(mechanism.states),
                    "unknown-state",
                )
