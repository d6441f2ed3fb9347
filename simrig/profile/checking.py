"""What no sound profile can say: contradictions between its tables.

Each check yields the path of the fact, a message, and the name of the rule.
What is only unwise is left to vetting.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from simrig.profile import addresses, keys
from simrig.profile.keys import Key, attribute_of, keys_of
from simrig.profile.layout import REST, Phase
from simrig.profile.machine import NAMED_TABLES, Profile

Path = tuple[str | int, ...]
Finding = tuple[Path, str, str]


def contradictions(profile: Profile) -> Iterator[Finding]:
    """Yield every contradiction, in the order of the checks."""
    for check in CHECKS:
        yield from check(profile)


def _named_twice(profile: Profile) -> Iterator[Finding]:
    for table in NAMED_TABLES:
        seen: set[str] = set()
        for index, row in enumerate(getattr(profile, attribute_of(table))):
            if row.id in seen:
                yield (
                    (table, index, "id"),
                    f'the {_words(table)} "{row.id}" is there twice; give one another name',
                    "named-twice",
                )
            seen.add(row.id)
    shared = {place.id for place in profile.place} & {route.id for route in profile.route}
    for index, route in enumerate(profile.route):
        if route.id in shared:
            yield (
                ("route", index, "id"),
                f'"{route.id}" is also the name of a place; give the route another name',
                "named-twice",
            )


def _references(profile: Profile) -> Iterator[Finding]:
    def walk(key: Key, value: Any, path: Path) -> Iterator[Finding]:
        if value is None or (isinstance(value, str) and value in key.words):
            return
        if key.table is not None:
            rows = value if key.shape == "tables" else (value,)
            for index, row in enumerate(rows):
                here = (*path, index) if key.shape == "tables" else path
                for name, below in keys_of(key.table).items():
                    yield from walk(below, getattr(row, attribute_of(name)), (*here, name))
        elif key.shape == "mapping":
            for name, member in value.items():
                if key.refers:
                    yield from _named(profile, key.refers, name, (*path, name))
                if key.item is not None:
                    yield from walk(key.item, member, (*path, name))
        elif key.shape == "list" and key.item is not None:
            for index, member in enumerate(value):
                yield from walk(key.item, member, (*path, index))
        elif key.refers:
            yield from _named(profile, key.refers, value, path)

    for name, key in keys_of(Profile).items():
        yield from walk(key, getattr(profile, attribute_of(name)), (name,))


def _named(profile: Profile, table: str, name: str, path: Path) -> Iterator[Finding]:
    if profile.row(table, name) is None:
        known = [row.id for row in getattr(profile, attribute_of(table))]
        near = difflib.get_close_matches(name, known, 1)
        hint = (
            f'; did you mean "{near[0]}"?' if near else f"; add it to [[{table}]] or mend the name"
        )
        yield path, f'no {_words(table)} is called "{name}"{hint}', "unknown-reference"


def _spots(profile: Profile) -> Iterator[Finding]:
    for index, sensor in enumerate(profile.sensor):
        for place, spot in enumerate(sensor.spots):
            if spot not in profile.spots:
                known = [name for name in profile.spots if not name.endswith(".way")]
                near = difflib.get_close_matches(spot, known, 1)
                hint = f'; did you mean "{near[0]}"?' if near else ""
                yield (
                    ("sensor", index, "at", place),
                    f'there is no position "{spot}"; wanted PLACE.NUMBER, PLACE.jam or '
                    f"ROUTE.NUMBER{hint}",
                    "unknown-position",
                )
        if sensor.spots and sensor.follows:
            yield (
                ("sensor", index, "follows"),
                "it is worked by a ball and by a mechanism; state one of the two",
                "two-causes",
            )
    for index, spot in enumerate(profile.balls.extra or ()):
        if spot not in profile.spots and profile.row("place", spot) is None:
            yield (
                ("balls", "extra", index),
                f'there is no place or position "{spot}"; name one of them',
                "unknown-position",
            )


def _states(profile: Profile) -> Iterator[Finding]:
    def check(pairs: Mapping[str, Any] | None, path: Path) -> Iterator[Finding]:
        for name, wanted in (pairs or {}).items():
            mechanism = profile.row("mechanism", name)
            for state in (wanted,) if isinstance(wanted, str) else wanted:
                if mechanism is not None and state not in mechanism.states:
                    yield (
                        (*path, name),
                        f'"{name}" has no state "{state}"; it can stand in: '
                        + ", ".join(mechanism.states),
                        "unknown-state",
                    )

    for index, route in enumerate(profile.route):
        yield from check(route.when, ("route", index, "when"))
    for index, phase in enumerate(profile.phase):
        yield from check(phase.states, ("phase", index, "states"))
    for index, sensor in enumerate(profile.sensor):
        yield from check(sensor.follows, ("sensor", index, "follows"))
    for index, mechanism in enumerate(profile.mechanism):
        if mechanism.rest is not None and mechanism.rest not in mechanism.states:
            yield (
                ("mechanism", index, "rest"),
                f'"{mechanism.rest}" is not one of its states: ' + ", ".join(mechanism.states),
                "unknown-state",
            )


def _kinds(profile: Profile) -> Iterator[Finding]:
    known = [kind.id for kind in profile.kinds]
    for index, sensor in enumerate(profile.sensor):
        if sensor.kind is not None and sensor.kind not in known:
            yield (
                ("sensor", index, "kind"),
                f'the kind "{sensor.kind}" is not known; known: ' + ", ".join(known),
                "unknown-kind",
            )


def _addresses(profile: Profile) -> Iterator[Finding]:
    used: dict[addresses.Address, str] = {}
    channels: dict[tuple[str, int], str] = {}
    numbers: dict[int, str] = {}
    for index, sensor in enumerate(profile.sensor):
        if sensor.address is not None:
            path = ("sensor", index, "address")
            address = addresses.parse(sensor.address)
            if address is None:
                yield (
                    path,
                    f'found "{sensor.address}"; wanted "column 3 row 4", "direct 5" or an input '
                    'board and number such as "node-a 7"',
                    "unreadable-address",
                )
                continue
            for message in _out_of_range(profile, address):
                yield path, message, "address-out-of-range"
            if address in used:
                yield (
                    path,
                    f'{address} is also the address of "{used[address]}"; one of them is wrong',
                    "address-used-twice",
                )
            used.setdefault(address, sensor.id)
        if sensor.board not in (None, keys.NONE) and sensor.channel is not None:
            channel = (str(sensor.board), sensor.channel)
            if channel in channels:
                yield (
                    ("sensor", index, "channel"),
                    f'channel {channel[1]} of "{channel[0]}" is also that of '
                    f'"{channels[channel]}"; one of them is wrong',
                    "channel-used-twice",
                )
            channels.setdefault(channel, sensor.id)
        if sensor.number is not None:
            if sensor.number in numbers:
                yield (
                    ("sensor", index, "number"),
                    f'{sensor.number} is also the number of "{numbers[sensor.number]}"; '
                    "one of them is wrong",
                    "number-used-twice",
                )
            numbers.setdefault(sensor.number, sensor.id)


def _out_of_range(profile: Profile, address: addresses.Address) -> Iterator[str]:
    if address.column is not None and address.row is not None:
        matrix = profile.matrix
        if matrix is None:
            yield f"{address} needs a [matrix] table with its columns and rows; add it"
        elif not (1 <= address.column <= matrix.columns and 1 <= address.row <= matrix.rows):
            yield (
                f"{address} is outside the matrix of {matrix.columns} columns and "
                f"{matrix.rows} rows, counted from 1"
            )
    elif address.board is not None and address.input is not None:
        board = profile.row("inputs", address.board)
        if board is None:
            yield f'no input board is called "{address.board}"; add it to [[inputs]]'
        elif board.count is not None and not 1 <= address.input <= board.count:
            yield f'"{address.board}" has inputs 1 to {board.count}; found {address.input}'


def _diodes(profile: Profile) -> Iterator[Finding]:
    general = profile.matrix.diodes if profile.matrix else None
    for index, sensor in enumerate(profile.sensor):
        if sensor.diode is None:
            continue
        path = ("sensor", index, "diode")
        address = profile.address_of.get(sensor.id)
        if address is not None and not address.in_matrix and sensor.diode != keys.NONE:
            yield path, f"{address} is not in the matrix; leave the diode out", "diode-contradicts"
        elif general in ("all", keys.NONE) and (general == "all") != (sensor.diode != keys.NONE):
            yield (
                path,
                f'the matrix says diodes = "{general}"; write "some" there, or mend this',
                "diode-contradicts",
            )


def _lines(profile: Profile) -> Iterator[Finding]:
    if profile.matrix is None:
        return
    for axis, most in (("column", profile.matrix.columns), ("row", profile.matrix.rows)):
        seen: Counter[int] = Counter()
        for index, line in enumerate(getattr(profile.matrix, axis)):
            path = ("matrix", axis, index)
            seen[line.number] += 1
            if line.number > most:
                yield (
                    (*path, "number"),
                    f"found {axis} {line.number}; the matrix has {most}",
                    "address-out-of-range",
                )
            elif seen[line.number] > 1:
                yield (
                    (*path, "number"),
                    f"{axis} {line.number} is described twice; keep one",
                    "named-twice",
                )
            for place, name in enumerate(line.order or ()):
                address = profile.address_of.get(name)
                if profile.row("sensor", name) is not None and (
                    address is None or getattr(address, axis) != line.number
                ):
                    yield (
                        (*path, "order", place),
                        f'"{name}" is not in {axis} {line.number}; mend its address or this order',
                        "wrong-line",
                    )


def _phases(profile: Profile) -> Iterator[Finding]:
    for index, phase in enumerate(profile.phase):
        for number, row in enumerate(phase.placements):
            for message in row_faults(profile, phase, row):
                yield ("phase", index, "placements", number), message, "balls-do-not-add-up"


def row_faults(profile: Profile, phase: Phase, row: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with one row of a phase: capacities, sums, more than one rest."""
    if any(profile.row("place", name) is None for name in row):
        return  # named as an unknown reference already
    least = most = 0
    resting = [name for name, balls in row.items() if balls == REST]
    if len(resting) > 1:
        yield "more than one place is given the rest; give the others a number"
        return
    for name, balls in row.items():
        place = profile.row("place", name)
        if place is None or balls == REST:
            continue
        low, high = span(balls)
        if low > high:
            yield f'"{balls}" at {name} runs backwards; write the smaller number first'
            return
        if high > place.capacity:
            yield f"{name} holds {place.capacity}; found {balls}"
            return
        least, most = least + low, most + high
    installed = profile.balls.installed
    if resting:
        place = profile.row("place", resting[0])
        if place is None:
            return
        if least > installed:
            yield f"{least} balls are placed; the machine carries {installed}"
        elif installed - most > place.capacity:
            yield (
                f"{installed - most} balls would be left for {resting[0]}, which holds "
                f"{place.capacity}"
            )
    elif not least <= installed <= most:
        found = str(least) if least == most else f"{least} to {most}"
        yield f"the row places {found} balls; the machine carries {installed}"


def span(balls: Any) -> tuple[int, int]:
    """Return the least and the most of a number or a range such as "0-2"."""
    if isinstance(balls, int):
        return balls, balls
    low, _, high = str(balls).partition("-")
    return int(low), int(high)


def _captive(profile: Profile) -> Iterator[Finding]:
    for index, place in enumerate(profile.place):
        if (place.captive or 0) > place.capacity:
            yield (
                ("place", index, "captive"),
                f"{place.captive} captive balls do not fit into {place.capacity} positions",
                "captive-does-not-fit",
            )


def _words(table: str) -> str:
    return {
        "bank": "emitter bank",
        "board": "receiver board",
        "return": "common return",
        "inputs": "input board",
    }.get(table, table.replace("_", " "))


CHECKS: Final[tuple[Callable[[Profile], Iterator[Finding]], ...]] = (
    _named_twice,
    _references,
    _spots,
    _states,
    _kinds,
    _addresses,
    _diodes,
    _lines,
    _phases,
    _captive,
)
