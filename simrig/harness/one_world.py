"""The readings of one position of the balls, worked out by themselves.

The predictions evaluate many positions at once, one bit each; this does one, with
sets of truth values and a search of the graph of closed switches, and shares with
them only the table of links.  The conformance suite holds the two against each other.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from simrig.profile.components import Sensor
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.signals import CLOSED, EITHER, OPEN

Truth = frozenset[bool]
YES: Truth = frozenset((True,))
NO: Truth = frozenset((False,))
EITHER_WAY: Truth = frozenset((True, False))

ENDS = ("exit end", "far end")


def filled(place: Place, balls: int, *, first: str | None = None, end: str = ENDS[0]) -> set[str]:
    """Return the positions that balls hold when they fill a place from one of its ends.

    ``first`` is the end at which position 1 is, as the profile says when left out.
    """
    near = (place.position_1 if first is None else first) in (None, end) or place.open_area
    numbers = range(1, balls + 1) if near else range(place.capacity - balls + 1, place.capacity + 1)
    return {f"{place.id}.{number}" for number in numbers}


def readings(
    profile: Profile,
    table: Links,
    spots: Collection[str],
    states: Mapping[str, Collection[str]],
) -> dict[str, str]:
    """Return what each sensor reads: closed, open, or either where a fact is unknown.

    ``spots`` hold a ball besides the captive ones; ``states`` are those in which
    each mechanism may stand, all of its own where it is left out.
    """
    balls = _with_captive(profile, spots)
    contacts = {
        sensor.id: _contact(table, sensor, _worked(profile, sensor, balls, states))
        for sensor in profile.sensor
    }
    surely, maybe = (_reached(profile, contacts, sure) for sure in (True, False))
    lost = [sensor.id for sensor in profile.sensor if sensor.address is None]
    phantoms = profile.matrix is not None and profile.matrix.diodes != "all"
    stray = phantoms and any(True in contacts[name] for name in lost)
    found = {}
    for sensor in profile.sensor:
        address = profile.address_of.get(sensor.id)
        if address is not None and address.in_matrix:
            crossing = address.column, address.row
            low, high = crossing in surely, crossing in maybe or stray
        else:
            low, high = contacts[sensor.id] == YES, True in contacts[sensor.id]
            if sensor.id in lost and phantoms:
                high = True
        found[sensor.id] = CLOSED if low else EITHER if high else OPEN
    return found


def _with_captive(profile: Profile, spots: Collection[str]) -> dict[str, Truth]:
    held = dict.fromkeys(spots, YES)
    for place in profile.place:
        if not place.captive:
            continue
        ways = [
            filled(place, place.captive, first=first, end=end)
            for first in ([place.position_1] if place.position_1 else ENDS)
            for end in ([place.rest_end] if place.rest_end else ENDS)
        ]
        for spot in set().union(*ways):
            always = all(spot in way for way in ways)
            held[spot] = YES if always or held.get(spot) == YES else EITHER_WAY
    return held


def _worked(
    profile: Profile,
    sensor: Sensor,
    balls: Mapping[str, Truth],
    states: Mapping[str, Collection[str]],
) -> Truth:
    if sensor.follows:
        ((name, state),) = sensor.follows.items()
        possible = states.get(name)
        if possible is None:
            return EITHER_WAY
        return frozenset(one == state for one in possible)
    if sensor.at is None:
        return EITHER_WAY
    found = [balls.get(spot, NO) for spot in sensor.spots]
    if YES in found:
        return YES
    return EITHER_WAY if EITHER_WAY in found else NO


def _contact(table: Links, sensor: Sensor, worked: Truth) -> Truth:
    signal = YES
    for link in table.chains[sensor.id]:
        signal = {
            "passes": signal,
            "cuts": NO,
            "forces": YES,
            "unsure": EITHER_WAY,
            "inverts": frozenset(not one for one in signal),
            "makes": frozenset(one and other for one in signal for other in worked),
            "breaks": frozenset(one and not other for one in signal for other in worked),
        }[link.action]
    return signal


def _reached(
    profile: Profile, contacts: Mapping[str, Truth], sure: bool
) -> set[tuple[int | None, int | None]]:
    """Return the crossings (column, row) that read closed, surely or perhaps."""
    ways: dict[tuple[str, int | None], set[tuple[str, int | None]]] = {}
    for sensor in profile.sensor:
        address = profile.address_of.get(sensor.id)
        if address is None or not address.in_matrix:
            continue
        if not (contacts[sensor.id] == YES if sure else True in contacts[sensor.id]):
            continue
        column, row = ("column", address.column), ("row", address.row)
        ways.setdefault(column, set()).add(row)
        diode = profile.has_diode(sensor)
        if diode is False or (diode is None and not sure):
            ways.setdefault(row, set()).add(column)
    found = set()
    for start in [node for node in ways if node[0] == "column"]:
        seen, pending = {start}, [start]
        while pending:
            for node in ways.get(pending.pop(), set()) - seen:
                seen.add(node)
                pending.append(node)
        found |= {(start[1], number) for axis, number in seen if axis == "row"}
    return found
