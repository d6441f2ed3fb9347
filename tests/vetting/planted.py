"""Kinds of fault to plant in a profile: each changes it in one place and says what must be found.

A kind takes the tables of a profile and a source of chance; it changes the tables
and returns the path whose line must be told and the code of the rule, or None where
the profile has nothing to plant it in.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from random import Random
from typing import Any

Path = tuple[str | int, ...]
Planted = tuple[Path, str] | None
Kind = Callable[[dict[str, Any], Random], Planted]


def furnished(document: dict[str, Any]) -> dict[str, Any]:
    """Return a profile with more to plant faults in: numbers, channels, a gate, a controller."""
    found = copy.deepcopy(document)
    channels: dict[str, int] = {}
    for number, sensor in enumerate(found["sensor"], 1):
        sensor["number"] = number
        if sensor.get("board", "none") != "none":
            channels[sensor["board"]] = sensor["channel"] = channels.get(sensor["board"], 0) + 1
    found["mechanism"] = [
        {"id": "gate", "kind": "gate", "states": ["up", "down"], "rest": "up", "coil": "lifter"}
    ]
    found["coil"] = [{"id": "lifter"}, {"id": "kicker"}]
    found["route"][0]["coil"] = "kicker"
    found["route"][2]["when"] = {"gate": "down"}
    found["controller"] = {
        "home_sensors": [one["id"] for one in found["sensor"] if one["at"][0].startswith("trough")],
        "start_needs": found["balls"]["installed"],
        "serve_coil": "kicker",
    }
    return found


def setting(table: str, key: str, value: Any, code: str) -> Kind:
    """Plant a value in a key of any row (of a single table: in it)."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        rows = document.get(table)
        if not rows:
            return None
        if isinstance(rows, dict):
            rows[key] = value
            return (table, key), code
        index = chance.randrange(len(rows))
        rows[index][key] = copy.deepcopy(value)
        return (table, index, key), code

    return plant


def leaving(table: str, key: str) -> Kind:
    """Leave a required key out; it is told at the head of its table."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        rows = document[table]
        if isinstance(rows, dict):
            del rows[key]
            return (table,), "FORM-04"
        index = chance.randrange(len(rows))
        del rows[index][key]
        return (table, index), "FORM-04"

    return plant


def renaming(table: str, key: str, name: str) -> Kind:
    """Misspell a key."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        rows = document[table]
        having = [index for index, row in enumerate(rows) if key in row]
        if not having:
            return None
        index = chance.choice(having)
        rows[index] = {name if one == key else one: value for one, value in rows[index].items()}
        return (table, index, name), "FORM-03"

    return plant


def copying(table: str) -> Kind:
    """Put a copy of a row at the end of its table."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        rows = document[table]
        rows.append(copy.deepcopy(chance.choice(rows)))
        return (table, len(rows) - 1, "id"), "NAME-01"

    return plant


def sharing(key: str, code: str) -> Kind:
    """Give a sensor the address, channel or number of an earlier one."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        sensors = document["sensor"]
        pairs = [
            (one, other)
            for other in range(len(sensors))
            for one in range(other)
            if key in sensors[one]
            and key in sensors[other]
            and sensors[one].get("board") == sensors[other].get("board")
            and sensors[one].get("diode") == sensors[other].get("diode")
            and sensors[one]["address"][0] == sensors[other]["address"][0]
        ]
        if not pairs:
            return None
        one, other = chance.choice(pairs)
        sensors[other][key] = sensors[one][key]
        return ("sensor", other, key), code

    return plant


def in_list(table: str, key: str, value: Any, code: str) -> Kind:
    """Put a wrong member into a list, before its last; the list is one line."""

    def plant(document: dict[str, Any], chance: Random) -> Planted:
        rows = document[table]
        rows = [rows] if isinstance(rows, dict) else rows
        having = [index for index, row in enumerate(rows) if isinstance(row.get(key), list)]
        if not having:
            return None
        index = chance.choice(having)
        rows[index][key].insert(0, value)
        single = isinstance(document[table], dict)
        return ((table, key) if single else (table, index, key)), code

    return plant


