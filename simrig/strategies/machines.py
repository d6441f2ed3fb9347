"""Machines made by Hypothesis: small, of every technology, and never contradicting themselves."""

from __future__ import annotations

from typing import Any, Final

import attrs
from hypothesis import strategies as st

from simrig.profile import keys
from simrig.profile.components import Sensor
from simrig.profile.controller import Controller
from simrig.profile.keys import Key, attribute_of, keys_of
from simrig.profile.layout import Balls, Mechanism, Phase, Place, Route
from simrig.profile.machine import Profile
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
from simrig.sensing.chain import chain, contact
from simrig.world.worlds import Value

ENDS: Final = ("exit end", "far end")
COLUMNS: Final = 4
FULL_COLUMNS: Final = 8
KINDS: Final = ("leaf switch", "opto", "bare opto", "micro-switch", "roll-over", "inductive")
_LEFT: Final = frozenset(
    ("address", "channel", "number", "count", "captive", "jam", "points", "counted")
)
"""Keys that are not drawn one by one: rows would contradict each other, or spots would change."""


_FLAG = st.booleans()
_MOSTLY = st.sampled_from((False, True, True, True, True))
_END = st.sampled_from(ENDS)
_KIND = st.sampled_from(KINDS)
_BOARD = st.sampled_from(("dark-board", "lit-board"))
_CONTACT = st.sampled_from(("normally open", "normally closed"))
_FORM = st.sampled_from(("direct", "matrix"))
_WIRED_FORM = st.sampled_from(("direct", "matrix", "node"))
_DIODE = st.sampled_from(("fitted", keys.NONE))
_DIODES = st.sampled_from(("all", "some", "none"))


@st.composite
def profiles(draw: st.DrawFn, unknown: bool, full: bool) -> Profile:
    """One machine."""
    layout = _layouts(draw, full)
    wired = draw(_FLAG)
    wiring = _wiring() if wired else {"board": _boards(False)}
    diodes = draw(_DIODES)
    columns = FULL_COLUMNS if full else COLUMNS
    sensors = _sensors(draw, layout, _Wires(columns, diodes, wired), full)
    matrix = Matrix(columns=columns, rows=8, diodes=diodes)
    made = Profile(format=1, id="made", sensor=sensors, matrix=matrix, **layout, **wiring)
    made = _stated_twice(draw, made)
    made = _described(draw, made)
    return _partly_known(draw, made) if unknown else made


def _layouts(draw: st.DrawFn, full: bool) -> dict[str, Any]:
    seats = draw(st.integers(7, 10) if full else st.integers(1, 5))
    lock = draw(st.integers(1, 3))
    balls = draw(st.integers(7 if full else 1, seats))
    jam, outhole, hold, captive, target = (draw(_FLAG) for _ in range(5))
    places = [
        Place(id="trough", kind="trough", seats=seats, position_1=draw(_END), jam=jam),
        Place(id="lock", kind="lock", seats=lock, position_1=draw(_END)),
        Place(id="launcher", kind="launcher", seats=1, position_1="exit end"),
        Place(id="playfield", kind="playfield", seats="any"),
    ]
    routes = [
        Route(id="serve", from_="trough", to=("launcher",), by="coil", coil="kicker"),
        Route(id="launch", from_="launcher", to=("playfield",), by="coil", points=1),
        Route(id="lock-eject", from_="lock", to=("playfield",), by="coil", coil="lock-kicker"),
    ]
    mechanisms = []
    to_lock = None
    if hold:
        places.append(Place(id="hold", kind="hold", seats=1, position_1="exit end"))
        mechanisms.append(
            Mechanism(id="diverter", kind="diverter", states=("left", "right"), rest="left")
        )
        to_lock = {"diverter": "left"}
        way = {"diverter": "right"}
        routes += [
            Route(id="hold-shot", from_="playfield", to=("hold",), by="shot", when=way),
            Route(id="hold-eject", from_="hold", to=("playfield", "lock"), by="coil"),
        ]
    routes.append(Route(id="lock-shot", from_="playfield", to=("lock",), by="shot", when=to_lock))
    if outhole:
        places.append(Place(id="outhole", kind="outhole", seats=1, position_1="exit end"))
        routes += [
            Route(id="drain", from_="playfield", to=("outhole",), by="gravity", points=1),
            Route(id="lift", from_="outhole", to=("trough",), by="coil"),
        ]
    else:
        routes.append(Route(id="drain", from_="playfield", to=("trough",), by="gravity"))
    if captive:
        places.append(
            Place(id="cage", kind="captive", seats=2, captive=1, position_1=draw(_END),
                  rest_end=draw(_END))
        )  # fmt: skip
    if target:
        mechanisms.append(
            Mechanism(id="target", kind="drop target", states=("up", "down"), rest="up")
        )
    if full:
        routes += [
            Route(id=f"lane-{n}", from_="playfield", to=("playfield",), by="shot", points=1)
            for n in range(1, draw(st.integers(4, 10)) + 1)
        ]
    fitted = draw(_FLAG)
    phases = [
        Phase(id="idle", placements=({"trough": "rest"},)),
        Phase(id="locked", placements=({"lock": f"0-{min(lock, balls)}", "trough": "rest"},)),
        Phase(
            id="play",
            placements=({"playfield": 1, "trough": "rest"}, {"launcher": 1, "trough": "rest"}),
            states={"diverter": ["left", "right"]} if hold else None,
        ),
    ]
    return {
        "balls": Balls(installed=balls, store="trough", extra=("launcher", "lock", "playfield")),
        "place": tuple(places),
        "route": tuple(routes),
        "mechanism": tuple(mechanisms),
        "phase": tuple(phases),
        "coil": (Coil(id="kicker", bank="coils"), Coil(id="lock-kicker", bank="coils")),
        "coil_bank": (CoilBank(id="coils", fuse="coil-fuse", interlocked=fitted),),
        "fuse": (Fuse(id="coil-fuse", rating="4 A slow"), Fuse(id="logic-fuse", rating="1 A")),
        "interlock": Interlock(fitted=fitted),
    }


