"""One unit of a model: facts of its profile replaced, in words where that cannot be."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from simrig.profile.differing import differing
from simrig.profile.reader import read

DATA = Path(__file__).parents[1] / "vetting/data"
GRID = read((DATA / "GRID-03/sound.toml").read_bytes(), "grid.toml")


def test_facts_of_rows_and_of_tables() -> None:
    """A fact of a row, of a table that is there once, and a list are replaced; nothing else is."""
    unit = differing(
        GRID,
        {
            "sensor.trough-2.contact": "normally closed",
            "sensor.launcher-ball.at": ["trough.1"],
            "matrix.diodes": "none",
        },
    )
    assert unit.row("sensor", "trough-2").contact == "normally closed"
    assert unit.row("sensor", "launcher-ball").at == ("trough.1",)
    assert unit.matrix is not None
    assert unit.matrix.diodes == "none"
    assert unit.row("sensor", "trough-1") == GRID.row("sensor", "trough-1")
    assert differing(GRID, {}) == GRID


NO_FACT = (
    '"{}" names no fact of the profile; wanted TABLE.ID.KEY, such as '
    "board.trough-board.output_closes, or TABLE.KEY, such as interlock.fitted"
)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("polarity", "reversed", NO_FACT.format("polarity")),
        ("title.x", "y", NO_FACT.format("title.x")),
        ("sensor.contact", "normally open", NO_FACT.format("sensor.contact")),
        ("silence.rule", "x", NO_FACT.format("silence.rule")),
        ("interlock.fitted", True, "the profile has no [interlock]; state it there first"),
        ("matrix.left.diodes", "all", "there is one matrix only; wanted matrix.KEY"),
        (
            "matrix.diodez",
            "all",
            'no key that can differ is called "diodez"; did you mean "diodes"?',
        ),
        ("balls.id", "x", 'no key that can differ is called "id"; known: installed, '),
        ("sensor.trough-2.id", "x", 'no key that can differ is called "id"; did you mean'),
        (
            "sensor.trogh-2.contact",
            "normally open",
            'the profile has no sensor called "trogh-2"; did you mean "trough-2"?',
        ),
        (
            "sensor.x.contact",
            "normally open",
            'the profile has no sensor called "x"; it has: trough-1, trough-2, trough-3, '
            "launcher-ball",
        ),
        ("board.eye.supply", "low", 'the profile has no board called "eye"; it has: none'),
        ("silence.eye.rule", "x", 'the profile has no silence called "eye"; it has: none'),
        ("matrix.columns", 99, "Matrix.columns: found 99; wanted a whole number from 1 to 64"),
    ],
)
def test_what_cannot_differ(name: str, value: Any, says: str) -> None:
    """A name that is no fact, and a value that it cannot hold, are refused with what is wanted."""
    with pytest.raises(ValueError) as refused:  # noqa: PT011
        differing(GRID, {name: value})
    assert says in str(refused.value)