def _unknown_place(document: dict[str, Any], chance: Random) -> Planted:
    index = chance.randrange(len(document["phase"]))
    row = document["phase"][index]["placements"][0]
    row["trogh"] = row.pop("trough")
    return ("phase", index, "placements"), "NAME-02"


def _row(number: int, balls: dict[str, Any], code: str) -> Kind:
    def plant(document: dict[str, Any], chance: Random) -> Planted:
        if document["balls"]["installed"] < 2:
            return None
        document["phase"][number]["placements"] = [balls]
        return ("phase", number, "placements"), code

    return plant


def _too_many_in_a_row(document: dict[str, Any], chance: Random) -> Planted:
    document["phase"][0]["placements"] = [{"launcher": 2, "trough": "rest"}]
    return ("phase", 0, "placements"), "PHASE-01"


def _misspelt_row(document: dict[str, Any], chance: Random) -> Planted:
    """A place is misspelt where it is described; everything else calls for it by its name."""
    document["place"][0]["id"] = "trogh"
    return ("place", 0, "id"), "NAME-02"


def _misspelt_state(document: dict[str, Any], chance: Random) -> Planted:
    document["mechanism"][0]["states"] = ["up", "dwon"]
    document["phase"][1]["states"] = {"gate": "down"}
    return ("mechanism", 0, "states"), "NAME-04"


def _route_like_a_place(document: dict[str, Any], chance: Random) -> Planted:
    index = chance.choice([2, 3, 4])
    document["route"][index]["id"] = chance.choice(document["place"])["id"]
    return ("route", index, "id"), "NAME-01"


def _diode_denied(document: dict[str, Any], chance: Random) -> Planted:
    if document["matrix"]["diodes"] != "all":
        return None
    rows = [n for n, one in enumerate(document["sensor"]) if one["address"].startswith("column")]
    if not rows:
        return None
    index = chance.choice(rows)
    document["sensor"][index]["diode"] = "none"
    return ("sensor", index, "diode"), "GRID-01"


def _no_matrix(document: dict[str, Any], chance: Random) -> Planted:
    del document["matrix"]
    for index, sensor in enumerate(document["sensor"]):
        sensor.pop("diode", None)
        if sensor["address"].startswith("column"):
            return ("sensor", index, "address"), "LINE-02"
    return None


def _stranger_in_order(document: dict[str, Any], chance: Random) -> Planted:
    rows = [one["id"] for one in document["sensor"] if one["address"].startswith("column 1")]
    strangers = [one["id"] for one in document["sensor"] if one["address"].startswith("direct")]
    if not rows or not strangers:
        return None
    document["matrix"]["column"] = [{"number": 1, "order": [*rows, strangers[0]]}]
    return ("matrix", "column", 0, "order"), "LINE-06"


def _captive(document: dict[str, Any], chance: Random) -> Planted:
    document["place"].append(
        {"id": "bell", "kind": "captive", "seats": 1, "captive": 2, "rest_end": "exit end"}
    )
    return ("place", len(document["place"]) - 1, "captive"), "POS-01"


def _captive_counted(document: dict[str, Any], chance: Random) -> Planted:
    document["place"].append(
        {"id": "bell", "kind": "captive", "seats": 1, "captive": 1, "rest_end": "exit end"}
    )
    document["phase"][0]["placements"][0]["bell"] = 1
    return ("phase", 0, "placements"), "POS-02"


def _polarity(document: dict[str, Any], chance: Random) -> Planted:
    index = chance.randrange(len(document["sensor"]))
    sensor = document["sensor"][index]
    closes = {"dark-board": True, "lit-board": False, "none": False}.get(sensor.get("board", ""))
    worked_closed = sensor.get("contact") == "normally open" if closes is None else closes
    sensor["worked_reads"] = "open" if worked_closed else "closed"
    return ("sensor", index, "worked_reads"), "READ-01"


def _never_changes(document: dict[str, Any], chance: Random) -> Planted:
    index = chance.randrange(len(document["sensor"]))
    document["sensor"][index] |= {"rest_reads": "open", "worked_reads": "open"}
    return ("sensor", index, "worked_reads"), "READ-02"


