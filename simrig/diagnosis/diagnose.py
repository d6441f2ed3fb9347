"""From sheets of readings to what can be wrong, down to the part.

Several sheets are evidence together: part faults, missing balls, swapped symbols
hold for all of them, while the balls lie on each sheet in its own way.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from functools import cached_property
from typing import Protocol

import attrs

from simrig.diagnosis.conflicts import Conflicting, conflicting
from simrig.diagnosis.grouping import Apart, Grouping
from simrig.diagnosis.interchangeable import interchangeable
from simrig.diagnosis.one_sheet import Models, OneSheet, differing, systems
from simrig.diagnosis.reasoning import Explanation, Explanations, System, Together, explain
from simrig.diagnosis.suspects import Mistake, Sheet, Suspect, suspects
from simrig.diagnosis.whys import Whys
from simrig.expectation.location import locate
from simrig.expectation.prediction import expect
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.modes import FAULT_KINDS, FaultKind
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links


@attrs.frozen
class Folded:
    """Sets that contain another one and more."""

    count: int
    probability: float


@attrs.frozen(kw_only=True)
class Cause:
    """One set of things that can be wrong, nothing of it spare.

    ``group`` counts from 1, likeliest group first; causes that no reading and no
    check can part share one.  ``faults`` are parts and balls, ``assumes`` what the
    reader, or the profile, has wrong; both empty: all is as assumed.  ``folded_count``
    and ``folded_probability`` tell of the sets that contain this one and more.
    ``members`` are its suspects, by their positions in the diagnosis.
    """

    group: int
    faults: tuple[Fault, ...]
    assumes: tuple[Mistake, ...]
    probability: float
    folded_count: int
    folded_probability: float
    members: tuple[int, ...]
    _whys: Whys = attrs.field(repr=False, eq=False)

    @cached_property
    def at(self) -> tuple[tuple[dict[str, int], ...], ...]:
        """For each sheet the ways the balls can lie then, as balls by place."""
        return tuple([system.ways(self.members) for system in self._whys.systems])

    @cached_property
    def why(self) -> str:
        """One sentence along the chain."""
        return self._whys.sentence(self.members)

    @property
    def as_assumed(self) -> bool:
        """Whether nothing is wrong."""
        return not self.members

    @property
    def placements(self) -> tuple[dict[str, int], ...]:
        """The ways the balls can lie on the first sheet."""
        return self.at[0] if self.at else ()

    @property
    def folded(self) -> Folded:
        """How many sets contain this one and more, and their probability together."""
        return Folded(self.folded_count, self.folded_probability)

    @property
    def chance(self) -> float:
        """The probability of this with or without anything besides."""
        return self.probability + self.folded_probability


@attrs.frozen(kw_only=True)
class Diagnosis:
    """What can be wrong; ``count`` is the number of all sets that explain the evidence.

    ``told_apart``: one group is left.  ``conflict`` says in words why nothing
    explains it, ``depends_on`` which facts the expected readings stand on.  ``sets`` is
    what the reasoning found, unfolded when iterated; ``together`` all evidence as one system.
    """

    profile: Profile = attrs.field(repr=False)
    sheets: tuple[Sheet, ...] = attrs.field(repr=False)
    suspects: tuple[Suspect, ...] = attrs.field(repr=False)
    limit: int
    causes: tuple[Cause, ...]
    count: int
    told_apart: bool
    conflict: Conflicting | None
    depends_on: tuple[str, ...]
    sets: Explanations = attrs.field(repr=False, eq=False)
    systems: tuple[OneSheet, ...] = attrs.field(repr=False, eq=False)
    together: System = attrs.field(repr=False, eq=False)
    whys: Whys = attrs.field(repr=False, eq=False)

    @property
    def explanations(self) -> tuple[Cause, ...]:
        """The causes, by the name that they have in JSON."""
        return self.causes

    @property
    def as_assumed(self) -> bool:
        """Whether everything is as assumed."""
        return any(cause.as_assumed for cause in self.causes)

    @cached_property
    def differences(self) -> tuple[tuple[str, ...], ...]:
        """For each sheet the sensors that do not read as a sound machine's, as few as can be."""
        return tuple(
            [differing(sheet, one) for sheet, one in zip(self.sheets, self.systems, strict=True)]
        )

    @cached_property
    def as_read(self) -> tuple[dict[str, int], ...]:
        """The ways in which all the balls can lie if a single sheet reads right, as balls by place.

        Empty where the balls were seen, and where a phase or a count that is known explains it.
        """
        if len(self.sheets) != 1 or self.as_assumed or self.sheets[0].conditions.seen_only:
            return ()
        known = ("phase", "count", "passing")
        if any(
            len(cause.members) == 1 and [one for one in cause.assumes if one.kind in known]
            for cause in self.causes
        ):
            return ()
        (sheet,) = self.sheets
        try:
            anywhere = attrs.evolve(sheet.conditions, phase=None)
            placements = locate(self.profile, sheet.observation, anywhere).placements
        except ValueError:
            return ()
        ways = {tuple(one.at.items()): dict(one.at) for one in placements if not one.missing}
        return tuple(ways.values())

    @cached_property
    def hidden(self) -> tuple[Fault, ...]:
        """The faults that, beside nothing else, leave all the evidence as it is."""
        if not self.as_assumed:
            return ()
        faults = [index for index, one in enumerate(self.suspects) if one.fault is not None]
        kept = self.together.extensions(frozenset(), faults)
        return tuple([fault for index in kept if (fault := self.suspects[index].fault) is not None])

    def group(self, number: int) -> tuple[Cause, ...]:
        """Return the causes of one group, likeliest first."""
        return tuple([cause for cause in self.causes if cause.group == number])

    @property
    def groups(self) -> int:
        """How many groups there are."""
        return max((cause.group for cause in self.causes), default=0)


