"""The sensors: what works them, what they are, how they are fed, where they are read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import attrs

from simrig.profile import keys
from simrig.profile.keys import NONE, Key, Stated


@attrs.frozen(kw_only=True)
class SensorKind:
    """A kind of sensor: a word for people and the technology that decides how it works.

    ``technology`` is ``light`` (an emitter and a receiver), ``contact`` (blades
    or a micro-switch) or ``proximity`` (an inductive output).
    """

    id: str = attrs.field(validator=attrs.validators.min_len(1))
    title: str
    technology: str = attrs.field(validator=attrs.validators.in_(("light", "contact", "proximity")))
    lugs: bool = False
    """Whether it has a lug for each state, so that it can be wired to the wrong one."""


SENSOR_KINDS: Final = (
    SensorKind(id="opto", title="opto", technology="light"),
    SensorKind(id="leaf switch", title="leaf switch", technology="contact"),
    SensorKind(id="micro-switch", title="micro-switch", technology="contact", lugs=True),
    SensorKind(id="roll-over", title="roll-over", technology="contact", lugs=True),
    SensorKind(id="spinner", title="spinner", technology="contact"),
    SensorKind(id="drop target", title="drop target switch", technology="contact"),
    SensorKind(id="button", title="button", technology="contact"),
    SensorKind(id="switch", title="switch, form not known", technology="contact"),
    SensorKind(id="inductive", title="inductive sensor", technology="proximity"),
)

_READING = ("open", "closed")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Sensor(Stated):
    """One sensor, from what works it to its address.

    Known links decide how it reads; ``rest_reads`` and ``worked_reads`` say the
    same a second time, as a cross-check, and stand in while links are unknown.
    """

    id: str = keys.identifier("stable name of the sensor")
    name: str | None = keys.text("what people call it")
    number: int | None = keys.integer("the manual's own switch number", 0, 9999)
    kind: str | None = keys.text(
        "what it is, such as opto, leaf switch, micro-switch, roll-over, inductive, spinner, "
        "drop target, button, switch (a contact of unknown form), or a kind that a plug-in brings"
    )
    at: tuple[str, ...] | str | None = keys.sequence(
        "the positions and route points at which a ball works it; none: no ball does",
        Key(shape="spot", meaning="a position"),
        most=40,
        none=True,
        reading=True,
    )
    follows: Mapping[str, str] | None = keys.mapping(
        "the mechanism that works it, and the state in which it does",
        Key(shape="identifier", meaning="a state"),
        refers="mechanism",
        most=1,
        reading=True,
    )
    counted: bool = keys.boolean(
        "false: left out when all other ball sensors are taken for open", default=True
    )
    rest_reads: str | None = keys.choice(
        "its reading when nothing works it", *_READING, reading=True
    )
    worked_reads: str | None = keys.choice(
        "its reading when a ball, or its mechanism, works it", *_READING, reading=True
    )
    contact: str | None = keys.choice(
        "a contact's or an inductive output's state at rest",
        "normally open",
        "normally closed",
        reading=True,
    )
    bank: str | None = keys.reference("the bank that feeds its emitter", "bank")
    resistor_ohm: float | None = keys.number(
        "series resistor of its emitter, as fitted", "ohm", 1, 1e6
    )
    board: str | None = keys.reference(
        "its receiver board; none: a bare receiver between the input and a common return",
        "board",
        none=True,
        reading=True,
    )
    channel: int | None = keys.integer("its channel on that board", 1, 64)
    common: str | None = keys.reference("the common return it shares", "return", none=True)
    supply: str | None = keys.reference("the supply of an inductive sensor", "supply")
    indicator: str | None = keys.choice(
        "when the indicator of an inductive sensor is lit", "ball near", "no ball near", none=True
    )
    sensing_mm: float | None = keys.number(
        "rated sensing distance of an inductive sensor", "mm", 0.1, 100
    )
    ball_gap_mm: float | None = keys.number("distance at which a ball passes it", "mm", 0, 100)
    beam_height_mm: float | None = keys.number(
        "height of a beam above the line on which balls roll", "mm", 0, 100
    )
    lever_travel_mm: float | None = keys.number("travel of its lever or blade", "mm", 0.1, 50)
    address: str | None = keys.text(
        'where it is read: "column 3 row 4", "direct 5", or an input board and number "node-a 7"'
    )
    diode: str | None = keys.choice(
        "whether its matrix position has a diode", "fitted", none=True, reading=True
    )
    wire: str | None = keys.text("colour of its wire")
    connector: str | None = keys.reference("the plug of its wire", "connector", none=True)
    pin: int | None = keys.integer("its pin there", 1, 100)
    beside: str | None = keys.reference(
        "the coil beside whose kicker its parts stand", "coil", none=True
    )

    @property
    def spots(self) -> tuple[str, ...]:
        """The positions at which a ball works it; empty where none does or none is known."""
        return () if self.at is None or self.at == NONE else tuple(self.at)

    @property
    def title(self) -> str:
        """The sensor in words."""
        return self.name or self.id.replace("-", " ")