def _lever_on_an_opto(document: dict[str, Any], chance: Random) -> Planted:
    optos = [n for n, one in enumerate(document["sensor"]) if one["kind"] == "opto"]
    if not optos:
        return None
    index = chance.choice(optos)
    document["sensor"][index]["lever_travel_mm"] = 3
    return ("sensor", index, "lever_travel_mm"), "READ-03"


def _channel_of_nothing(document: dict[str, Any], chance: Random) -> Planted:
    bare = [n for n, one in enumerate(document["sensor"]) if one.get("board") == "none"]
    if not bare:
        return None
    index = chance.choice(bare)
    document["sensor"][index]["channel"] = 60
    return ("sensor", index, "channel"), "LINE-12"


def _without_sensor(document: dict[str, Any], chance: Random) -> Planted:
    """The switch of the launcher is said to have nothing to do with balls."""
    for sensor in document["sensor"]:
        if sensor["at"] == ["launcher.1"] and sensor["kind"] == "leaf switch":
            sensor["at"] = "none"
            return ("place", 2, "seats"), "POS-03"
    return None


def _without_route(name: str, path: Path, code: str) -> Kind:
    def plant(document: dict[str, Any], chance: Random) -> Planted:
        document["route"] = [one for one in document["route"] if one["id"] != name]
        return path, code

    return plant


def _swapped(document: dict[str, Any], chance: Random) -> Planted:
    """Two neighbouring sensors of the trough are bound to each other's positions."""
    at = [n for n, one in enumerate(document["sensor"]) if one["at"][0].startswith("trough")]
    if len(at) < 4:
        return None
    one, other = at[1], at[2]
    sensors = document["sensor"]
    sensors[one]["at"], sensors[other]["at"] = sensors[other]["at"], sensors[one]["at"]
    return ("sensor", other, "at"), "POS-07"


def _same_phase(document: dict[str, Any], chance: Random) -> Planted:
    document["phase"].append(copy.deepcopy(document["phase"][0]) | {"id": "again"})
    return ("phase", len(document["phase"]) - 1, "placements"), "PHASE-06"


def _same_row(document: dict[str, Any], chance: Random) -> Planted:
    index = chance.randrange(len(document["phase"]))
    rows = document["phase"][index]["placements"]
    rows.append(copy.deepcopy(rows[0]))
    return ("phase", index, "placements"), "PHASE-05"


def _plugs(document: dict[str, Any], chance: Random) -> Planted:
    document["connector"] = [{"id": "p1", "pins": 4}]
    index = chance.randrange(len(document["sensor"]))
    document["sensor"][index] |= {"connector": "p1", "pin": 5}
    return ("sensor", index, "pin"), "LINE-09"


def _silence_of_nothing(document: dict[str, Any], chance: Random) -> Planted:
    document["silence"] = [{"rule": "ball-falls-through", "reason": "it does not"}]
    return ("silence", 0, "rule"), "QUIET-02"


def _silence_without_reason(document: dict[str, Any], chance: Random) -> Planted:
    document["silence"] = [{"rule": "POS-03"}]
    return ("silence", 0), "FORM-04"


def _serve_coil(document: dict[str, Any], chance: Random) -> Planted:
    document["controller"]["serve_coil"] = "lifter"
    for route in document["route"]:
        route.setdefault("coil", "kicker" if route["by"] == "coil" else "none")
    return ("controller", "serve_coil"), "COUNT-03"


