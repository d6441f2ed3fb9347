"""Small machines to plant faults in: every one with all sensors, so that there is always room."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from simrig.profile.components import Sensor
from simrig.profile.layout import Balls, Phase, Place, Route
from simrig.profile.machine import Profile
from simrig.profile.wiring import Board, Matrix

ENDS = ("exit end", "far end")


@st.composite
def profiles(draw: st.DrawFn) -> Profile:
    """A trough, a lock, a launcher, an open playfield; each sensor of a drawn kind."""
    seats = draw(st.integers(1, 4))
    lock = draw(st.integers(1, 2))
    balls = draw(st.integers(1, seats))
    diodes = draw(st.sampled_from(("all", "some", "none")))
    places = (
        Place(id="trough", kind="trough", seats=seats, position_1=draw(st.sampled_from(ENDS))),
        Place(id="lock", kind="lock", seats=lock, position_1=draw(st.sampled_from(ENDS))),
        Place(id="launcher", kind="launcher", seats=1, position_1="exit end"),
        Place(id="playfield", kind="playfield", seats="any"),
    )
    routes = (
        Route(id="serve", from_="trough", to=("launcher",), by="coil"),
        Route(id="launch", from_="launcher", to=("playfield",), by="coil", points=1),
        Route(id="lock-shot", from_="playfield", to=("lock",), by="shot"),
        Route(id="lock-eject", from_="lock", to=("playfield",), by="coil"),
        Route(id="drain", from_="playfield", to=("trough",), by="gravity"),
    )
    spots = [f"trough.{n}" for n in range(1, seats + 1)]
    spots += [f"lock.{n}" for n in range(1, lock + 1)] + ["launcher.1", "launch.1"]
    sensors = []
    for number, spot in enumerate(spots):
        address: dict[str, Any] = {}
        if draw(st.booleans()):
            address["address"] = f"column {number % 3 + 1} row {number // 3 + 1}"
            if diodes == "some":
                address["diode"] = draw(st.sampled_from(("fitted", "none")))
        else:
            address["address"] = f"direct {number + 1}"
        sensors.append(draw(_sensor(f"s{number}", spot, number, address)))
    most = min(lock, balls)
    phases = (
        Phase(id="idle", placements=({"trough": "rest"},)),
        Phase(id="locked", placements=({"lock": f"0-{most}", "trough": "rest"},)),
    )
    return Profile(
        format=1,
        id="made",
        balls=Balls(installed=balls, store="trough", extra=("launcher", "lock", "playfield")),
        place=places,
        route=routes,
        phase=phases,
        sensor=tuple(sensors),
        matrix=Matrix(columns=3, rows=4, diodes=diodes),
        board=(
            Board(id="dark-board", output_closes="dark"),
            Board(id="lit-board", output_closes="lit"),
        ),
    )


@st.composite
def _sensor(draw: st.DrawFn, name: str, spot: str, number: int, address: dict[str, Any]) -> Sensor:
    kind = draw(st.sampled_from(("opto", "bare", "leaf switch", "inductive")))
    if kind in ("opto", "bare"):
        board = draw(st.sampled_from(("dark-board", "lit-board"))) if kind == "opto" else "none"
        return Sensor(id=name, kind="opto", at=(spot,), board=board, **address)
    contact = draw(st.sampled_from(("normally open", "normally closed")))
    return Sensor(id=name, kind=kind, at=(spot,), contact=contact, **address)
