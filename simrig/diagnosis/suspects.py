"""Everything that can be wrong with one machine and its reader, as deviations.

Parts and balls are suspects of the machine; symbols, a misread cell, the phase,
the count, the numbering, a passing ball are suspects of the reader; a fact that
the profile only assumes is a suspect of the profile.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import attrs

from simrig.diagnosis.system import Deviation
from simrig.diagnosis.wrong_facts import assumed_facts
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.profile.machine import Profile
from simrig.world.balls import Fact
from simrig.world.phases import Conditions, phase_of

READER_ODDS: Final = {
    "symbols": 0.05,
    "symbols of a board": 0.015,
    "misread": 0.003,
    "phase": 0.03,
    "phase, stated": 0.01,
    "count": 0.01,
    "numbering": 0.01,
    "passing": 0.005,
    "profile": 0.02,
}
"""How likely a reader has this wrong, as odds: common practice, no source."""


@attrs.frozen(kw_only=True)
class Sheet:
    """What was seen at one time, and the conditions that were assumed then."""

    observation: Observation
    conditions: Conditions


@attrs.frozen(kw_only=True)
class Mistake:
    """Something that the reader, or the profile, has wrong.

    ``kind`` is symbols, misread, phase, count, numbering, passing or profile;
    ``value`` what it concerns: a board or all, a sensor, a phase, a number, a
    place, a fact.  ``sheet`` is the sheet it concerns, None for all.
    """

    kind: str
    value: str
    sheet: int | None = None
    fact: Fact | None = None

    def words(self) -> str:
        """The mistake in words."""
        nth = "" if not self.sheet else f" on sheet {self.sheet + 1}"
        return {
            "symbols": "symbols the wrong way round"
            + ("" if self.value == ALL else f" for {self.value}"),
            "misread": f"{self.value} misread{nth}",
            "phase": f"it was {self.value}{nth}",
            "count": f"{self.value} balls were in it{nth}",
            "numbering": f"positions of {self.value} counted from the wrong end",
            "passing": f"a ball was passing{nth}",
            "profile": f"the profile may be wrong here: {self.value}",
        }[self.kind]


@attrs.frozen(kw_only=True)
class Suspect:
    """A deviation and what it stands for: exactly one of a fault and a mistake."""

    deviation: Deviation
    fault: Fault | None = None
    mistake: Mistake | None = None

    @property
    def name(self) -> str:
        """A name that is stable and unique."""
        if self.fault is not None:
            return self.fault.name
        assert self.mistake is not None
        return f"{self.mistake.kind}:{self.mistake.value}:{self.mistake.sheet}"


def suspects(
    profile: Profile,
    sheets: Iterable[Sheet],
    kinds: tuple[FaultKind, ...] = FAULT_KINDS,
    faults: tuple[Fault, ...] | None = None,
) -> tuple[Suspect, ...]:
    """Return all suspects, parts first."""
    found = [
        Suspect(
            deviation=Deviation(part=fault.component, mode=fault.kind.id, prior=fault.odds),
            fault=fault,
        )
        for fault in (possible_faults(profile, kinds) if faults is None else faults)
    ]
    for part, mistake, odds in _mistakes(profile, tuple(sheets)):
        found.append(
            Suspect(deviation=Deviation(part=part, mode=mistake.value, prior=odds), mistake=mistake)
        )
    return tuple(found)


Named = tuple[tuple[str, ...], Mistake, float]


def _mistakes(profile: Profile, sheets: tuple[Sheet, ...]) -> Iterator[Named]:
    yield from _symbols(profile)
    for place in wrong_end(profile):
        mistake = Mistake(kind="numbering", value=place)
        yield ("reader", "numbering", place), mistake, READER_ODDS["numbering"]
    for number, sheet in enumerate(sheets):
        yield from _on_one_sheet(profile, number, sheet)
    yield from _profile(profile)


def _symbols(profile: Profile) -> Iterator[Named]:
    part = ("reader", "symbols")
    yield part, Mistake(kind="symbols", value=ALL), READER_ODDS["symbols"]
    for board in boards(profile):
        yield part, Mistake(kind="symbols", value=board), READER_ODDS["symbols of a board"]


def _on_one_sheet(profile: Profile, number: int, sheet: Sheet) -> Iterator[Named]:
    for name in sheet.observation.looked_at():
        mistake = Mistake(kind="misread", value=name, sheet=number)
        yield ("reader", f"sheet {number}", name), mistake, READER_ODDS["misread"]
    conditions = sheet.conditions
    if conditions.seen_only or not profile.phase:
        return
    assumed = phase_of(profile, conditions.phase).id
    odds = READER_ODDS["phase" if conditions.phase is None else "phase, stated"]
    for phase in profile.phase:
        if phase.id != assumed:
            mistake = Mistake(kind="phase", value=phase.id, sheet=number)
            yield ("reader", f"sheet {number}", "phase"), mistake, odds / len(profile.phase)
    if conditions.balls is not None:
        for balls in range(profile.balls.installed + 2):
            if balls != conditions.balls:
                mistake = Mistake(kind="count", value=str(balls), sheet=number)
                distance = abs(balls - conditions.balls)
                odds = READER_ODDS["count"] / distance
                yield ("reader", f"sheet {number}", "count"), mistake, odds
    mistake = Mistake(kind="passing", value="a ball", sheet=number)
    yield ("reader", f"sheet {number}", "moment"), mistake, READER_ODDS["passing"]


def _profile(profile: Profile) -> Iterator[Named]:
    for fact in assumed_facts(profile):
        value = f"{fact.row or fact.table} {fact.key}".replace("_", " ")
        mistake = Mistake(kind="profile", value=value, fact=fact)
        yield ("profile", *fact), mistake, READER_ODDS["profile"]
