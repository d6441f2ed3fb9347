"""Sheets of readings as people write them: CSV or TOML in, observations out.

A CSV sheet has the columns sensor and reading; blank lines, comments after #,
capitals, spaces, a heading line, semicolons or tabs for commas are all taken.
A TOML sheet has one or more ``[[sheet]]``, each with its own conditions.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any, Final

import attrs

from simrig.diagnosis.suspects import Sheet
from simrig.errors import InputError, Problem
from simrig.expectation.observation import Observation, observe, resolve
from simrig.profile import keys
from simrig.profile.keys import Key
from simrig.profile.located import decode, locate
from simrig.profile.machine import Profile
from simrig.profile.naming import counted, hint
from simrig.profile.tables import read_table
from simrig.signals import CLOSED, FLICKERS, OPEN, UNKNOWN
from simrig.world.phases import Conditions, legal_placements

WORDS: Final = {
    "closed": CLOSED,
    "close": CLOSED,
    "shut": CLOSED,
    "open": OPEN,
    "flicker": FLICKERS,
    "flickers": FLICKERS,
    "flickering": FLICKERS,
    "unknown": UNKNOWN,
    "not looked at": UNKNOWN,
    "?": UNKNOWN,
    "": UNKNOWN,
}
AMBIGUOUS: Final = frozenset(
    (
        "on",
        "off",
        "1",
        "0",
        "active",
        "inactive",
        "made",
        "true",
        "false",
        "yes",
        "no",
        "x",
        "high",
        "low",
    )
)
NO_WAY: Final = (
    "no legal position of the balls fits these conditions; mend phase, balls, at or state, or "
    "leave the phase out to say exactly where they are"
)
_HEADINGS = frozenset(("sensor", "switch", "name", "id", "number", "address"))


@attrs.frozen(kw_only=True, repr=False, eq=False)
class SheetTable(keys.Keyed):
    """One ``[[sheet]]``."""

    phase: str | None = keys.text("phase of play")
    balls: int | None = keys.integer("balls in the machine", 0, 21)
    at: Mapping[str, int] | None = keys.mapping(
        "balls seen at places", Key(shape="integer", meaning="balls", low=0, high=20)
    )
    seats: tuple[str, ...] | None = keys.sequence(
        "exactly these positions hold a ball", Key(shape="spot", meaning="a position"), none=True
    )
    state: Mapping[str, str] | None = keys.mapping(
        "how mechanisms stand", Key(shape="identifier", meaning="a state")
    )
    others: str | None = keys.choice("every other switch is at rest", "rest")
    readings: Mapping[str, str] = keys.key(
        Key(
            shape="mapping",
            meaning="the reading at each sensor",
            item=Key(shape="any text", meaning="closed, open, flickers or unknown"),
            required=True,
        )
    )


@attrs.frozen(kw_only=True, repr=False, eq=False)
class SheetFile(keys.Keyed):
    """A TOML file of sheets."""

    sheet: tuple[SheetTable, ...] = keys.tables("the sheets", SheetTable)


def read(profile: Profile, data: bytes, file: str, conditions: Conditions) -> tuple[Sheet, ...]:
    """Read every sheet of a file; conditions hold for sheets that state none.

    A reader that a plug-in brings for the machine comes first where it takes the file.
    Raises InputError with one problem for each fault, with its line.
    """
    for reader in profile.brought.get("simrig_readers", ()):
        if reader.reads(data, file):
            return (_brought(profile, reader.read(data, file), file, conditions),)
    text = decode(data, file, error=InputError)
    if any(line.strip().startswith("[[sheet]]") for line in text.splitlines()):
        return _toml(profile, text, file, conditions)
    return (_csv(profile, text, file, conditions),)


def _brought(profile: Profile, said: Mapping[str, str], file: str, conditions: Conditions) -> Sheet:
    """Return what a plug-in's reader found; sensors that it does not name were not looked at."""
    problems: list[Problem] = []
    readings: dict[str, str] = {}
    for name, word in said.items():
        try:
            found = reading(word)
            readings.update(dict.fromkeys(resolve(profile, name), found))
        except ValueError as error:
            problems.append(Problem(file=file, where=name, message=str(error)))
    if problems:
        raise InputError(problems)
    return Sheet(observation=_observation(profile, readings), conditions=conditions)


def others_at_rest(profile: Profile, sheet: Sheet) -> Observation:
    """Return a sheet's observation with every other switch taken to be at rest."""
    return _observation(profile, sheet.observation.readings, others_rest=True)


