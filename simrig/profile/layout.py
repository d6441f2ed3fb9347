"""Where balls can be: places, routes between them, mechanisms that choose, phases of play."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from simrig.profile import keys
from simrig.profile.keys import NONE, Key, Stated

ANY = "any"
REST = "rest"


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Balls(Stated):
    """How many balls the machine carries, and where a wrong number of them shows."""

    installed: int = keys.integer(
        "balls that the machine carries; captive balls never count", 1, 20, required=True
    )
    diameter_mm: float | None = keys.number("diameter of a ball", "mm", 5, 100)
    store: str | None = keys.reference(
        "the place that is short when balls are missing", "place", reading=True
    )
    extra: tuple[str, ...] | None = keys.sequence(
        "where one ball too many lies: places and positions, the first that has room",
        Key(shape="spot", meaning="a place or a position"),
        reading=True,
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Place(Stated):
    """A place where balls come to rest.

    Its positions are named ``ID.1``, ``ID.2`` … as the machine's own documents
    number them.  ``position_1`` says at which end the numbering starts.  Balls
    fill the place from the exit end; captive balls lie at ``rest_end``.
    """

    id: str = keys.identifier("name of the place")
    name: str | None = keys.text("what people call it")
    kind: str = keys.choice(
        "a word for people; what happens follows from positions and routes",
        "trough",
        "outhole",
        "shooter lane",
        "lock",
        "launcher",
        "hold",
        "magazine",
        "captive",
        "playfield",
        "passage",
        required=True,
    )
    seats: int | str = keys.integer(
        "how many balls can lie here at rest; any: the open playfield",
        1,
        20,
        required=True,
        words=(ANY,),
    )
    position_1: str | None = keys.choice(
        "the end at which position 1 is", "exit end", "far end", reading=True
    )
    jam: bool | None = keys.boolean(
        "whether a ball can sit on the one at the exit, in front of a jam sensor (position ID.jam)"
    )
    captive: int | None = keys.integer("balls that never leave; they do not count", 0, 20)
    rest_end: str | None = keys.choice(
        "the end at which captive balls come to rest", "exit end", "far end", reading=True
    )
    pitch_mm: float | None = keys.number("distance between neighbouring positions", "mm", 5, 200)
    slope_deg: float | None = keys.number("slope along which balls roll", "degrees", 0.1, 60)
    contact_width_mm: float | str | None = keys.number(
        "distance between the two lines on which a ball rolls; none: a flat floor",
        "mm",
        0.1,
        90,
        words=(NONE,),
    )

    @property
    def open_area(self) -> bool:
        """Whether any number of balls can be here, in no order."""
        return self.seats == ANY

    @property
    def capacity(self) -> int:
        """How many balls can rest here; 20, the most a machine carries, in the open."""
        return self.seats if isinstance(self.seats, int) else 20

    @property
    def title(self) -> str:
        """The place in words."""
        return self.name or self.id.replace("-", " ")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Mechanism(Stated):
    """A part that stands in one of a few states: a diverter, a drop target, a gate."""

    id: str = keys.identifier("name of the mechanism")
    name: str | None = keys.text("what people call it")
    kind: str = keys.choice(
        "a word for people",
        "diverter",
        "drop target",
        "gate",
        "lift",
        "post",
        "door",
        required=True,
    )
    states: tuple[str, ...] = keys.key(
        Key(
            shape="list",
            meaning="the states that it can stand in",
            item=Key(shape="identifier", meaning="a state"),
            required=True,
            most=8,
        )
    )
    rest: str | None = keys.choice_free(
        "the state in which it stands when nobody touches it", reading=True
    )
    coil: str | None = keys.reference("the coil that moves it", "coil", none=True)
    reset_coil: str | None = keys.reference("the coil that puts it back", "coil", none=True)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Route(Stated):
    """A way from one place to another.

    Its points are named ``ID.1``, ``ID.2`` … in the order in which a ball meets
    them; sensors are bound to them.  A ball can always hang on the way,
    unseen: ``ID.way``.
    """

    id: str = keys.identifier("name of the route")
    name: str | None = keys.text("what people call it")
    from_: str = keys.key(
        Key(shape="identifier", meaning="where it starts", refers="place", required=True)
    )
    to: tuple[str, ...] = keys.key(
        Key(
            shape="list",
            meaning="where it ends; two places where the ball may end in either",
            item=Key(shape="identifier", meaning="a place", refers="place"),
            required=True,
            most=4,
        )
    )
    by: str = keys.choice(
        "what moves the ball",
        "gravity",
        "coil",
        "shot",
        "plunger",
        "hand",
        required=True,
    )
    coil: str | None = keys.reference("the coil that kicks it", "coil", none=True)
    when: Mapping[str, str] | None = keys.mapping(
        "the state in which each mechanism must stand for a ball to go this way",
        Key(shape="identifier", meaning="a state"),
        refers="mechanism",
    )
    points: int | None = keys.integer("points that a ball passes one after the other", 0, 20)
    length_mm: float | None = keys.number("length of the way", "mm", 1, 5000)
    slope_deg: float | None = keys.number("slope along which a ball rolls", "degrees", 0.1, 90)
    spacing_mm: float | None = keys.number("distance from one point to the next", "mm", 0.1, 2000)
    entry_speed_mm_s: float | None = keys.number("speed at its start", "mm/s", 0, 20000)

    @property
    def title(self) -> str:
        """The route in words."""
        return self.name or self.id.replace("-", " ")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Phase(Stated):
    """A phase of play, as rows of where the balls legally lie.

    In a row each place is given its number of balls, a range such as "0-2", or
    "rest": what is left.  A place that a row does not name is empty.
    """

    id: str = keys.identifier("name of the phase")
    name: str | None = keys.text("what people call it")
    note: str | None = keys.text("what a technician should know about it")
    placements: tuple[Mapping[str, Any], ...] = keys.key(
        Key(
            shape="list",
            meaning="the rows: where the balls lie when all of them are there",
            item=Key(
                shape="mapping",
                meaning="balls at each place",
                refers="place",
                item=Key(
                    shape="balls",
                    meaning='a number of balls, a range such as "0-2", or "rest"',
                ),
            ),
            required=True,
            most=60,
            reading=True,
        )
    )
    states: Mapping[str, Any] | None = keys.mapping(
        "the states in which mechanisms may stand; those left out are at rest",
        Key(shape="states", meaning="a state, or a list of states"),
        refers="mechanism",
        reading=True,
    )

    @property
    def title(self) -> str:
        """The phase in words."""
        return self.name or self.id.replace("-", " ")


def span(balls: Any) -> tuple[int, int]:
    """Return the least and the most of a number or a range such as "0-2"."""
    if isinstance(balls, int):
        return balls, balls
    low, _, high = str(balls).partition("-")
    return int(low), int(high)
