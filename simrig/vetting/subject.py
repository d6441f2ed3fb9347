"""A profile under vetting, with what several rules ask of it, worked out once."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from functools import cached_property
from typing import Any

from simrig.profile.components import Sensor
from simrig.profile.keys import attribute_of
from simrig.profile.layout import Phase, Place
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import sense
from simrig.world.balls import Placement
from simrig.world.phases import phase_placements, row_counts
from simrig.world.reachable import Reachable, TooManyError, reachable
from simrig.world.worlds import Value, Worlds, worlds

MOST_WORLDS = 20_000
"""Rules that look at every phase with every number of balls look no further than this."""


class Subject:
    """The profile, its table of links, and its phases as worlds."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile

    @cached_property
    def links(self) -> Links:
        """The table of links of the sound machine."""
        return links(self.profile)

    def index(self, table: str, name: str) -> int:
        """Return the number of a row in its table."""
        rows = getattr(self.profile, attribute_of(table))
        return next(number for number, row in enumerate(rows) if row.id == name)

    def technology(self, sensor: Sensor) -> str:
        """Return light, contact or proximity; nothing where the kind is not known."""
        return self.profile.technology(sensor) or ""

    @cached_property
    def causes_known(self) -> bool:
        """Whether it is stated for every sensor what works it."""
        return bool(self.profile.sensor) and not any(
            sensor.at is None and not sensor.follows for sensor in self.profile.sensor
        )

    @cached_property
    def first_phase(self) -> Phase | None:
        """The phase called idle, else the first."""
        idle: Phase | None = self.profile.row("phase", "idle")
        return idle or (self.profile.phase[0] if self.profile.phase else None)

    @cached_property
    def home_counts(self) -> tuple[dict[str, int], ...]:
        """How the balls lie in the first phase."""
        return () if self.first_phase is None else self.counts(self.first_phase)

    @cached_property
    def home(self) -> frozenset[str]:
        """The places that hold balls in the first phase."""
        return frozenset(name for counts in self.home_counts for name in counts)

    def counts(self, phase: Phase) -> tuple[dict[str, int], ...]:
        """Return every number of balls at each place that a phase allows, all balls there."""
        return tuple(
            dict(counts) for row in phase.placements for counts in row_counts(self.profile, row)
        )

    @cached_property
    def ways(self) -> dict[str, frozenset[str]]:
        """The places to which routes lead from each place, whatever mechanisms they need."""
        found: dict[str, set[str]] = {}
        for route in self.profile.route:
            found.setdefault(route.from_, set()).update(route.to)
        return {name: frozenset(targets) for name, targets in found.items()}

    def beyond(self, starts: frozenset[str]) -> frozenset[str]:
        """Return the places that some run of routes leads to, the starts among them."""
        met, todo = set(starts), list(starts)
        while todo:
            for name in self.ways.get(todo.pop(), ()):
                if name not in met:
                    met.add(name)
                    todo.append(name)
        return frozenset(met)

    @cached_property
    def unreached(self) -> tuple[Place, ...]:
        """Places that no ball gets to from where the balls lie in the first phase."""
        if not self.profile.route or not self.home:
            return ()
        met = self.beyond(self.home)
        return tuple(
            place for place in self.profile.place if not place.captive and place.id not in met
        )

    @cached_property
    def reach(self) -> Reachable | None:
        """Every settled placement that moves lead to; None where that cannot be told."""
        if not self.profile.route or not self.home_counts:
            return None
        try:
            return reachable(self.profile, self.home_counts)
        except TooManyError:
            return None

    def states(self, phase: Phase) -> dict[str, tuple[str, ...]]:
        """Return the states in which each mechanism may stand in a phase."""
        found: dict[str, tuple[str, ...]] = {}
        for mechanism in self.profile.mechanism:
            stated = (phase.states or {}).get(mechanism.id, mechanism.rest)
            if stated is None:
                found[mechanism.id] = mechanism.states
            else:
                found[mechanism.id] = (stated,) if isinstance(stated, str) else tuple(stated)
        return found

    @cached_property
    def phases(self) -> tuple[tuple[Phase, Worlds, Mapping[str, Value], Frame], ...]:
        """Each phase with all balls: its worlds, the contacts, the readings."""
        found = []
        for phase in self.profile.phase:
            every = self._worlds(phase, self.profile.balls.installed)
            if every:
                many = worlds(self.profile, every)
                contacts = sense(self.profile, self.links.chains, many)
                frame = scan(self.profile, self.links, contacts, many.everything)
                found.append((phase, many, contacts, frame))
        return tuple(found)

    @cached_property
    def bench(self) -> tuple[Worlds, Frame] | None:
        """Every phase with every number of balls from none to all: what a bench can bring about."""
        every: dict[Placement, None] = {}
        for phase in self.profile.phase:
            for balls in range(self.profile.balls.installed + 1):
                every.update(dict.fromkeys(self._worlds(phase, balls)))
                if len(every) > MOST_WORLDS:
                    return None
        if not every:
            return None
        many = worlds(self.profile, every)
        contacts = sense(self.profile, self.links.chains, many)
        return many, scan(self.profile, self.links, contacts, many.everything)

    def _worlds(self, phase: Phase, balls: int) -> list[Placement]:
        return list(itertools.islice(phase_placements(self.profile, phase, balls), MOST_WORLDS + 1))

    def resting(self, sensor: Sensor) -> tuple[str, ...]:
        """Return the positions at which a ball at rest works a sensor."""
        spots = self.profile.spots
        return tuple(spot for spot in sensor.spots if spot in spots and spots[spot].resting)


def where(profile: Profile, path: tuple[str | int, ...]) -> str:
    """Return a path of a profile in words: rows by their id where they have one."""
    words: list[str] = []
    value: Any = profile
    for step in path:
        try:
            value = (
                getattr(value, attribute_of(step), None)
                if isinstance(step, str) and not isinstance(value, Mapping)
                else value[step]
            )
        except (KeyError, IndexError, TypeError):
            value = None
        if isinstance(step, int) and words:
            name = getattr(value, "id", None)
            words[-1] += f" {name}" if isinstance(name, str) else f" {step + 1}"
        else:
            words.append(str(step))
    return ", ".join(words) or "profile"
