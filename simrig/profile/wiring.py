"""How a reading reaches the controller: supplies, banks, boards, matrix, inputs; and the coil side."""

from __future__ import annotations

import attrs

from simrig.profile import keys
from simrig.profile.keys import NONE, Key, Stated


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Supply(Stated):
    """A low d.c. supply that emitters, boards or inductive sensors share."""

    id: str = keys.identifier("name of the supply")
    name: str | None = keys.text("what people call it")
    volts: float | None = keys.number("its voltage", "V d.c.", 1, 60)
    fuse: str | None = keys.reference("the fuse behind which it lies", "fuse", none=True)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Fuse(Stated):
    """A fuse, of one value and one kind."""

    id: str = keys.identifier("name of the fuse")
    rating: str | None = keys.text("value and kind, as printed: the only one that may be fitted")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Connector(Stated):
    """A plug; two plugs alike in pins and supply can be exchanged as a check, or by mistake."""

    id: str = keys.identifier("name of the connector")
    pins: int | None = keys.integer("how many pins it has", 1, 100)
    place: str | None = keys.text("where it is found")
    alike: tuple[str, ...] | None = keys.sequence(
        "connectors with the same pins and supplies",
        Key(shape="identifier", meaning="a connector", refers="connector"),
        none=True,
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Bank(Stated):
    """Emitters that share a supply, a plug and a return; each has a series resistor of its own."""

    id: str = keys.identifier("name of the emitter bank")
    name: str | None = keys.text("what people call it")
    supply: str | None = keys.reference("the supply of its emitters", "supply")
    fuse: str | None = keys.reference("a fuse of the bank's own", "fuse", none=True)
    plug: str | None = keys.reference("the plug through which it is fed", "connector", none=True)
    return_wire: str | None = keys.text("colour of the common return wire")
    forward_volts: float | None = keys.number("across one lit emitter", "V", 0.5, 4)
    current_ma: float | None = keys.number("through one emitter", "mA", 0.1, 500)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Board(Stated):
    """A receiver board: one supply, one sensor plug, one output plug, an output contact a channel."""

    id: str = keys.identifier("name of the receiver board")
    name: str | None = keys.text("what people call it")
    supply: str | None = keys.reference("the supply of the board", "supply")
    sensor_plug: str | None = keys.reference("the plug to its receivers", "connector", none=True)
    output_plug: str | None = keys.reference("the plug to the controller", "connector", none=True)
    output_closes: str | None = keys.choice(
        "when a channel's output contact closes: its receiver is dark, or is lit",
        "dark",
        "lit",
        reading=True,
    )
    without_supply: str | None = keys.choice(
        "what its outputs do without supply; left out: they are open", "open", "closed"
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Return(Stated):
    """A common return that a group of direct inputs, bare receivers or contacts shares."""

    id: str = keys.identifier("name of the common return")
    wire: str | None = keys.text("colour of the wire")
    connector: str | None = keys.reference("the plug it runs through", "connector", none=True)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Inputs(Stated):
    """A board with numbered inputs of its own; addresses are written ``ID 7``."""

    id: str = keys.identifier("name of the input board")
    name: str | None = keys.text("what people call it")
    count: int | None = keys.integer("how many inputs it has", 1, 512)
    supply: str | None = keys.reference("the supply of the board", "supply", none=True)
    plug: str | None = keys.reference("the plug of its inputs", "connector", none=True)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Line(Stated):
    """A column or row wire of the matrix."""

    number: int = keys.integer("number of the column or row", 1, 64, required=True)
    wire: str | None = keys.text("colour of the wire")
    connector: str | None = keys.reference("the plug at the controller", "connector", none=True)
    pin: int | None = keys.integer("its pin there", 1, 100)
    order: tuple[str, ...] | None = keys.sequence(
        "the sensors in the order in which the wire runs past them from the controller",
        Key(shape="identifier", meaning="a sensor", refers="sensor"),
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Matrix(Stated):
    """The scanned switch matrix; addresses are written ``column 3 row 4``."""

    columns: int = keys.integer("how many columns are strobed", 1, 64, required=True)
    rows: int = keys.integer("how many rows are read", 1, 64, required=True)
    diodes: str | None = keys.choice(
        "which positions have a diode; some: each sensor states its own",
        "all",
        "some",
        NONE,
        reading=True,
    )
    diode_toward: str | None = keys.choice(
        "the line at which the banded end of the diodes is", "column", "row"
    )
    column: tuple[Line, ...] = keys.tables("the column wires", Line)
    row: tuple[Line, ...] = keys.tables("the row wires", Line)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class CoilBank(Stated):
    """Coils that share a supply and a fuse."""

    id: str = keys.identifier("name of the coil bank")
    name: str | None = keys.text("what people call it")
    volts: float | None = keys.number("its voltage", "V d.c.", 1, 100)
    fuse: str | None = keys.reference("its fuse", "fuse", none=True)
    interlocked: bool | None = keys.boolean("whether the door's interlock, if any, cuts it")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Coil(Stated):
    """A coil and its driver."""

    id: str = keys.identifier("name of the coil")
    name: str | None = keys.text("what people call it")
    bank: str | None = keys.reference("the bank that feeds it", "coil_bank")
    ohms: float | None = keys.number("its resistance", "ohm", 0.1, 1000)
    driver: str | None = keys.text("the driver that switches it")
    pulse_ms: float | None = keys.number("how long it is driven", "ms", 1, 1000)

    @property
    def title(self) -> str:
        """The coil in words."""
        return self.name or self.id.replace("-", " ")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Interlock(Stated):
    """The switch at the coin door that cuts coil feed while the door is open; never isolation."""

    fitted: bool | None = keys.boolean("whether the machine has one; left out: taken as none")
    cuts: str | None = keys.text("what it cuts, in words")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Scan(Stated):
    """How the controller reads."""

    period_ms: float | None = keys.number("time between two readings of a switch", "ms", 0.01, 1000)
    debounce_readings: int | None = keys.integer("equal readings in a row that it wants", 1, 100)
