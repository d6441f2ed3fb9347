"""The profile of one machine model: every table of it, and how to look things up."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import attrs

from simrig.profile import addresses, keys
from simrig.profile.components import SENSOR_KINDS, Sensor, SensorKind
from simrig.profile.controller import Controller
from simrig.profile.keys import Key, Stated
from simrig.profile.layout import Balls, Mechanism, Phase, Place, Route
from simrig.profile.wiring import (
    Bank,
    Board,
    Coil,
    CoilBank,
    Connector,
    Fuse,
    Inputs,
    Interlock,
    Matrix,
    Return,
    Scan,
    Supply,
)

if TYPE_CHECKING:
    from simrig.profile.located import Located

FORMAT: Final = 1


@attrs.frozen(kw_only=True)
class Spot:
    """Where exactly one ball can be.

    ``number`` is the machine's own number, ``position`` counts from the exit
    end (None where that end is unknown, or there is no order); ``resting``
    tells whether a ball settles here.
    """

    id: str
    place: str | None = None
    route: str | None = None
    number: int | None = None
    position: int | None = None
    resting: bool = False


@attrs.frozen(kw_only=True)
class Origin:
    """The file a profile was read from, which knows the line of each of its facts."""

    file: str = "profile"
    located: Callable[[], Located] | None = attrs.field(default=None, repr=False)

    def line(self, path: tuple[str | int, ...]) -> int | None:
        """Return the line of a fact, or of the nearest table around it."""
        return None if self.located is None else self.located().line(path)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Silence(Stated):
    """A vetting rule that does not hold for this machine, and why."""

    rule: str = keys.text("code of the rule", required=True)
    about: str | None = keys.text("the id it is silenced for; left out: the whole machine")
    reason: str = keys.text("why the rule does not hold here", required=True)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Profile(Stated):
    """One machine model.  Left out means unknown; see each key for its meaning."""

    format: int = keys.integer("version of this file format", FORMAT, FORMAT, required=True)
    id: str = keys.identifier("name of the machine model")
    title: str | None = keys.text("its name in words")
    version: str | None = keys.text("version of this profile")
    note: str | None = keys.text("what a technician should know first")
    balls: Balls = keys.key(
        Key(
            shape="table",
            meaning="the balls: how many, how large, where they wait",
            table=Balls,
            required=True,
        )
    )
    place: tuple[Place, ...] = keys.tables("places where balls rest", Place, most=200)
    route: tuple[Route, ...] = keys.tables("ways from place to place", Route, most=200)
    mechanism: tuple[Mechanism, ...] = keys.tables("diverters, drop targets, gates", Mechanism)
    phase: tuple[Phase, ...] = keys.tables(
        "phases of play, and where the balls legally lie in each", Phase, most=60
    )
    sensor: tuple[Sensor, ...] = keys.tables(
        "the sensors: what works each, what it is, where it is read", Sensor, most=512
    )
    matrix: Matrix | None = keys.table("the scanned matrix of columns and rows", Matrix)
    inputs: tuple[Inputs, ...] = keys.tables("boards with numbered inputs", Inputs)
    bank: tuple[Bank, ...] = keys.tables("emitters that share a supply, a plug and a return", Bank)
    board: tuple[Board, ...] = keys.tables(
        "receiver boards, each with one supply and its plugs", Board
    )
    return_: tuple[Return, ...] = keys.tables("common returns that sensors share", Return)
    supply: tuple[Supply, ...] = keys.tables(
        "low d.c. supplies of emitters, boards and inductive sensors", Supply
    )
    fuse: tuple[Fuse, ...] = keys.tables("fuses of supplies and coil banks", Fuse)
    connector: tuple[Connector, ...] = keys.tables("plugs that wires and boards share", Connector)
    coil_bank: tuple[CoilBank, ...] = keys.tables("coils that share a supply and a fuse", CoilBank)
    coil: tuple[Coil, ...] = keys.tables("coils, each with its driver", Coil)
    interlock: Interlock | None = keys.table("the interlock at the door", Interlock)
    scan: Scan | None = keys.table("how the controller reads", Scan)
    controller: Controller | None = keys.table("what the controller concludes", Controller)
    priors: Mapping[str, float] | None = keys.mapping(
        "how much more often a kind of fault happens here than usual, by its name",
        Key(shape="number", meaning="a factor", low=0.001, high=1000),
    )
    silence: tuple[Silence, ...] = keys.tables("vetting rules silenced, with reasons", Silence)
    begun: Mapping[str, str] | None = keys.mapping(
        "the questions that simrig begin has asked, and how far each was answered; one that is "
        "taken out is asked again",
        Key(shape="text", meaning="answered, not known, or how far"),
    )
    origin: Origin = attrs.field(factory=Origin, eq=False, repr=False)
    kinds: tuple[SensorKind, ...] = attrs.field(default=SENSOR_KINDS, eq=False, repr=False)
    brought: Mapping[str, tuple[Any, ...]] = attrs.field(factory=dict, eq=False, repr=False)
    """What plug-ins bring for this machine besides kinds of sensor, by the hook that brings it."""

    @property
    def name(self) -> str:
        """The machine in words."""
        return self.title or self.id.replace("-", " ")

    @cached_property
    def _rows(self) -> dict[str, dict[str, Any]]:
        return {
            table: {row.id: row for row in getattr(self, keys.attribute_of(table))}
            for table in NAMED_TABLES
        }

    def row(self, table: str, name: str | None) -> Any:
        """Return the row of a table by its id; None where there is none."""
        return None if name is None else self._rows[table].get(name)

    @cached_property
    def spots(self) -> dict[str, Spot]:
        """Every spot by its id: positions of places, jam positions, route points, ways."""
        return {spot.id: spot for spot in self._make_spots()}

    def _make_spots(self) -> Iterator[Spot]:
        for place in self.place:
            ordered = not place.open_area and (place.position_1 is not None or place.seats == 1)
            for number in range(1, place.capacity + 1):
                position = None
                if ordered:
                    far = place.position_1 == "far end"
                    position = place.capacity + 1 - number if far else number
                yield Spot(
                    id=f"{place.id}.{number}",
                    place=place.id,
                    number=number,
                    position=position,
                    resting=True,
                )
            if place.jam:
                yield Spot(id=f"{place.id}.jam", place=place.id)
        for route in self.route:
            for number in range(1, (route.points or 0) + 1):
                yield Spot(id=f"{route.id}.{number}", route=route.id, number=number)
            yield Spot(id=f"{route.id}.way", route=route.id)

    @cached_property
    def covering(self) -> dict[str, tuple[Sensor, ...]]:
        """The sensors that a ball at each spot works."""
        found: dict[str, list[Sensor]] = {}
        for sensor in self.sensor:
            for spot in sensor.spots:
                found.setdefault(spot, []).append(sensor)
        return {spot: tuple(sensors) for spot, sensors in found.items()}

    @cached_property
    def address_of(self) -> dict[str, addresses.Address]:
        """The address of each sensor that states a readable one."""
        found = {}
        for sensor in self.sensor:
            if sensor.address and (address := addresses.parse(sensor.address)):
                found[sensor.id] = address
        return found

    def ball_sensors(self) -> tuple[Sensor, ...]:
        """Sensors that a ball at rest or passing can work, and that count."""
        return tuple(sensor for sensor in self.sensor if sensor.spots and sensor.counted)

    def kind_of(self, sensor: Sensor) -> SensorKind | None:
        """Return the kind of a sensor; None where it is not known, or nobody brought it."""
        return next((kind for kind in self.kinds if kind.id == sensor.kind), None)

    def technology(self, sensor: Sensor) -> str | None:
        """Return light, contact or proximity; None for a kind that is not known."""
        kind = self.kind_of(sensor)
        return None if kind is None else kind.technology

    def has_diode(self, sensor: Sensor) -> bool | None:
        """Whether a sensor's matrix position has a diode; None: unknown."""
        general = self.matrix.diodes if self.matrix else None
        if general in ("all", keys.NONE):
            return general == "all"
        return None if sensor.diode is None else sensor.diode != keys.NONE


NAMED_TABLES: Final = tuple(
    name
    for name, key in keys.keys_of(Profile).items()
    if key.shape == "tables" and name != "silence"
)
"""The tables whose rows have ids, in reading order, as the file names them."""
