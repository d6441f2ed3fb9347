"""The worlds of one or several sheets, and what each suspect changes in them.

Worlds are all placements that any set of up to ``limit`` suspects can select.  A part
fault changes cells, a ball fault or a wrong phase selects other worlds.
"""

from __future__ import annotations

import itertools
from collections.abc import Hashable, Iterable, Mapping, Sequence

import attrs

from simrig.diagnosis.interchangeable import interchangeable
from simrig.diagnosis.masks import Effect, MaskModel
from simrig.diagnosis.suspects import Suspect
from simrig.diagnosis.wrong_facts import wrong_fact
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.faults.candidates import Fault
from simrig.faults.contents import Change
from simrig.faults.dispositions import placements_with
from simrig.faults.effects import Effects
from simrig.faults.reaching import Interaction
from simrig.profile.machine import Profile
from simrig.world.balls import Placement
from simrig.world.phases import Conditions
from simrig.world.worlds import Value, worlds

Block = tuple[str | None, int | None, tuple[Fault, ...], bool]
"""What selects worlds: phase, balls, ball faults, whether a ball passes."""


@attrs.frozen(kw_only=True, eq=False)
class Circumstances:
    """What is worked out once for a machine under some conditions, for any sheet.

    ``placements`` are all worlds; ``selected`` the worlds of each set of
    selecting suspects, by their positions in ``suspects``.  ``steady`` keeps what
    parts do that do not come and go, by the key of their change of links; ``joint``
    what parts do by their positions among the ``common`` suspects, with which the
    suspects of every sheet begin; ``models`` those of sheets on which a sensor
    flickers, and of those on which none does.
    """

    profile: Profile
    suspects: tuple[Suspect, ...]
    number: int
    conditions: Conditions
    limit: int
    effects: Effects
    placements: tuple[Placement, ...] = attrs.field(repr=False)
    selected: Mapping[frozenset[int], int] = attrs.field(repr=False)
    keys: tuple[Hashable, ...] = attrs.field(repr=False)
    steady: dict[frozenset[int], Effect] = attrs.field(repr=False)
    common: int
    joint: dict[frozenset[int], Effect] = attrs.field(repr=False)
    _changes: dict[int, Change] = attrs.field(init=False, factory=dict, repr=False)
    models: dict[bool, MaskModel] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        profile: Profile,
        suspects: tuple[Suspect, ...],
        number: int,
        conditions: Conditions,
        limit: int,
    ) -> Circumstances:
        """Work out the worlds of sheet ``number`` for sets of up to ``limit`` suspects."""
        return cls.of_each(profile, [(suspects, number, conditions)], limit)[0]

    @classmethod
    def of_each(
        cls,
        profile: Profile,
        sheets: Iterable[tuple[tuple[Suspect, ...], int, Conditions]],
        limit: int,
    ) -> tuple[Circumstances, ...]:
        """Work out the worlds of several sheets, each with its suspects and its number.

        They share their worlds, so that what faults do is worked out once for all.
        """
        asked = list(sheets)
        index: dict[Placement, int] = {}
        selected = [_selected(profile, *one, limit, index) for one in asked]
        placements = tuple(index)
        effects = Effects.of(profile, worlds(profile, placements))
        steady: dict[frozenset[int], Effect] = {}
        joint: dict[frozenset[int], Effect] = {}
        common = _common([one[0] for one in asked])
        return tuple(
            [
                cls(
                    profile=profile,
                    suspects=suspects,
                    number=number,
                    conditions=conditions,
                    limit=limit,
                    effects=effects,
                    placements=placements,
                    selected=worlds_of,
                    keys=tuple(interchangeable(profile, effects.table, suspects)),
                    steady=steady,
                    common=common,
                    joint=joint,
                )
                for (suspects, number, conditions), worlds_of in zip(asked, selected, strict=True)
            ]
        )

    def changed(self, chosen: frozenset[int]) -> Mapping[str, Value]:
        """Return the cells that a set of part faults and wrong facts changes."""
        return self.effects.changed_by([self.change(index) for index in sorted(chosen)])

    def change(self, index: int) -> Change:
        """Return what a part fault or a wrong fact changes in the table of links."""
        found = self._changes.get(index)
        if found is None:
            one = self.suspects[index]
            if one.fault is not None:
                found = self.effects.change(one.fault)
            else:
                assert one.mistake is not None
                assert one.mistake.fact is not None
                found = self.effects.rewired(wrong_fact(self.profile, one.mistake.fact))
            self._changes[index] = found
        return found

    def interaction(self, index: int) -> Interaction:
        """Return the cells at which a suspect meets others, and those that it can change."""
        one = self.suspects[index]
        if one.fault is not None:
            return self.effects.interaction(one.fault, self.limit)
        mistake = one.mistake
        if mistake is None or mistake.sheet not in (None, self.number):
            return Interaction()
        if mistake.kind == "profile" and mistake.fact is not None:
            return self.effects.interaction_of(self.change(index))
        cells: Iterable[str] = ()
        if mistake.kind == "symbols" and mistake.value == ALL:
            cells = (sensor.id for sensor in self.profile.sensor)
        elif mistake.kind == "symbols":
            cells = boards(self.profile)[mistake.value]
        elif mistake.kind == "misread":
            cells = (mistake.value,)
        elif mistake.kind == "numbering":
            cells = wrong_end(self.profile)[mistake.value]
        found = frozenset(cells)
        return Interaction(meets=found, reaches=found, carries=mistake.kind == "numbering")