class Evidence(Protocol):
    """Further evidence beside sheets: a check's result, a log, what the machine did."""

    def system(self, suspects: tuple[Suspect, ...], limit: int) -> System:
        """Return it as a system over these suspects."""
        ...


class ImpossibleError(ValueError):
    """What was asked for cannot be: conditions that the machine cannot have, or no evidence."""


def diagnose(
    profile: Profile,
    sheets: Sequence[Sheet],
    *,
    evidence: Sequence[Evidence] = (),
    kinds: tuple[FaultKind, ...] = FAULT_KINDS,
    faults: tuple[Fault, ...] | None = None,
    limit: int = 2,
    apart: Apart | None = None,
    models: Models | None = None,
) -> Diagnosis:
    """Return everything that can be wrong, with up to ``limit`` things wrong at once.

    ``faults`` are suspected, all that the kinds bring when left out.  ``apart`` gives
    what bench checks tell of a fault, instead of the catalogue; the same for all: groups
    come from readings alone.
    ``models``, for many diagnoses of one machine, must be made for the same faults and
    limit.  Raises ImpossibleError, in words, for conditions that cannot be, for a limit
    below 0, and when there is no evidence at all.
    """
    sheets = tuple(sheets)
    if not sheets and not evidence:
        raise ImpossibleError("nothing was seen; at least one sheet, or other evidence, is wanted")
    if limit < 0:
        raise ImpossibleError(f"things wrong at once: {limit} found, 0 or more wanted")
    if models is None:
        suspected = possible_faults(profile, kinds) if faults is None else faults
        models = Models(profile=profile, faults=suspected, limit=limit)
    elif models.limit != limit or models.profile is not profile:
        raise ImpossibleError("the models were made for another machine or another limit")
    depends_on = _depends_on(profile, models.table, sheets)
    among = suspects(profile, sheets, faults=models.faults)
    seen = systems(models, among, sheets)
    together = Together(systems=(*seen, *[one.system(among, limit) for one in evidence]))
    found = explain(together, limit)
    grouping = _grouping(models, among, apart)
    whys = Whys(
        profile=profile,
        sheets=sheets,
        systems=tuple(seen),
        suspects=among,
        grouping=grouping,
        told=tuple([words for one in evidence if (words := getattr(one, "told", ""))]),
    )
    causes = _causes(found, grouping, whys)
    return Diagnosis(
        profile=profile,
        sheets=sheets,
        suspects=among,
        limit=limit,
        causes=causes,
        count=found.count,
        told_apart=len({cause.group for cause in causes}) == 1,
        conflict=None if causes else conflicting(profile, sheets, seen, found, limit),
        depends_on=depends_on,
        sets=found,
        systems=tuple(seen),
        together=together,
        whys=whys,
    )


def _grouping(models: Models, among: tuple[Suspect, ...], apart: Apart | None = None) -> Grouping:
    return Grouping(
        profile=models.profile,
        table=models.table,
        suspects=among,
        keys=tuple(interchangeable(models.profile, models.table, among)),
        parted=models.parting.parted,
        apart=apart,
    )


def every_cause(diagnosis: Diagnosis) -> Iterator[Cause]:
    """Yield all sets that explain the evidence, likeliest first, nothing folded.

    Groups of sets that have something to spare are numbered after the others.
    """
    grouping = diagnosis.whys.grouping
    numbers: dict[Hashable, int] = {}
    for cause in diagnosis.causes:
        numbers[grouping.of(cause.members)] = cause.group
    for one in diagnosis.sets.ranked():
        group = numbers.setdefault(grouping.of(one.members), len(numbers) + 1)
        yield _cause(one, group, diagnosis.whys)


def _causes(found: Explanations, grouping: Grouping, whys: Whys) -> tuple[Cause, ...]:
    keys = [grouping.of(one.members) for one in found.minimal]
    chances: dict[Hashable, float] = {}
    for key, one in zip(keys, found.minimal, strict=True):
        chances[key] = chances.get(key, 0.0) + one.probability + one.folded_probability
    order = sorted(chances, key=lambda key: -round(chances[key], 12))
    numbers = {key: number for number, key in enumerate(order, 1)}
    return tuple(
        [_cause(one, numbers[key], whys) for key, one in zip(keys, found.minimal, strict=True)]
    )


def _cause(one: Explanation, group: int, whys: Whys) -> Cause:
    members = [whys.suspects[index] for index in one.members]
    return Cause(
        group=group,
        faults=tuple([member.fault for member in members if member.fault is not None]),
        assumes=tuple([member.mistake for member in members if member.mistake is not None]),
        probability=one.probability,
        folded_count=one.folded_count,
        folded_probability=one.folded_probability,
        members=one.members,
        whys=whys,
    )


def _depends_on(profile: Profile, table: Links, sheets: tuple[Sheet, ...]) -> tuple[str, ...]:
    """Return the unknown and assumed facts on which the expected readings stand, in words.

    Raises ImpossibleError for conditions that the machine cannot have.
    """
    found: dict[str, None] = {}
    for number, sheet in enumerate(sheets, 1):
        looked = sheet.observation.looked_at()
        try:
            expected = expect(profile, sheet.conditions, table=table).readings
        except ValueError as error:
            nth = f"sheet {number}: " if len(sheets) > 1 else ""
            raise ImpossibleError(f"{nth}{error}") from None
        for one in expected:
            if one.sensor in looked:
                found.update(dict.fromkeys(one.depends_on))
    return tuple(found)
