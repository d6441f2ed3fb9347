"""Which faults one machine can have: every kind applied to every part that it fits."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterator, Mapping
from typing import Final, TypeVar

import attrs

from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.sensing.chain import Part, chains


@attrs.frozen(kw_only=True, cache_hash=True)
class Fault:
    """One fault that a machine can have.

    ``part`` is the id of what fails: a sensor's, a bank's, a line's number;
    two joined by ``+`` where two are mixed up; a line and the position behind
    which it is broken joined by ``@``.  ``sensor`` is the sensor it concerns
    where it concerns one.
    """

    kind: FaultKind
    part: str
    sensor: str | None = None
    odds: float

    @property
    def name(self) -> str:
        """What the command line calls it."""
        return f"{self.kind.id}:{self.part}"

    @property
    def component(self) -> tuple[str, str]:
        """The part that can be in one mode at a time."""
        return self.kind.part, self.part


def possible_faults(
    profile: Profile, kinds: tuple[FaultKind, ...] = FAULT_KINDS
) -> tuple[Fault, ...]:
    """Return every fault of these kinds that a machine can have, in the order of the kinds.

    Kinds that plug-ins bring for the machine come last.
    """
    parts = parts_of(profile)
    found = []
    brought = profile.brought.get("simrig_fault_kinds", ())
    for kind in dict.fromkeys((*kinds, *brought)):
        scale = (profile.priors or {}).get(kind.id, 1.0)
        for part in parts.get(kind.part, ()):
            sensor = profile.row("sensor", part)
            if kind.only and not _fits(profile, kind, sensor):
                continue
            beside = kind.beside_kicker if sensor is not None and _beside(sensor) else 1.0
            found.append(
                Fault(
                    kind=kind,
                    part=part,
                    sensor=sensor.id if sensor is not None else None,
                    odds=min(kind.odds * scale * beside, 9.0),
                )
            )
    return tuple(found)


def fault_named(faults: tuple[Fault, ...], name: str) -> Fault:
    """Return a fault by its name ``KIND:PART``; raises ValueError with what this machine has."""
    return pick({fault.name: fault for fault in faults}, name)


_Named = TypeVar("_Named")


def pick(known: Mapping[str, _Named], name: str) -> _Named:
    """Return what is known by a name ``KIND:PART``.

    Raises ValueError with the nearest name, or with what there is.
    """
    kind, _, part = name.strip().lower().partition(":")
    if f"{kind}:{part}" in known:
        return known[f"{kind}:{part}"]
    parts: dict[str, list[str]] = {}
    for one in known:
        of, _, concerns = one.partition(":")
        parts.setdefault(of, []).append(concerns)
    if kind in parts:
        near = difflib.get_close_matches(part, parts[kind], 1, 0.75)
        hint = f'; did you mean "{kind}:{near[0]}"?' if near else ""
        more = ", …" if len(parts[kind]) > 12 else ""
        raise ValueError(
            f'"{name}": {kind} can concern here: {", ".join(parts[kind][:12])}{more}{hint}'
        )
    near = difflib.get_close_matches(kind, parts, 1)
    if near:
        better = f"{near[0]}:{part if part in parts[near[0]] else parts[near[0]][0]}"
        raise ValueError(f'"{name}": this machine cannot have "{kind}"; did you mean "{better}"?')
    raise ValueError(f'"{name}": wanted KIND:PART; what this machine can have: {", ".join(parts)}')


def _fits(profile: Profile, kind: FaultKind, sensor: Sensor | None) -> bool:
    if sensor is None:
        return False
    known = profile.kind_of(sensor)
    if known is None:
        return False
    return known.lugs if kind.only == "lugs" else known.technology == kind.only


def _beside(sensor: Sensor) -> bool:
    return sensor.beside not in (None, NONE)


def parts_of(profile: Profile) -> dict[str, tuple[str, ...]]:
    """Return the parts of a machine by kind, each in profile order."""
    found: dict[str, dict[str, None]] = {}
    for links in chains(profile).values():
        for link in links:
            found.setdefault(link.part.kind, {})[link.part.id] = None
    for part in itertools.chain(
        _matrix_parts(profile), _pairs(profile), _coil_parts(profile), _ball_parts(profile)
    ):
        found.setdefault(part.kind, {})[part.id] = None
    return {kind: tuple(ids) for kind, ids in found.items()}


def _matrix_parts(profile: Profile) -> Iterator[Part]:
    if profile.matrix is None:
        return
    used: dict[str, set[int]] = {"column": set(), "row": set()}
    for name, address in profile.address_of.items():
        if address.column is None or address.row is None:
            continue
        used["column"].add(address.column)
        used["row"].add(address.row)
        if profile.has_diode(profile.row("sensor", name)):
            yield Part("diode", name)
            yield Part("diode wiring", name)
    for axis, numbers in used.items():
        for number in sorted(numbers):
            yield Part(axis, str(number))
        for one, other in itertools.pairwise(sorted(numbers)):
            if other == one + 1:
                yield Part(f"{axis}s", f"{one}+{other}")
        for line in getattr(profile.matrix, axis):
            for place in range(1, len(line.order or ())):
                yield Part(f"{axis} piece", f"{line.number}@{place}")
    for connector in profile.connector:
        if lines_through(profile, connector.id):
            yield Part("connector", connector.id)


def lines_through(profile: Profile, connector: str) -> tuple[tuple[str, int], ...]:
    """Return the lines of the matrix that go through a plug, as axis and number.

    Lines on which there is no switch are left out.
    """
    if profile.matrix is None:
        return ()
    used = {
        (axis, number)
        for address in profile.address_of.values()
        if address.in_matrix
        for axis, number in (("column", address.column), ("row", address.row))
    }
    return tuple(
        [
            (axis, line.number)
            for axis in ("column", "row")
            for line in getattr(profile.matrix, axis)
            if line.connector == connector and (axis, line.number) in used
        ]
    )


def neighbours(profile: Profile) -> Iterator[tuple[str, str]]:
    """Yield pairs of sensors whose leads are neighbours: in a plug, on a board, on a row of
    positions of one place."""
    by_pin: dict[tuple[str, int], str] = {}
    by_channel: dict[tuple[str, int], str] = {}
    for sensor in profile.sensor:
        if sensor.connector not in (None, NONE) and sensor.pin is not None:
            by_pin[str(sensor.connector), sensor.pin] = sensor.id
        if sensor.board not in (None, NONE) and sensor.channel is not None:
            by_channel[str(sensor.board), sensor.channel] = sensor.id
    for table in (by_pin, by_channel):
        for (name, number), sensor_id in table.items():
            other = table.get((name, number + 1))
            if other is not None:
                yield sensor_id, other
    for place in profile.place:
        if place.open_area:
            continue
        row = [
            covering[0].id
            for number in range(1, place.capacity + 1)
            if (covering := profile.covering.get(f"{place.id}.{number}"))
        ]
        yield from itertools.pairwise(row)


def _pairs(profile: Profile) -> Iterator[Part]:
    seen = set()
    for one, other in neighbours(profile):
        if one != other and frozenset((one, other)) not in seen:
            seen.add(frozenset((one, other)))
            yield Part("leads", f"{one}+{other}")
    for connector in profile.connector:
        for other in connector.alike or ():
            pair = frozenset((connector.id, other))
            if len(pair) == 2 and pair not in seen and profile.row("connector", other):
                seen.add(pair)
                yield Part("plugs", f"{connector.id}+{other}")


def _coil_parts(profile: Profile) -> Iterator[Part]:
    for coil in profile.coil:
        yield Part("coil", coil.id)
        yield Part("driver", coil.id)
    for bank in profile.coil_bank:
        if bank.fuse not in (None, NONE):
            yield Part("coil fuse", str(bank.fuse))
        yield Part("coil supply", bank.id)
    if profile.interlock is not None and profile.interlock.fitted:
        yield Part("interlock", "door")


BALLS: Final = "any"
"""The part of faults that concern the balls as a whole."""


def _ball_parts(profile: Profile) -> Iterator[Part]:
    yield Part("balls", BALLS)
    for route in profile.route:
        yield Part("way", route.id)
    for place in profile.place:
        if place.captive or place.open_area:
            continue
        if place.jam:
            yield Part("stack", place.id)
        if place.capacity > 2:
            yield Part("row of balls", place.id)
            yield Part("dent", place.id)
