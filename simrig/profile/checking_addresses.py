"""Addresses that cannot be read, lie outside, or are used twice; the lines of the matrix."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterator
from typing import Any

from simrig.profile import addresses, keys
from simrig.profile.doubt import Doubt, Path
from simrig.profile.machine import Profile
from simrig.profile.naming import listed

Finding = tuple[Path, str, str]


def addresses_used(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    """Yield addresses, channels and numbers that cannot be, or belong to two sensors."""
    outside: set[int] = set()
    absent: set[Path] = set()
    outlying: dict[Path, tuple[str, list[tuple[int, str, str]]]] = {}
    for index, sensor in enumerate(profile.sensor):
        if sensor.address is None:
            continue
        path = ("sensor", index, "address")
        address = profile.address_of.get(sensor.id) or addresses.parse(sensor.address)
        if address is None:
            yield (
                path,
                f'found "{sensor.address}"; wanted "column 3 row 4", "direct 5" or an input '
                'board and number such as "node-a 7"',
                "unreadable-address",
            )
            outside.add(index)
            continue
        for bound, most, message in _out_of_range(profile, address, doubt):
            outside.add(index)
            if most and bound:
                outlying.setdefault(bound, (most, []))[1].append((index, sensor.id, message))
            elif not bound or bound not in absent:
                # A table that is not there at all is told at the first address that needs it.
                absent.add(bound)
                yield path, message, "address-out-of-range"
    for bound, (most, sensors) in outlying.items():
        if len(sensors) == 1:
            yield ("sensor", sensors[0][0], "address"), sensors[0][2], "address-out-of-range"
            continue
        for index, _, _ in sensors:
            doubt.add(("sensor", index, "address"))
        yield (
            bound,
            f"found {most}; the addresses of {listed([name for _, name, _ in sensors])} lie beyond "
            "it; mend this or them",
            "address-out-of-range",
        )
    yield from _used_twice(profile, doubt, outside)


def _used_twice(profile: Profile, doubt: Doubt, outside: set[int]) -> Iterator[Finding]:
    used: dict[str, dict[Hashable, tuple[int, str]]] = {"address": {}, "channel": {}, "number": {}}
    for index, sensor in enumerate(profile.sensor):
        if doubt.within(("sensor", index)):
            continue
        address = profile.address_of.get(sensor.id)
        has_channel = sensor.board not in (None, keys.NONE) and sensor.channel is not None
        stated: tuple[tuple[str, Any, str], ...] = (
            ("address", None if index in outside else address, str(address)),
            (
                "channel",
                (sensor.board, sensor.channel) if has_channel else None,
                f'channel {sensor.channel} of "{sensor.board}"',
            ),
            ("number", sensor.number, str(sensor.number)),
        )
        for key, value, shown in stated:
            if value is None or doubt.about(("sensor", index, key)):
                continue
            first, other = used[key].setdefault(value, (index, sensor.id))
            if first != index:
                what = "" if key == "channel" else f"the {key} of "
                tail = "that of " if key == "channel" else ""
                yield (
                    ("sensor", index, key),
                    f'{shown} is also {what}{tail}"{other}"; mend the wrong one',
                    f"{key}-used-twice",
                )
                doubt.add(("sensor", first, key))


def _out_of_range(
    profile: Profile, address: addresses.Address, doubt: Doubt
) -> Iterator[tuple[Path, str, str]]:
    """Yield the bound that an address goes beyond (empty: none), its value, and a message."""
    if address.column is not None and address.row is not None:
        matrix = profile.matrix
        if matrix is None:
            if not doubt.within(("matrix",)):
                message = f"{address} needs a [matrix] table with its columns and rows; add it"
                yield ("matrix",), "", message
            return
        for axis, number, most in (
            ("columns", address.column, matrix.columns),
            ("rows", address.row, matrix.rows),
        ):
            if not 1 <= number <= most and not doubt.about(("matrix", axis)):
                yield (
                    ("matrix", axis) if number > 0 else (),
                    str(most),
                    f"{address} is outside the matrix of {matrix.columns} columns and "
                    f"{matrix.rows} rows, counted from 1; mend the address or the matrix",
                )
    elif address.board is not None and address.input is not None:
        board = profile.row("inputs", address.board)
        if board is None:
            if not doubt.excuses("inputs", address.board):
                message = f'no input board is called "{address.board}"; add it to [[inputs]]'
                yield ("inputs", address.board), "", message
        elif board.count is not None and not 1 <= address.input <= board.count:
            yield (
                ("inputs", profile.inputs.index(board), "count") if address.input > 0 else (),
                str(board.count),
                f'"{address.board}" has inputs 1 to {board.count}; found {address.input}; mend '
                "the address or the count",
            )


def lines(profile: Profile, doubt: Doubt) -> Iterator[Finding]:
    """Yield column and row wires that are there twice, lie outside, or run past strangers."""
    if profile.matrix is None:
        return
    numbers = {sensor.id: index for index, sensor in enumerate(profile.sensor)}
    for axis, most in (("column", profile.matrix.columns), ("row", profile.matrix.rows)):
        seen: Counter[int] = Counter()
        beyond = doubt.about(("matrix", f"{axis}s"))
        for index, line in enumerate(getattr(profile.matrix, axis)):
            path = ("matrix", axis, index)
            if doubt.within((*path, "number")):
                continue
            seen[line.number] += 1
            if line.number > most and not beyond:
                yield (
                    (*path, "number"),
                    f"found {axis} {line.number}; the matrix has {most}; mend one of the two",
                    "address-out-of-range",
                )
            elif seen[line.number] > 1:
                yield (
                    (*path, "number"),
                    f"{axis} {line.number} is described twice; keep one",
                    "named-twice",
                )
            else:
                yield from _strangers(profile, doubt, axis, path, line, numbers)


def _strangers(
    profile: Profile, doubt: Doubt, axis: str, path: Path, line: Any, numbers: dict[str, int]
) -> Iterator[Finding]:
    strangers = []
    for place, name in enumerate(line.order or ()):
        sensor = profile.row("sensor", name)
        if sensor is None or doubt.about(("sensor", numbers[name], "address")):
            continue
        address = profile.address_of.get(name)
        if address is not None and getattr(address, axis) != line.number:
            strangers.append((place, name))
    if len(strangers) > 1 and len(strangers) == len(line.order):
        yield (
            (*path, "number"),
            f"found {line.number}; every sensor of its order is in another {axis}; mend this or "
            "the order",
            "wrong-line",
        )
        return
    for place, name in strangers:
        yield (
            (*path, "order", place),
            f'"{name}" is not in {axis} {line.number}; mend its address or this order',
            "wrong-line",
        )
