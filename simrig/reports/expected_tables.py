"""Expected readings by phase and ball count, as rows for paper and for the phone."""

from __future__ import annotations

from collections.abc import Sequence

import attrs

from simrig.expectation.prediction import Expected, Prediction, expect
from simrig.expectation.reasons import spots_words
from simrig.profile.components import Sensor
from simrig.profile.layout import Phase
from simrig.profile.machine import Profile
from simrig.reports.marks import BALL_WORDS, READING_WORDS
from simrig.scan.scanner import Links, links
from simrig.world.phases import Conditions


@attrs.frozen(kw_only=True)
class Row:
    """One sensor and what it must read under each count."""

    sensor: Sensor
    where: str
    address: str
    cells: tuple[Expected, ...]

    @property
    def passing(self) -> bool:
        """Whether it reads the same, without a ball, under every count."""
        return all(one.ball is False and one.reading == self.cells[0].reading for one in self.cells)


@attrs.frozen(kw_only=True)
class ExpectedTable:
    """The readings of one phase: a column for each number of balls in the machine."""

    phase: Phase
    counts: tuple[int, ...]
    rows: tuple[Row, ...]
    passing: tuple[tuple[str, tuple[str, ...]], ...]
    """Sensors that no ball is at under any count: the reading, and their names."""


def predictions(
    profile: Profile, phase: str, *, table: Links | None = None, most: int | None = None
) -> dict[int, Prediction]:
    """Return the prediction of a phase for every number of balls with which it can be.

    ``most`` balls first, all that are installed when left out.
    """
    table = table or links(profile)
    found = {}
    for balls in range(profile.balls.installed if most is None else most, -1, -1):
        try:
            found[balls] = expect(profile, Conditions(phase=phase, balls=balls), table=table)
        except ValueError:
            continue
    return found


def expected_table(
    profile: Profile, phase: Phase, *, table: Links | None = None
) -> ExpectedTable | None:
    """Return the table of one phase; None where no number of balls makes it legal."""
    found = predictions(profile, phase.id, table=table)
    if not found:
        return None
    rows = []
    for index, first in enumerate(next(iter(found.values())).readings):
        sensor = profile.row("sensor", first.sensor)
        if not sensor.spots:
            continue
        rows.append(
            Row(
                sensor=sensor,
                where=spots_words(profile, sensor),
                address=first.address,
                cells=tuple(one.readings[index] for one in found.values()),
            )
        )
    still: dict[str, list[str]] = {}
    kept = []
    for row in rows:
        resting = any(profile.spots[spot].resting for spot in row.sensor.spots)
        if row.passing and not resting:
            still.setdefault(row.cells[0].reading, []).append(row.sensor.title)
        else:
            kept.append(row)
    return ExpectedTable(
        phase=phase,
        counts=tuple(found),
        rows=tuple(kept),
        passing=tuple((reading, tuple(names)) for reading, names in still.items()),
    )


def in_pieces(table: ExpectedTable, most: int = 8) -> list[tuple[tuple[int, ...], slice]]:
    """Return the counts of a table in pieces of at most ``most`` columns, with their slices."""
    starts: Sequence[int] = range(0, len(table.counts), most)
    return [(table.counts[i : i + most], slice(i, i + most)) for i in starts]


def cell_words(one: Expected) -> tuple[str, str]:
    """Return what is written in a cell: the reading, and whether a ball is there."""
    return READING_WORDS[one.reading], BALL_WORDS[one.ball]
