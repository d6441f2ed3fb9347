"""What the names on a switch list suggest.  A proposal is shown and never taken by itself."""

from __future__ import annotations

import re
from collections.abc import Iterator

from simrig.interchange.beginning.naming import short
from simrig.interchange.switch_cells import kind
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile

_NOT_AT_REST = re.compile(
    r"\b(jam|stack\w*|above|over|entry|enter|exit|gate|target|made|coil|motor|door|tilt|button"
    r"|lane change|pass\w*|through|made|up|down)\b",
    re.IGNORECASE,
)
_PLACES = (
    (re.compile(r"\b(launcher|auto ?plunger)\b", re.IGNORECASE), "launcher"),
    (re.compile(r"\b(shooter|plunger|shooting) ?(lane|groove)?\b", re.IGNORECASE), "shooter lane"),
    (re.compile(r"\boutholes?\b", re.IGNORECASE), "outhole"),
    (re.compile(r"\bmagazine\b", re.IGNORECASE), "magazine"),
    (re.compile(r"\block\b", re.IGNORECASE), "lock"),
    (re.compile(r"\b(saucer|(eject|kick-?out) hole|hole|held|ball in the \w+)\b", re.IGNORECASE), "hold"),
)  # fmt: skip
_STACKED = re.compile(r"\b(jam|stacked|stack)\b", re.IGNORECASE)
_LAST_NUMBER = re.compile(r"(\d{1,2})(?!.*\d)")


def trough(profile: Profile) -> str | None:
    """Propose the switches of the trough, in the order of their numbers; an outhole failing that."""
    for word in (r"\btrough\b", r"\bouthole\b"):
        found = [
            sensor
            for sensor in profile.sensor
            if re.search(word, sensor.title, re.IGNORECASE)
            and not _NOT_AT_REST.search(sensor.title)
        ]
        if found:
            found.sort(key=_number)
            words = short(profile, [sensor.id for sensor in found])
            above = [one for one in profile.sensor if _STACKED.search(one.title)]
            if len(above) == 1 and not above[0].spots:
                words += f"; jam {short(profile, [above[0].id])}"
            return words
    return None


def places(profile: Profile) -> str | None:
    """Propose the other places at which a ball rests, each with its switches."""
    groups: dict[str, list[Sensor]] = {}
    for sensor in profile.sensor:
        if sensor.spots or _NOT_AT_REST.search(sensor.title) or not _place_kind(sensor.title):
            continue
        if re.search(r"\bcaptive\b", sensor.title, re.IGNORECASE):
            continue
        groups.setdefault(_stem(sensor.title), []).append(sensor)
    words = []
    for name, sensors in groups.items():
        sensors.sort(key=_number)
        words.append(f"{name}: {short(profile, [sensor.id for sensor in sensors])}")
    return "; ".join(words) or None


def captive(profile: Profile) -> str | None:
    """Propose a captive ball for each switch that is named after one."""
    found = [
        f"1 at {short(profile, [sensor.id])}"
        for sensor in profile.sensor
        if re.search(r"\bcaptive\b", sensor.title, re.IGNORECASE)
    ]
    return found[0] if len(found) == 1 else None


def kinds(profile: Profile) -> str | None:
    """Propose the beams, and the inductive sensors, that are named so."""
    found: dict[str, list[str]] = {"opto": [], "inductive": []}
    for sensor in profile.sensor:
        if sensor.kind is None and (named := kind(sensor.title)) in found:
            found[named].append(sensor.id)
    words = [short(profile, found["opto"])] if found["opto"] else []
    if found["inductive"]:
        words += [] if words else ["none"]
        words.append(f"inductive {short(profile, found['inductive'])}")
    return "; ".join(words) or None


def ready(profile: Profile) -> str | None:
    """Propose the launcher, where there is one."""
    found = [place.id for place in profile.place if place.kind in ("launcher", "shooter lane")]
    return f"{found[0]} 1" if found else None


def place_kind(words: str) -> str:
    """Return the kind of place that a name suggests; a hold where it suggests none."""
    return _place_kind(words) or "hold"


def _place_kind(words: str) -> str | None:
    return next((found for pattern, found in _PLACES if pattern.search(words)), None)


def _stem(title: str) -> str:
    words = re.sub(r"\b(position|pos\.?|switch|opto|beam)\b", " ", title, flags=re.IGNORECASE)
    words = re.sub(r"^\s*balls? in (the )?", "", words, flags=re.IGNORECASE)
    words = re.sub(r"[\W\d_]+", " ", words)
    return " ".join(words.lower().split())


def _number(sensor: Sensor) -> tuple[int, int]:
    found = _LAST_NUMBER.search(sensor.title)
    return (int(found[1]) if found else 99, sensor.number or 0)


def numbers(profile: Profile, ids: tuple[str, ...]) -> Iterator[int | None]:
    """Yield the number at the end of each switch's name."""
    for name in ids:
        found = _LAST_NUMBER.search(profile.row("sensor", name).title)
        yield int(found[1]) if found else None
