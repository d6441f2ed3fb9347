"""From closed contacts to readings: the matrix strobed, direct inputs read."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from simrig.profile.machine import Profile
from simrig.scan.circuit import Circuit, Crossing, Node, conduct
from simrig.scan.frame import Frame
from simrig.sensing.chain import Chain, chains, sense
from simrig.world.worlds import Value, Worlds


@attrs.frozen(kw_only=True)
class Links:
    """The whole table of links of one machine: chains, matrix, and whose contact is at an address.

    ``leads`` names, for each sensor's address, the sensor whose contact arrives
    there; in a sound machine its own.
    """

    chains: Mapping[str, Chain]
    circuit: Circuit
    leads: Mapping[str, str] = attrs.field(factory=dict)


def links(profile: Profile) -> Links:
    """Return the table of links of a sound machine."""
    return Links(chains=chains(profile), circuit=circuit(profile))


def circuit(profile: Profile) -> Circuit:
    """Return the matrix of a sound machine; an unknown diode may be there or not."""
    crossings = []
    columns: dict[int, frozenset[Node]] = {}
    rows: dict[int, frozenset[Node]] = {}
    for sensor in profile.sensor:
        address = profile.address_of.get(sensor.id)
        if address is None or address.column is None or address.row is None:
            continue
        diode = profile.has_diode(sensor)
        crossings.append(
            Crossing(
                sensor=sensor.id,
                column=(address.column, 0),
                row=(address.row, 0),
                backward=None if diode else Value(0 if diode is None else -1, -1),
            )
        )
        columns[address.column] = frozenset(((address.column, 0),))
        rows[address.row] = frozenset(((address.row, 0),))
    return Circuit(crossings=tuple(crossings), strobes=columns, reads=rows)


def scan(profile: Profile, table: Links, contacts: Mapping[str, Value], everything: int) -> Frame:
    """Return the reading at the address of every sensor."""
    arriving = {
        sensor.id: contacts[table.leads.get(sensor.id, sensor.id)] for sensor in profile.sensor
    }
    asked = {
        name: (address.column, address.row)
        for name, address in profile.address_of.items()
        if address.column is not None and address.row is not None
    }
    switches = {name: arriving[name] for name in asked}
    read = conduct(table.circuit, switches, asked.values(), everything)
    cells = {
        name: read[asked[name]] if name in asked else value for name, value in arriving.items()
    }
    return Frame(cells=_widened(profile, cells, arriving, everything), everything=everything)


def _widened(
    profile: Profile, cells: dict[str, Value], arriving: Mapping[str, Value], everything: int
) -> dict[str, Value]:
    """A closed switch at an unknown crossing without diode can make a phantom anywhere."""
    if profile.matrix is None or profile.matrix.diodes == "all":
        return cells
    lost = [sensor.id for sensor in profile.sensor if sensor.address is None]
    if not lost:
        return cells
    closed = 0
    for name in lost:
        closed |= arriving[name].maybe
    return {
        name: Value(value.surely, everything)
        if name in lost
        else Value(value.surely, value.maybe | closed)
        if (address := profile.address_of.get(name)) is not None and address.in_matrix
        else value
        for name, value in cells.items()
    }


def readings(profile: Profile, table: Links, worlds: Worlds) -> Frame:
    """Return what the controller reads in each world: the whole chain in one call."""
    return scan(profile, table, sense(profile, table.chains, worlds), worlds.everything)
