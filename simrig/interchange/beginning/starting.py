"""The first profile of a machine: what its switch list says, and nothing more."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping
from typing import Final

import attrs

from simrig.interchange.switch_kept import Listed, SwitchList
from simrig.interchange.switch_list import identifiers
from simrig.profile.components import Sensor
from simrig.profile.layout import ANY, Balls, Place
from simrig.profile.machine import Profile
from simrig.profile.wiring import Connector, Inputs, Line, Matrix

FIELD: Final = "playfield"
DIODES: Final = "one at every switch, as on most machines; not looked at yet"
NOBODY_SAID: Final = "nobody has said yet; a place holder"


def begin(stem: str, balls: int | None) -> Profile:
    """Return the profile of a machine of which only a name and perhaps the ball count are known."""
    assumed = {"installed": NOBODY_SAID} if balls is None else None
    return Profile(
        format=1,
        id=identifier(stem, "machine"),
        title=" ".join(re.split(r"[-_\s]+", stem)).strip().capitalize() or None,
        balls=Balls(installed=1 if balls is None else balls, assumed=assumed),
        place=(Place(id=FIELD, name="open playfield", kind="playfield", seats=ANY),),
    )


def identifier(words: str, otherwise: str) -> str:
    """Return a name of small letters, digits and hyphens made from words."""
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:56].strip("-") or otherwise


def with_switches(profile: Profile, listed: SwitchList) -> tuple[Profile, int]:
    """Add the switches that a profile does not have yet; return it and how many were new.

    A switch is known by its number, its address, or, with neither, its name.
    """
    numbers = {sensor.number for sensor in profile.sensor if sensor.number is not None}
    addresses = set(profile.address_of.values())
    names = {sensor.title for sensor in profile.sensor}
    used = {sensor.id for sensor in profile.sensor}
    fresh: list[Sensor] = []
    for one, name in zip(listed.switches, identifiers(listed.switches), strict=True):
        if one.number in numbers or one.address in addresses:
            continue
        if one.number is None and one.address is None and one.name in names:
            continue
        fresh.append(_sensor(one, _free(name, used)))
    if not fresh:
        return profile, 0
    sensors = (*profile.sensor, *fresh)
    return attrs.evolve(
        profile,
        sensor=sensors,
        matrix=_matrix(profile.matrix, listed),
        inputs=(*profile.inputs, *_inputs(profile, listed)),
        connector=(*profile.connector, *_connectors(profile, listed)),
    ), len(fresh)


def _free(name: str, used: set[str]) -> str:
    found, count = name, 2
    while found in used:
        found, count = f"{name}-{count}", count + 1
    used.add(found)
    return found


def _sensor(one: Listed, name: str) -> Sensor:
    plug = identifier(one.connector, "") if one.connector else ""
    return Sensor(
        id=name,
        name=None if one.name == name.replace("-", " ") else one.name,
        number=one.number,
        kind=one.kind,
        address=None if one.address is None else str(one.address),
        wire=one.wire or None,
        connector=plug or None,
        pin=one.pin if plug and one.pin and one.pin <= 100 else None,
    )


def _matrix(known: Matrix | None, listed: SwitchList) -> Matrix | None:
    found = [one.address for one in listed.switches if one.address and one.address.in_matrix]
    if not found:
        return known
    columns = max((address.column or 0) for address in found)
    rows = max((address.row or 0) for address in found)
    if known is not None:
        return attrs.evolve(known, columns=max(columns, known.columns), rows=max(rows, known.rows))
    return Matrix(
        columns=columns,
        rows=rows,
        diodes="all",
        assumed={"diodes": DIODES}
        | ({"columns": listed.layout_assumed} if listed.layout_assumed else {}),
        column=_lines(listed.column_wires, columns),
        row=_lines(listed.row_wires, rows),
    )


def _lines(wires: Mapping[int, str], most: int) -> tuple[Line, ...]:
    return tuple(Line(number=n, wire=wire) for n, wire in sorted(wires.items()) if n <= most)


def _inputs(profile: Profile, listed: SwitchList) -> Iterator[Inputs]:
    boards = (one.address.board for one in listed.switches if one.address and one.address.board)
    for board in dict.fromkeys(boards):
        if board is not None and profile.row("inputs", board) is None:
            yield Inputs(id=board)


def _connectors(profile: Profile, listed: SwitchList) -> Iterator[Connector]:
    plugs = (identifier(one.connector, "") for one in listed.switches if one.connector)
    for plug in dict.fromkeys(plugs):
        if plug and profile.row("connector", plug) is None:
            yield Connector(id=plug)
