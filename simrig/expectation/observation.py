"""What a person saw at the sensors, and what they left unsaid."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping

import attrs

from simrig.profile import addresses
from simrig.profile.machine import Profile
from simrig.signals import CLOSED, FLICKERS, OPEN, UNKNOWN, opposite

_RANGE = re.compile(r"(\d+)\s*-\s*(\d+)\Z")


@attrs.frozen(kw_only=True)
class Observation:
    """The reading seen at each sensor: closed, open, flickers, or unknown (not looked at).

    ``taken_for_open`` and ``taken_for_closed`` count the sensors that nobody
    named, and that the rule for unnamed ones filled in.
    """

    readings: Mapping[str, str]
    taken_for_open: int = 0
    taken_for_closed: int = 0

    def looked_at(self) -> dict[str, str]:
        """Return the readings that say something."""
        return {name: seen for name, seen in self.readings.items() if seen != UNKNOWN}

    def inverted(self, sensors: Iterable[str] | None = None) -> Observation:
        """Return the same sheet with symbols taken the other way round, all or some sensors'."""
        chosen = None if sensors is None else frozenset(sensors)
        return attrs.evolve(
            self,
            readings={
                name: opposite(seen) if chosen is None or name in chosen else seen
                for name, seen in self.readings.items()
            },
        )

    def exchanged(self, pairs: Mapping[str, str]) -> Observation:
        """Return the sheet with the readings of sensors exchanged; unnamed ones stay."""
        return attrs.evolve(
            self,
            readings={
                name: self.readings.get(pairs.get(name, name), UNKNOWN) for name in self.readings
            },
        )


def observe(
    profile: Profile,
    *,
    closed: Iterable[str] = (),
    open: Iterable[str] = (),  # noqa: A002
    unknown: Iterable[str] = (),
    flicker: Iterable[str] = (),
    closed_named: bool | None = None,
    open_named: bool | None = None,
    others_rest: bool = False,
) -> Observation:
    """Make an observation from lists of sensor ids.

    Named closed alone, all other ball sensors are open; named open alone, all
    others closed; both, the rest was not looked at.  ``closed_named`` and
    ``open_named`` say whether a list was given at all, for an empty one that
    was.  ``others_rest`` takes every other switch to read as at rest.  Raises
    ValueError naming a sensor that is in two lists.
    """
    lists = {
        CLOSED: list(closed),
        OPEN: list(open),
        UNKNOWN: list(unknown),
        FLICKERS: list(flicker),
    }
    said: dict[str, str] = {}
    for reading, names in lists.items():
        for name in names:
            if said.setdefault(name, reading) != reading:
                raise ValueError(f"{name} is named {said[name]} and {reading}; it can be one")
    closed_given = bool(lists[CLOSED]) if closed_named is None else closed_named
    open_given = bool(lists[OPEN]) if open_named is None else open_named
    rest = UNKNOWN
    if closed_given and not open_given:
        rest = OPEN
    elif open_given and not closed_given:
        rest = CLOSED
    filled = 0
    for sensor in profile.ball_sensors():
        if sensor.id not in said:
            said[sensor.id] = rest
            filled += 1
    if others_rest:
        said.update(_at_rest(profile, said))
    order = [sensor.id for sensor in profile.sensor if sensor.id in said]
    return Observation(
        readings={name: said[name] for name in order},
        taken_for_open=filled if rest == OPEN else 0,
        taken_for_closed=filled if rest == CLOSED else 0,
    )


def _at_rest(profile: Profile, said: Mapping[str, str]) -> dict[str, str]:
    found = {}
    for sensor in profile.sensor:
        if sensor.id in said:
            continue
        reading = sensor.rest_reads
        if reading is None and sensor.contact is not None:
            reading = OPEN if sensor.contact == "normally open" else CLOSED
        if reading is not None and not sensor.follows:
            found[sensor.id] = reading
    return found


def resolve(profile: Profile, text: str) -> tuple[str, ...]:
    """Return the ids of the sensors that a word names.

    An id, an address, the manual's number, or a range of numbers such as
    ``31-35``.  Raises ValueError with the nearest id for anything else.
    """
    word = text.strip()
    lowered = word.lower()
    if profile.row("sensor", lowered) is not None:
        return (lowered,)
    numbers = {sensor.number: sensor.id for sensor in profile.sensor if sensor.number is not None}
    if lowered.isdigit() and len(lowered) < 6 and int(lowered) in numbers:
        return (numbers[int(lowered)],)
    if (match := _RANGE.match(lowered)) and max(len(match[1]), len(match[2])) < 6:
        low, high = int(match[1]), int(match[2])
        named = tuple(numbers[number] for number in range(low, high + 1) if number in numbers)
        if low > high:
            raise ValueError(f'"{word}" runs backwards; write {high}-{low}')
        if len(named) == high - low + 1:
            return named
        missing = [str(number) for number in range(low, high + 1) if number not in numbers][:3]
        told = ", ".join(missing)
        raise ValueError(f'"{word}": no sensor has number {told}; simrig show lists them')
    if (address := addresses.parse(lowered)) is not None:
        for name, known in profile.address_of.items():
            if known == address:
                return (name,)
        raise ValueError(f"no sensor is at {address}; simrig show lists the addresses")
    names = [sensor.id for sensor in profile.sensor]
    near = difflib.get_close_matches(lowered.replace(" ", "-").replace("_", "-"), names, 1)
    hint = f'; did you mean "{near[0]}"?' if near else "; simrig show lists them"
    raise ValueError(f'no sensor is called "{word}"{hint}')