def _boards(wired: bool) -> tuple[Board, ...]:
    more: dict[str, Any] = {"supply": "logic", "output_plug": "plug-a"} if wired else {}
    return (
        Board(id="dark-board", output_closes="dark", **more),
        Board(id="lit-board", output_closes="lit", without_supply="closed", **more),
    )


def _wiring() -> dict[str, Any]:
    return {
        "supply": (Supply(id="logic", volts=5, fuse="logic-fuse"), Supply(id="light", volts=12)),
        "connector": (
            Connector(id="plug-a", pins=64, alike=("plug-b",)),
            Connector(id="plug-b", pins=64, alike=("plug-a",)),
        ),
        "bank": (Bank(id="bank", supply="light", plug="plug-b", fuse=keys.NONE),),
        "board": _boards(True),
        "return_": (Return(id="common", connector="plug-a"),),
        "inputs": (Inputs(id="node", count=64, supply="logic", plug="plug-b"),),
        "scan": Scan(period_ms=2, debounce_readings=3),
        "controller": Controller(serve_coil="kicker", start_needs=1),
    }


@attrs.frozen
class _Wires:
    """How the sensors of a machine are reached."""

    columns: int
    diodes: str
    wired: bool


def _sensors(
    draw: st.DrawFn, layout: dict[str, Any], wires: _Wires, full: bool
) -> tuple[Sensor, ...]:
    spots = [
        f"{place.id}.{number}"
        for place in layout["place"]
        if not place.open_area
        for number in range(1, place.capacity + 1)
    ]
    spots += [f"{place.id}.jam" for place in layout["place"] if place.jam]
    spots += [f"{route.id}.1" for route in layout["route"] if route.points]
    sensors = []
    for number, spot in enumerate(spots):
        if full or draw(_MOSTLY):
            sensors.append(_sensor(draw, number, {"at": (spot,)}, wires))
    for number, mechanism in enumerate(layout["mechanism"], len(spots)):
        cause: dict[str, Any] = {"follows": {mechanism.id: draw(st.sampled_from(mechanism.states))}}
        sensors.append(_sensor(draw, number, cause, wires))
    if full:
        # Switches that no ball rests on, up to the usual number.
        for number in range(len(sensors), draw(st.integers(40, 60))):
            sensors.append(_sensor(draw, number, {"at": keys.NONE}, wires))
    return tuple(sensors)


def _sensor(draw: st.DrawFn, number: int, cause: dict[str, Any], wires: _Wires) -> Sensor:
    stated: dict[str, Any] = {"id": f"s{number}", **cause, **_address(draw, number, wires)}
    watches = "follows" not in cause and cause["at"] != keys.NONE
    kind = draw(_KIND) if watches else KINDS[0]
    stated["kind"] = "opto" if kind == "bare opto" else kind
    if kind == "opto":
        stated["board"] = draw(_BOARD)
        stated["channel"] = number + 1
    elif kind == "bare opto":
        stated["board"] = keys.NONE
    else:
        stated["contact"] = draw(_CONTACT)
    if wires.wired:
        if stated["kind"] == "opto":
            stated["bank"] = "bank"
        if kind == "inductive":
            stated["supply"] = "light"
        elif kind != "opto" and draw(_FLAG):
            stated["common"] = "common"
        stated["connector"], stated["pin"] = "plug-a", number + 1
    if draw(_FLAG):
        stated["number"] = number + 11
    return Sensor(**stated)


