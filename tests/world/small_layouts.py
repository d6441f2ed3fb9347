"""Layouts made by hand for the tests of this floor: one trough, one lock, one lane, an open field."""

from __future__ import annotations

from typing import Any

from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Mechanism, Phase, Place, Route
from simrig.profile.machine import Profile


def place(name: str = "lock", seats: int | str = 3, **changes: Any) -> Place:
    """A place whose position 1 is at its exit."""
    stated = {"kind": "lock", "position_1": "exit end", **changes}
    return Place(id=name, seats=seats, **stated)


def layout(**changes: Any) -> Profile:
    """Three balls; trough of three, lane of one, lock of two, open field; a gate before the lock."""
    stated: dict[str, Any] = {
        "format": 1,
        "id": "made",
        "balls": Balls(installed=3, store="trough"),
        "place": (
            place("trough", 3, kind="trough"),
            place("lane", 1, kind="shooter lane"),
            place("lock", 2),
            place("field", "any", kind="playfield", position_1=None),
        ),
        "route": (
            Route(id="serve", from_="trough", to=("lane",), by="coil", points=2),
            Route(id="shot", from_="lane", to=("field", "lock"), by="plunger"),
            Route(id="drain", from_="field", to=("trough",), by="gravity"),
            Route(id="lock-shot", from_="field", to=("lock",), by="shot", when={"gate": "down"}),
        ),
        "mechanism": (
            Mechanism(id="gate", kind="gate", states=("up", "down"), rest="up"),
            Mechanism(id="post", kind="post", states=("in", "out")),
        ),
        "phase": (
            Phase(id="play", placements=({"trough": "rest", "lock": "0-1", "field": 1},)),
            Phase(id="idle", placements=({"trough": "rest"},)),
        ),
    }
    return Profile(**{**stated, **changes})


def sensor(name: str, *at: str, **changes: Any) -> Sensor:
    """A normally open switch."""
    return Sensor(id=name, kind="micro-switch", at=at, **{"contact": "normally open", **changes})
