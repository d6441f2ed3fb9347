"""Scenario files: steps on a machine and the readings expected after each, worked out by hand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import attrs

from simrig.errors import InputError, Problem
from simrig.interchange.diagnosis_keys import DiagnosisTable
from simrig.profile import keys
from simrig.profile.keys import Key
from simrig.profile.located import Located, decode, locate
from simrig.profile.tables import read_table

SUFFIX = ".scenario.toml"
_SENSOR = Key(shape="text", meaning="a sensor")


def _sensors(meaning: str) -> Any:
    return keys.sequence(meaning, _SENSOR)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Seen(keys.Keyed):
    """What was seen, in lists of sensors, as on the command line."""

    closed: tuple[str, ...] | None = _sensors("read closed; alone: all other ball sensors are open")
    open: tuple[str, ...] | None = _sensors("read open; alone: all other ball sensors are closed")
    unknown: tuple[str, ...] | None = _sensors("were not looked at")
    flicker: tuple[str, ...] | None = _sensors("flicker")
    others: str | None = keys.choice("every other switch is at rest", "rest")


@attrs.frozen(kw_only=True, repr=False, eq=False)
class SheetSeen(Seen):
    """One of several sheets, with its own conditions."""

    phase: str | None = keys.text("phase of play")
    balls: int | None = keys.integer("balls in the machine", 0, 21)
    at: Mapping[str, int] | None = keys.mapping(
        "balls at places", Key(shape="integer", meaning="balls", low=0, high=20)
    )
    seats: tuple[str, ...] | None = keys.sequence(
        "exactly these positions", Key(shape="spot", meaning="a position"), none=True
    )
    state: Mapping[str, str] | None = keys.mapping(
        "how mechanisms stand", Key(shape="identifier", meaning="a state")
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class FitTable(keys.Keyed):
    """A fit that must be offered: what it names must be so."""

    phase: str | None = keys.text("phase")
    balls: int | None = keys.integer("balls", 0, 21)
    inverted: tuple[str, ...] | None = keys.sequence(
        "all, or boards", Key(shape="text", meaning="all or a board")
    )
    numbering: tuple[str, ...] | None = keys.sequence(
        "places", Key(shape="text", meaning="a place")
    )
    moving: str | None = keys.text("where a ball was passing")
    differences: int | None = keys.integer("differences left", 0, 600)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Step(keys.Keyed):
    """One step: moves, or conditions set outright; then what must read, or what was seen."""

    do: tuple[str, ...] | None = keys.sequence(
        "moves from the positions of the step before", Key(shape="text", meaning="a move")
    )
    phase: str | None = keys.text("phase of play")
    balls: int | None = keys.integer("balls in the machine", 0, 21)
    at: Mapping[str, int] | None = keys.mapping(
        "balls at places", Key(shape="integer", meaning="balls", low=0, high=20)
    )
    seats: tuple[str, ...] | None = keys.sequence(
        "exactly these positions", Key(shape="spot", meaning="a position"), none=True
    )
    state: Mapping[str, str] | None = keys.mapping(
        "how mechanisms stand", Key(shape="identifier", meaning="a state")
    )
    closed: tuple[str, ...] | None = _sensors("must read closed; all other ball sensors open")
    either: tuple[str, ...] | None = _sensors("may read either")
    note: str | None = keys.text("how it was worked out")
    seen: Seen | None = keys.table("what was seen", Seen)
    verdict: str | None = keys.choice("what compare must say", "agrees", "differs")
    differences: tuple[str, ...] | None = _sensors("sensors that must be named, and no other")
    fits: tuple[FitTable, ...] = keys.tables("fits that must be offered", FitTable)
    no_fits: tuple[str, ...] | None = keys.sequence(
        "mistakes that must not be offered",
        Key(
            shape="choice",
            meaning="a mistake",
            choices=("inverted", "numbering", "moving", "phase", "balls"),
        ),
    )
    missing_at: tuple[str, ...] | None = keys.sequence(
        "where a missing ball must be said to be possible", Key(shape="text", meaning="a place")
    )
    sheets: tuple[SheetSeen, ...] = keys.tables(
        "what was seen at several times, to be diagnosed together", SheetSeen
    )
    diagnosis: DiagnosisTable | None = keys.table("what diagnosing must say", DiagnosisTable)


@attrs.frozen(kw_only=True, repr=False, eq=False)
class Scenario(keys.Keyed):
    """A scenario file."""

    format: int = keys.integer("version of this format", 1, 1, required=True)
    title: str = keys.text("what it shows", required=True)
    machine: str = keys.text(
        "id of a machine, or the path of a profile beside the file", required=True
    )
    tags: tuple[str, ...] | None = keys.sequence(
        "words to choose scenarios by", Key(shape="identifier", meaning="a word")
    )
    step: tuple[Step, ...] = keys.tables("the steps", Step)
    located: Located | None = attrs.field(default=None, eq=False, repr=False)

    def line(self, number: int) -> int:
        """Return the line at which a step starts."""
        return self.located.line(("step", number)) if self.located else 1


def read(data: bytes, file: str) -> Scenario:
    """Read a scenario; raises InputError with every problem, with its line."""
    located = locate(decode(data, file, error=InputError), file, error=InputError)
    table, problems = read_table(located, Scenario)
    if not table.step and not problems:
        message = "found no [[step]]; wanted one or more; add it"
        problems.append(Problem(file=file, line=1, where="step", message=message))
    for number, step in enumerate(() if problems else table.step):
        # What is held against readings that nobody saw would hold whatever they are.
        problems += [
            Problem(
                file=file,
                line=located.line(("step", number, name)),
                where=f"step {number + 1}, {name}",
                message="found without seen; wanted what was seen, to hold it against; add seen",
            )
            for name in ("verdict", "differences", "fits", "no_fits", "missing_at")
            if step.seen is None and name in located.data["step"][number]
        ]
    if problems:
        raise InputError(problems)
    found: Scenario = attrs.evolve(table, located=located)
    return found
