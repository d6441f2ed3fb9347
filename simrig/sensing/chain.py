"""The literal table of links from what works a sensor to the contact that the controller reads.

A sensor's chain is a row of links that a signal passes one after the other.
The signal starts as yes, and each link does one thing to it: ``passes``
(conducts on), ``cuts``, ``forces`` (there whatever comes before), ``inverts``,
``makes`` (only where the sensor is worked), ``breaks`` (only where it is not),
``unsure`` (an unknown fact).  What is left at the end is the closed contact.

How a break reads is in the order of the links and nowhere else: before the
``inverts`` of a board whose contact closes when dark it reads closed, after it
open.  A fault replaces links; a part can stand in the chains of many sensors.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

import attrs

from simrig.profile.addresses import Address
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.world.balls import Fact
from simrig.world.worlds import Value, Worlds

ACTIONS: Final = frozenset(("passes", "cuts", "forces", "inverts", "makes", "breaks", "unsure"))


class Part(NamedTuple):
    """One part of the machine: its kind, and the id of the row that states it."""

    kind: str
    id: str

    def __str__(self) -> str:
        return f"{self.kind} {self.id}"


@attrs.frozen(kw_only=True)
class Link:
    """One link: the part, what it does to the signal, and what it does when the part fails.

    ``broken`` is the action when it no longer carries.
    ``facts`` are the facts of the profile that decide the action.
    """

    part: Part
    action: str = attrs.field(default="passes", validator=attrs.validators.in_(ACTIONS))
    broken: str = attrs.field(default="cuts", validator=attrs.validators.in_(ACTIONS))
    facts: tuple[Fact, ...] = ()


Chain = tuple[Link, ...]


def chain(profile: Profile, sensor: Sensor) -> Chain:
    """Return the links of a sensor, in the order in which the signal passes them."""
    technology = profile.technology(sensor)
    links = {"light": _light, "contact": _contact, "proximity": _proximity}
    built = list(links[technology or "contact"](profile, sensor))
    built += _wire(profile, sensor)
    return tuple(built)


def chains(profile: Profile) -> dict[str, Chain]:
    """Return the chain of every sensor by its id."""
    return {sensor.id: chain(profile, sensor) for sensor in profile.sensor}


def contact(links: Chain, worked: Value, everything: int) -> Value:
    """Return the worlds in which the contact at the end of a chain is closed.

    ``worked`` are the worlds in which the sensor is worked.
    """
    surely = maybe = everything
    for link in links:
        action = link.action
        if action == "passes":
            continue
        if action == "inverts":
            surely, maybe = everything & ~maybe, everything & ~surely
        elif action == "makes":
            surely, maybe = surely & worked.surely, maybe & worked.maybe
        elif action == "breaks":
            surely, maybe = surely & ~worked.maybe, maybe & ~worked.surely
        elif action == "cuts":
            surely = maybe = 0
        elif action == "forces":
            surely = maybe = everything
        else:
            surely, maybe = 0, everything
    return Value(surely, maybe)


def sense(profile: Profile, table: Mapping[str, Chain], worlds: Worlds) -> dict[str, Value]:
    """Return the state of every sensor's contact, by the sensor's id."""
    everything = worlds.everything
    return {
        sensor.id: contact(table[sensor.id], worlds.works(sensor), everything)
        for sensor in profile.sensor
    }


def _supply(profile: Profile, name: str | None, broken: str = "cuts") -> Iterator[Link]:
    supply = profile.row("supply", name)
    if supply is None:
        return
    if supply.fuse not in (None, NONE):
        yield Link(part=Part("fuse", supply.fuse), broken=broken)
    yield Link(part=Part("supply", supply.id), broken=broken)


def _plug(name: str | None, broken: str = "cuts") -> Iterator[Link]:
    if name not in (None, NONE):
        yield Link(part=Part("connector", str(name)), broken=broken)


def _light(profile: Profile, sensor: Sensor) -> Iterator[Link]:
    bank = profile.row("bank", sensor.bank)
    if bank is not None:
        yield from _supply(profile, bank.supply)
        if bank.fuse not in (None, NONE):
            yield Link(part=Part("fuse", bank.fuse))
        yield from _plug(bank.plug)
        yield Link(part=Part("bank return", bank.id))
    at = (Fact("sensor", sensor.id, "at"),)
    bare = (Fact("sensor", sensor.id, "board"),) if sensor.board == NONE else ()
    yield Link(part=Part("resistor", sensor.id))
    yield Link(part=Part("emitter joint", sensor.id))
    yield Link(part=Part("emitter", sensor.id))
    yield Link(part=Part("beam", sensor.id), action="breaks", facts=at)
    yield Link(part=Part("receiver", sensor.id), facts=bare)
    if sensor.board == NONE:
        yield from _common(profile, sensor)
        return
    board = profile.row("board", sensor.board)
    if board is not None:
        yield from _plug(board.sensor_plug)
    yield _channel(profile, sensor)
    if board is not None:
        without = "forces" if board.without_supply == "closed" else "cuts"
        yield from _supply(profile, board.supply, without)
        yield Link(part=Part("board", board.id), broken=without)
        yield from _plug(board.output_plug)


def _channel(profile: Profile, sensor: Sensor) -> Link:
    part = Part("channel", sensor.id)
    board = profile.row("board", sensor.board)
    if board is not None and board.output_closes is not None:
        dark = board.output_closes == "dark"
        facts = (Fact("board", board.id, "output_closes"), Fact("sensor", sensor.id, "board"))
        return Link(part=part, action="inverts" if dark else "passes", facts=facts)
    action, fact = _stated(sensor, worked_closed="inverts", worked_open="passes")
    unknown = (
        Fact("sensor", sensor.id, "board")
        if board is None
        else Fact("board", board.id, "output_closes")
    )
    return Link(part=part, action=action, facts=(fact or unknown,))


def _stated(sensor: Sensor, *, worked_closed: str, worked_open: str) -> tuple[str, Fact | None]:
    if sensor.worked_reads is not None:
        action = worked_closed if sensor.worked_reads == "closed" else worked_open
        return action, Fact("sensor", sensor.id, "worked_reads")
    if sensor.rest_reads is not None:
        action = worked_closed if sensor.rest_reads == "open" else worked_open
        return action, Fact("sensor", sensor.id, "rest_reads")
    return "unsure", None


def _polarity(sensor: Sensor, *, normally_open: str, normally_closed: str) -> tuple[str, Fact]:
    fact = Fact("sensor", sensor.id, "contact")
    if sensor.contact is not None:
        return normally_open if sensor.contact == "normally open" else normally_closed, fact
    action, stated = _stated(sensor, worked_closed=normally_open, worked_open=normally_closed)
    return action, stated or fact


def _contact(profile: Profile, sensor: Sensor) -> Iterator[Link]:
    action, fact = _polarity(sensor, normally_open="makes", normally_closed="breaks")
    cause = Fact("sensor", sensor.id, "follows" if sensor.follows else "at")
    yield Link(part=Part("contact", sensor.id), action=action, facts=(fact, cause))
    yield from _common(profile, sensor)


def _proximity(profile: Profile, sensor: Sensor) -> Iterator[Link]:
    action, fact = _polarity(sensor, normally_open="passes", normally_closed="inverts")
    yield Link(
        part=Part("sensing head", sensor.id),
        action="makes",
        facts=(Fact("sensor", sensor.id, "at"),),
    )
    yield Link(part=Part("output", sensor.id), action=action, facts=(fact,))
    yield from _supply(profile, sensor.supply)


def _common(profile: Profile, sensor: Sensor) -> Iterator[Link]:
    common = profile.row("return", sensor.common)
    if sensor.common not in (None, NONE):
        yield Link(part=Part("common return", str(sensor.common)))
    if common is not None:
        yield from _plug(common.connector)


def _wire(profile: Profile, sensor: Sensor) -> Iterator[Link]:
    yield Link(part=Part("wire", sensor.id))
    yield from _plug(sensor.connector)
    address: Address | None = profile.address_of.get(sensor.id)
    if address is None or address.in_matrix:
        return
    if address.board is not None:
        inputs = profile.row("inputs", address.board)
        yield from _supply(profile, inputs.supply)
        yield from _plug(inputs.plug)
        yield Link(part=Part("input board", inputs.id))
    yield Link(part=Part("input", sensor.id))
