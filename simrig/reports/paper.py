"""What stands on paper: the facts of the machine page, the sheets, the feeding strip."""

from __future__ import annotations

from typing import Any, Final

import attrs

from simrig.expectation.reasons import spots_words
from simrig.profile.components import Sensor
from simrig.profile.keys import NONE
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.reports import expected_tables
from simrig.reports.expected_tables import ExpectedTable
from simrig.reports.feeding import Fed, feeding, feeding_place
from simrig.reports.plan import strips
from simrig.reports.switch_table import Group, by_place, with_a_ball
from simrig.scan.controller import ball_reading
from simrig.scan.scanner import links
from simrig.world.phases import Conditions

SIZES: Final = {"A4": "A4", "Letter": "Letter"}
INTERLOCK: Final = {
    True: ("YES", "An interlock is fitted. It is never isolation: take the coils to be live "
           "until they are proven dead. Try it both ways at the end."),
    False: ("NO", "There is no interlock: the coils stay live with the door open."),
    None: ("NOT KNOWN", "Take the coils to be live with the door open."),
}  # fmt: skip


@attrs.frozen(kw_only=True)
class Polarity:
    """Which reading means a ball, and the places where it does."""

    reading: str
    where: tuple[str, ...]
    everywhere: bool


@attrs.frozen(kw_only=True)
class Paper:
    """Everything that the printed pages of one machine say."""

    profile: Profile
    polarities: tuple[Polarity, ...]
    numbering: tuple[str, ...]
    drawings: tuple[str, ...]
    groups: tuple[Group, ...]
    interlock: tuple[str, str]
    tables: tuple[ExpectedTable, ...]
    blank: tuple[ExpectedTable, int] | None
    fed: tuple[Fed, ...]
    feeding_place: Place | None

    def with_a_ball(self, sensor: Sensor) -> str:
        """The reading of a sensor with a ball at it, in words."""
        return with_a_ball(self.profile, sensor)

    def where(self, sensor: Sensor) -> str:
        """Where a ball works a sensor, in words."""
        return spots_words(self.profile, sensor) or sensor.title

    def address(self, sensor: Sensor) -> str:
        """The address of a sensor in words."""
        return str(self.profile.address_of.get(sensor.id, "not known"))

    def plug(self, sensor: Sensor) -> str:
        """The plug and pin of a sensor's wire."""
        if not sensor.connector or sensor.connector == NONE:
            return ""
        return sensor.connector + (f" pin {sensor.pin}" if sensor.pin else "")

    def pieces(self, table: ExpectedTable) -> list[tuple[tuple[int, ...], slice]]:
        """The columns of a table in pieces that fit the width of a page."""
        return expected_tables.in_pieces(table)

    def cell(self, one: Any) -> tuple[str, str]:
        """What is written in a cell: the reading, and whether a ball is there."""
        return expected_tables.cell_words(one)

    def members(self, key: str, name: str) -> str:
        """The sensors that share a bank, a board or a return, by name."""
        found = [s.title for s in self.profile.sensor if getattr(s, key) == name]
        return ", ".join(found) or "none named"

    def behind(self, fuse: str) -> str:
        """What hangs on a fuse: supplies, emitter banks, coil banks."""
        rows = [
            row.name or row.id
            for table in (self.profile.supply, self.profile.bank, self.profile.coil_bank)
            for row in table
            if row.fuse == fuse
        ]
        return ", ".join(rows) or "not known"


def paper(profile: Profile, conditions: Conditions | None = None) -> Paper:
    """Gather what is printed; ``conditions`` (phase, balls) are those of the comparison page.

    Raises ValueError, in words, where these conditions cannot be.
    """
    table = links(profile)
    tables = [expected_tables.expected_table(profile, phase, table=table)
              for phase in profile.phase]  # fmt: skip
    known = tuple(one for one in tables if one is not None)
    fitted = None if profile.interlock is None else profile.interlock.fitted
    return Paper(
        profile=profile,
        polarities=_polarities(profile),
        numbering=tuple(_numbering(profile)),
        drawings=tuple(strips(profile, width=372)),
        groups=tuple(by_place(profile)),
        interlock=INTERLOCK[fitted],
        tables=known,
        blank=_blank(profile, known, conditions or Conditions()),
        fed=feeding(profile, table=table),
        feeding_place=feeding_place(profile),
    )


def _polarities(profile: Profile) -> tuple[Polarity, ...]:
    ways: dict[str, list[str]] = {}
    for sensor in profile.ball_sensors():
        ways.setdefault(ball_reading(profile, sensor.id), []).append(sensor.title)
    order = sorted(ways, key=lambda word: -len(ways[word]))
    return tuple(
        Polarity(reading=word, where=tuple(ways[word]), everywhere=len(ways) == 1) for word in order
    )


def _numbering(profile: Profile) -> list[str]:
    found = []
    for place in profile.place:
        if place.open_area or place.capacity == 1:
            continue
        if place.position_1 is None:
            found.append(f"{place.title}: which end position 1 is at is not known")
            continue
        last = place.capacity
        other = "far end" if place.position_1 == "exit end" else "exit end"
        found.append(
            f"{place.title}: position 1 is at the {place.position_1}, "
            f"position {last} at the {other}"
        )
    return found


def _blank(
    profile: Profile, tables: tuple[ExpectedTable, ...], conditions: Conditions
) -> tuple[ExpectedTable, int] | None:
    from simrig.world.phases import phase_of

    if not tables:
        return None
    phase = phase_of(profile, conditions.phase).id
    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    for one in tables:
        if one.phase.id == phase and balls in one.counts:
            return one, one.counts.index(balls)
    raise ValueError(f"{balls} balls cannot be in the machine in the phase {phase}")