def _address(draw: st.DrawFn, number: int, wires: _Wires) -> dict[str, Any]:
    form = draw(_WIRED_FORM if wires.wired else _FORM)
    if form != "matrix":
        return {"address": f"{form} {number + 1}"}
    column, row = number % wires.columns + 1, number // wires.columns + 1
    found = {"address": f"column {column} row {row}"}
    if wires.diodes == "some":
        found["diode"] = draw(_DIODE)
    return found


def _stated_twice(draw: st.DrawFn, profile: Profile) -> Profile:
    """Some sensors state their readings a second time, as a cross-check that holds."""
    sensors = []
    for sensor in profile.sensor:
        if draw(_FLAG):
            links = chain(profile, sensor)
            rest, worked = (contact(links, Value(one, one), 1) for one in (0, 1))
            sensor = attrs.evolve(
                sensor,
                rest_reads="closed" if rest.surely else "open",
                worked_reads="closed" if worked.surely else "open",
            )
        sensors.append(sensor)
    return attrs.evolve(profile, sensor=tuple(sensors))


def _described(draw: st.DrawFn, profile: Profile) -> Profile:
    """Some keys that change no reading are stated, within what their table of keys allows."""
    rows = [(None, None), *_rows(profile)]
    for table, index in draw(st.lists(st.sampled_from(rows), max_size=5)):
        row = profile if table is None else getattr(profile, table)[index]
        free = {
            name: key
            for name, key in keys_of(type(row)).items()
            if getattr(row, attribute_of(name)) is None
            and not key.reading
            and not key.refers
            and name not in _LEFT
            and key.shape in _VALUES
        }
        if not free:
            continue
        name = draw(st.sampled_from(sorted(free)))
        profile = _with(profile, table, index, name, draw(values(free[name])))
    return profile


def _partly_known(draw: st.DrawFn, profile: Profile) -> Profile:
    """Some facts are left out; some that are stated are only assumed."""
    stated = [
        (table, index, name)
        for table, index in _rows(profile)
        for name, key in keys_of(type(getattr(profile, table)[index])).items()
        if not key.required
        and (key.reading or name == "address")
        and getattr(getattr(profile, table)[index], attribute_of(name)) is not None
    ]
    for table, index, name in draw(st.lists(st.sampled_from(stated), max_size=5, unique=True)):
        profile = _with(profile, table, index, name, None)
    for table, index, name in draw(st.lists(st.sampled_from(stated), max_size=2, unique=True)):
        row = getattr(profile, table)[index]
        if getattr(row, attribute_of(name)) is not None:
            reasons = {**(row.assumed or {}), name: "like its neighbour"}
            profile = _with(profile, table, index, "assumed", reasons)
    return profile


def _rows(profile: Profile) -> list[tuple[str, int]]:
    return [
        (attribute_of(name), index)
        for name, key in keys_of(Profile).items()
        if key.shape == "tables"
        for index in range(len(getattr(profile, attribute_of(name))))
    ]


def _with(profile: Profile, table: str | None, index: int | None, name: str, value: Any) -> Profile:
    change: dict[str, Any] = {attribute_of(name): value}
    if table is None or index is None:
        return attrs.evolve(profile, **change)
    rows = list(getattr(profile, table))
    rows[index] = attrs.evolve(rows[index], **change)
    changed: dict[str, Any] = {table: tuple(rows)}
    return attrs.evolve(profile, **changed)


_WORDS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=12)
_VALUES: Final[dict[str, Any]] = {
    "text": lambda key: _WORDS.filter(lambda words: bool(words.strip())),
    "integer": lambda key: st.integers(int(key.low), int(key.high)),
    "number": lambda key: (
        st.integers(-int(-key.low // 1), int(key.high)) | st.floats(key.low, key.high)
    ),
    "boolean": lambda key: st.booleans(),
    "date": lambda key: st.dates(),
    "choice": lambda key: st.sampled_from(key.choices),
}


def values(key: Key) -> st.SearchStrategy[Any]:
    """Return what may stand behind a key that holds one plain value, words of its own included.

    Raises ValueError for a key that holds a list, pairs, tables or a name.
    """
    if key.shape not in _VALUES:
        raise ValueError(f"a key of shape {key.shape} holds no plain value")
    found: st.SearchStrategy[Any] = _VALUES[key.shape](key)
    return found | st.sampled_from(key.words) if key.words else found