def reading(word: str) -> str:
    """Return the reading that a word means; raises ValueError, in words."""
    plain = word.strip().lower()
    if plain in WORDS:
        return WORDS[plain]
    if plain in AMBIGUOUS:
        raise ValueError(
            f'"{word.strip()}" can mean either; write closed or open, as the display says it'
        )
    near = difflib.get_close_matches(plain, [known for known in WORDS if known], 1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    raise ValueError(
        f'"{word.strip()}" is no reading; wanted closed, open, flickers or unknown{hint}'
    )


def _csv(profile: Profile, text: str, file: str, conditions: Conditions) -> Sheet:
    problems: list[Problem] = []
    said: dict[str, tuple[str, int]] = {}
    first = True
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.partition("#")[0].strip()
        if not line:
            continue
        separator = next((mark for mark in (",", ";", "\t") if mark in line), None)
        cells = [
            cell.strip().strip('"').strip()
            for cell in (line.split(separator) if separator else [line])
        ]
        while len(cells) > 2 and not cells[-1]:
            cells.pop()
        if first and cells[0].lower() in _HEADINGS:
            first = False
            continue
        first = False
        where = cells[0] or "sheet"

        def fault(message: str, number: int = number, where: str = where) -> None:
            problems.append(Problem(file=file, line=number, where=where, message=message))

        if len(cells) != 2:
            found = counted(len(cells), "column")
            fault(f"found {found}; wanted two, sensor and reading; mend the line")
            continue
        try:
            word = reading(cells[1])
        except ValueError as error:
            fault(str(error))
            continue
        try:
            names = resolve(profile, cells[0])
        except ValueError as error:
            fault(str(error))
            continue
        for name in names:
            if name in said and said[name][0] != word:
                fault(f"{name} reads {said[name][0]} on line {said[name][1]}; keep one of the two")
            said.setdefault(name, (word, number))
    if not said and not problems:
        problems.append(
            Problem(
                file=file,
                line=1,
                where="sheet",
                message="found no readings; wanted lines such as trough-1,closed; put them in",
            )
        )
    if problems:
        raise InputError(problems)
    observation = _observation(profile, {name: word for name, (word, _) in said.items()})
    return Sheet(observation=observation, conditions=conditions)


def _observation(
    profile: Profile, said: Mapping[str, str], *, others_rest: bool = False
) -> Observation:
    lists: dict[str, list[str]] = {CLOSED: [], OPEN: [], UNKNOWN: [], FLICKERS: []}
    for name, word in said.items():
        lists[word].append(name)
    return observe(
        profile,
        closed=lists[CLOSED],
        open=lists[OPEN],
        unknown=lists[UNKNOWN],
        flicker=lists[FLICKERS],
        closed_named=True,
        open_named=True,
        others_rest=others_rest,
    )


def _toml(profile: Profile, text: str, file: str, conditions: Conditions) -> tuple[Sheet, ...]:
    located = locate(text, file, error=InputError)
    table, problems = read_table(located, SheetFile)
    found: list[Sheet] = []
    for number, row in enumerate(table.sheet):
        path: tuple[str | int, ...] = ("sheet", number)
        said: dict[str, str] = {}
        for name, word in row.readings.items():
            try:
                meant = reading(word)
                for sensor in resolve(profile, name):
                    if said.setdefault(sensor, meant) != meant:
                        raise ValueError(
                            f"{sensor} reads {said[sensor]} elsewhere on this sheet; keep one"
                        )
            except ValueError as error:
                problems.append(
                    Problem(
                        file=file,
                        line=located.line((*path, "readings", name)),
                        where=f"sheet {number + 1}, {name}",
                        message=str(error),
                    )
                )
        own = _conditions(row, conditions)
        wrong = condition_faults(profile, own)
        if not wrong and own is not conditions:
            wrong = impossible(profile, own)
        for message in wrong:
            problems.append(
                Problem(
                    file=file, line=located.line(path), where=f"sheet {number + 1}", message=message
                )
            )
        observation = _observation(profile, said, others_rest=row.others == "rest")
        found.append(Sheet(observation=observation, conditions=own))
    if problems:
        raise InputError(sorted(problems, key=lambda problem: problem.line or 0))
    return tuple(found)


def condition_faults(profile: Profile, conditions: Conditions) -> list[str]:
    """Return what is wrong with conditions that a file states."""
    faults = []
    if conditions.phase is not None and profile.row("phase", conditions.phase) is None:
        known = hint(conditions.phase, (phase.id for phase in profile.phase))
        faults.append(f'no phase is called "{conditions.phase}"; {known}')
    for name in conditions.at or {}:
        if profile.row("place", name) is None and profile.row("route", name) is None:
            rows: tuple[Any, ...] = (*profile.place, *profile.route)
            known = hint(name, (row.id for row in rows))
            faults.append(f'no place or way is called "{name}"; {known}')
    faults += [
        f'there is no position "{spot}"; {hint(spot, profile.spots)}'
        for spot in sorted(conditions.spots or ())
        if spot not in profile.spots
    ]
    for name, state in conditions.states.items():
        mechanism = profile.row("mechanism", name)
        if mechanism is None:
            known = hint(name, (row.id for row in profile.mechanism))
            faults.append(f'no mechanism is called "{name}"; {known}')
        elif state not in mechanism.states:
            faults.append(f'{name} can stand: {", ".join(mechanism.states)}; found "{state}"')
    return faults


def impossible(profile: Profile, conditions: Conditions) -> list[str]:
    """Return why balls can lie in no way under conditions that a file states."""
    try:
        if legal_placements(profile, conditions):
            return []
    except ValueError as error:
        return [str(error)]
    return [NO_WAY]


def _conditions(row: Any, general: Conditions) -> Conditions:
    if not any((row.phase, row.balls is not None, row.at, row.seats is not None, row.state)):
        return general
    spots = None
    if row.seats is not None:
        spots = frozenset() if row.seats == keys.NONE else frozenset(row.seats)
    return Conditions(
        phase=row.phase, balls=row.balls, at=row.at, spots=spots, states=dict(row.state or {})
    )
