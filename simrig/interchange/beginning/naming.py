"""Switches as people name them in an answer, and as an answer is proposed to them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from simrig.expectation.observation import resolve
from simrig.profile.components import Sensor
from simrig.profile.machine import Profile

_RANGE = re.compile(r"(\d{1,4})\s*(?:-|–|to|\.\.)\s*(\d{1,4})\Z")
_ROWS = re.compile(
    r"(?:column|col|c)\.?\s*(\d{1,2})[\s,/]*(?:rows?|r)\.?\s*(\d{1,2})\s*(?:-|–|to)\s*"
    r"(?:(?:c\s*\d+\s*)?r\s*)?(\d{1,2})\Z"
)
_NAMES = re.compile(r"(.*?\D)\s*(\d{1,2})\s*(?:-|–|to)\s*(?:\1\s*)?(\d{1,2})\Z")
_ADDRESSES = re.compile(r"(?:column|col|c)\.?\s*\d{1,2}[\s/]*(?:row|r)\.?\s*\d{1,2}")


def switches(profile: Profile, text: str) -> tuple[str, ...]:
    """Return the ids of the switches that an answer names, in its order.

    Numbers, ranges either way (31-35, 35-31), addresses, names, with commas or
    spaces between.  Raises ValueError for a word that names none, or one named twice.
    """
    found: list[str] = []
    for chunk in re.split(r",|\band\b", text.lower()):
        if words := " ".join(chunk.split()):
            found += _named(profile, words)
    twice = next((name for name in found if found.count(name) > 1), None)
    if twice is not None:
        raise ValueError(f"{twice} is named twice; name each switch once")
    return tuple(found)


def _named(profile: Profile, words: str) -> list[str]:
    if match := _RANGE.match(words):
        return [one for word in _run(match[1], match[2]) for one in resolve(profile, word)]
    if match := _ROWS.match(words):
        places = [f"column {match[1]} row {row}" for row in _run(match[2], match[3])]
        return [one for place in places for one in resolve(profile, place)]
    if (known := _by_name(profile, words)) is not None:
        return [known]
    if match := _NAMES.match(words):
        named = [_by_name(profile, f"{match[1].strip()} {n}") for n in _run(match[2], match[3])]
        if all(named):
            return [name for name in named if name]
    try:
        return list(resolve(profile, words))
    except ValueError:
        parts = _ADDRESSES.findall(words)
        if not parts or _ADDRESSES.sub("", words).strip():
            parts = words.split()
        if len(parts) < 2:
            raise
        return [one for part in parts for one in _named(profile, part)]


def _by_name(profile: Profile, words: str) -> str | None:
    plain = words.replace("-", " ")
    for sensor in profile.sensor:
        if plain in (sensor.title.lower(), sensor.id.replace("-", " ")):
            return sensor.id
    return None


def _run(first: str, last: str) -> Iterator[str]:
    low, high = int(first), int(last)
    step = 1 if high >= low else -1
    return (str(number) for number in range(low, high + step, step))


def short(profile: Profile, ids: Sequence[str]) -> str:
    """Return switches in the shortest words that :func:`switches` takes: runs where it can."""
    sensors = [profile.row("sensor", name) for name in ids]
    words: list[str] = []
    start = 0
    for index, sensor in enumerate(sensors):
        if index + 1 < len(sensors) and _follows(profile, sensor, sensors[index + 1]):
            continue
        if index - start > 1:
            words.append(f"{_one(profile, sensors[start])}-{_last(profile, sensor)}")
        else:
            words += [_one(profile, one) for one in sensors[start : index + 1]]
        start = index + 1
    return ", ".join(words)


def _follows(profile: Profile, one: Sensor, other: Sensor) -> bool:
    if one.number is not None and other.number is not None:
        return other.number == one.number + 1
    here, there = profile.address_of.get(one.id), profile.address_of.get(other.id)
    if one.number is not None or here is None or there is None or here.row is None:
        return False
    return here.column == there.column and there.row == here.row + 1


def _one(profile: Profile, sensor: Sensor) -> str:
    if sensor.number is not None:
        return str(sensor.number)
    address = profile.address_of.get(sensor.id)
    if address is not None and address.in_matrix:
        return f"c{address.column} r{address.row}"
    return sensor.id


def _last(profile: Profile, sensor: Sensor) -> str:
    return str(profile.address_of[sensor.id].row if sensor.number is None else sensor.number)