KINDS: dict[str, Kind] = {
    "an unknown key": setting("place", "colour", "red", "FORM-03"),
    "a misspelt required key": renaming("place", "seats", "seets"),
    "a misspelt key": renaming("place", "position_1", "postion_1"),
    "a row without its id": leaving("place", "id"),
    "a place without a kind": leaving("place", "kind"),
    "a place without positions": leaving("place", "seats"),
    "a route without an end": leaving("route", "to"),
    "a sensor without its id": leaving("sensor", "id"),
    "a matrix without rows": leaving("matrix", "rows"),
    "no number of balls": leaving("balls", "installed"),
    "a number as text": setting("place", "seats", "three", "FORM-05"),
    "a number below its bound": setting("place", "seats", 0, "FORM-05"),
    "a number above its bound": setting("balls", "installed", 21, "FORM-05"),
    "a fraction of a ball": setting("balls", "installed", 2.5, "FORM-05"),
    "no known choice": setting("place", "kind", "trogh", "FORM-05"),
    "an id with capitals": setting("sensor", "id", "Sensor 1", "FORM-05"),
    "a boolean as text": setting("sensor", "counted", "false", "FORM-05"),
    "a date as text": setting("place", "dated", "2025-01-31", "FORM-05"),
    "a list as text": setting("sensor", "at", "trough.1", "FORM-05"),
    "a wrong member of a list": in_list("sensor", "at", 5, "FORM-05"),
    "a wrong state": in_list("mechanism", "states", "UP", "FORM-05"),
    "an unknown place": setting("route", "from", "attic", "NAME-02"),
    "an unknown place in a list": in_list("route", "to", "attic", "NAME-02"),
    "an unknown place in a row": _unknown_place,
    "an unknown store": setting("balls", "store", "attic", "NAME-02"),
    "an unknown sensor in a list": in_list("controller", "home_sensors", "s99", "NAME-02"),
    "a misspelt place": _misspelt_row,
    "an unknown position": in_list("sensor", "at", "lock.9", "NAME-03"),
    "an unknown extra": in_list("balls", "extra", "attic", "NAME-02"),
    "an unknown state": setting("mechanism", "rest", "ajar", "NAME-04"),
    "a misspelt state": _misspelt_state,
    "an unknown kind": setting("sensor", "kind", "magic eye", "NAME-05"),
    "two causes": setting("sensor", "follows", {"gate": "up"}, "NAME-06"),
    "a sensor twice": copying("sensor"),
    "a place twice": copying("place"),
    "a route like a place": _route_like_a_place,
    "an address twice": sharing("address", "LINE-03"),
    "a channel twice": sharing("channel", "LINE-04"),
    "a number twice": sharing("number", "LINE-05"),
    "an address beyond": setting("sensor", "address", "column 9 row 1", "LINE-02"),
    "an address of no board": setting("sensor", "address", "node-z 1", "LINE-02"),
    "no address at all": setting("sensor", "address", "somewhere", "LINE-01"),
    "no matrix": _no_matrix,
    "a stranger on a line": _stranger_in_order,
    "a diode denied": _diode_denied,
    "a row that loses balls": _row(0, {"launcher": 1}, "PHASE-01"),
    "a range backwards": _row(1, {"trough": "rest", "launcher": "1-0"}, "PHASE-01"),
    "a row too full": _too_many_in_a_row,
    "too many captive balls": _captive,
    "a captive ball counted": _captive_counted,
    "a silence without a reason": _silence_without_reason,
    "the wrong format": lambda document, chance: (
        document.update(format=2) or (("format",), "FORM-05")
    ),
    "the wrong polarity": _polarity,
    "a reading that never changes": _never_changes,
    "a key of another kind": _lever_on_an_opto,
    "a channel of nothing": _channel_of_nothing,
    "a position without sensor": _without_sensor,
    "no way to the lock": _without_route("lock-shot", ("place", 1, "id"), "WAY-01"),
    "no way out of the lock": _without_route("lock-eject", ("place", 1, "id"), "WAY-02"),
    "no way home": _without_route("drain", ("place", 1, "id"), "WAY-03"),
    "two positions exchanged": _swapped,
    "the same phase twice": _same_phase,
    "the same row twice": _same_row,
    "a pin beyond its plug": _plugs,
    "a silence of nothing": _silence_of_nothing,
    "a start that needs too much": setting("controller", "start_needs", 20, "COUNT-01"),
    "a coil that serves nothing": _serve_coil,
    "a coil that is a short": setting("coil", "ohms", 0.4, "COIL-05"),
    "a coil that is broken": setting("coil", "ohms", 900, "COIL-05"),
    "a store that is empty": setting("balls", "store", "launcher", "PHASE-08"),
}