def selects(suspect: Suspect, number: int) -> bool:
    """Whether a suspect selects other worlds on a sheet."""
    if suspect.fault is not None:
        return suspect.fault.kind.effect == "moves balls"
    mistake = suspect.mistake
    return (
        mistake is not None
        and mistake.sheet == number
        and mistake.kind in ("phase", "count", "passing")
    )


def _common(each: Sequence[tuple[Suspect, ...]]) -> int:
    """Return with how many equal suspects some lists begin."""
    count = 0
    for ones in zip(*each, strict=False):
        if any(one.name != ones[0].name for one in ones):
            break
        count += 1
    return count


def _selected(
    profile: Profile,
    suspects: Sequence[Suspect],
    number: int,
    conditions: Conditions,
    limit: int,
    index: dict[Placement, int],
) -> dict[frozenset[int], int]:
    """Return the worlds that each set of selecting suspects selects; new ones go into ``index``."""
    selectors = [i for i, one in enumerate(suspects) if selects(one, number)]
    blocks: dict[Block, int] = {}
    selected: dict[frozenset[int], int] = {}
    for size in range(limit + 1):
        for chosen in itertools.combinations(selectors, size):
            parts = [suspects[i].deviation.part for i in chosen]
            if len(set(parts)) < len(parts):
                continue
            key = _block(profile, conditions, [suspects[i] for i in chosen])
            mask = blocks.get(key)
            if mask is None:
                mask = 0
                for placement in _placements(profile, conditions, key):
                    mask |= 1 << index.setdefault(placement, len(index))
                blocks[key] = mask
            selected[frozenset(chosen)] = mask
    return selected


def _block(profile: Profile, conditions: Conditions, chosen: Sequence[Suspect]) -> Block:
    """Return what decides the placements; equal for sets that select the same worlds."""
    faults: list[Fault] = []
    passing = False
    for one in chosen:
        if one.fault is not None:
            faults.append(one.fault)
        elif one.mistake is not None and one.mistake.kind == "phase":
            conditions = attrs.evolve(conditions, phase=one.mistake.value)
        elif one.mistake is not None and one.mistake.kind == "count":
            conditions = attrs.evolve(conditions, balls=int(one.mistake.value))
        else:
            passing = True
    if conditions.seen_only:
        return conditions.phase, conditions.balls, (), False
    unseen, rest = 0, []
    for fault in faults:
        if fault.kind.id == "ball-missing" or (
            fault.kind.id == "ball-hung" and not _watched(profile, fault.part)
        ):
            unseen += 1
        elif fault.kind.id == "ball-extra":
            unseen -= 1
        else:
            rest.append(fault)
    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    return (
        conditions.phase,
        max(balls - unseen, 0),
        tuple(sorted(rest, key=lambda fault: fault.name)),
        passing,
    )


def _placements(profile: Profile, conditions: Conditions, block: Block) -> tuple[Placement, ...]:
    phase, balls, faults, passing = block
    conditions = attrs.evolve(conditions, phase=phase, balls=balls)
    return placements_with(profile, conditions, faults, passing=passing)


def _watched(profile: Profile, route: str) -> bool:
    return any(
        spot.route == route and spot.id in profile.covering for spot in profile.spots.values()
    )
