"""One sheet as a system of cells and worlds: the machine's side of the reasoning.

Cells are the sensors that were looked at.  Worlds are all placements that any
set of up to ``limit`` suspects can select.  A part fault changes cells, a ball
fault or a wrong phase selects other worlds, a reader's error edits what was
seen.  A flickering cell is one that an intermittent part makes read one way at
one time and the other way at another.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence

import attrs

from simrig.diagnosis.interchangeable import interchangeable
from simrig.diagnosis.masks import EVERY_WORLD, Effect, MaskSystem
from simrig.diagnosis.suspects import Mistake, Suspect
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault
from simrig.faults.dispositions import placements_with
from simrig.faults.effects import Effects, Interaction
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.sensing.chain import Link
from simrig.signals import CLOSED, FLICKERS, UNKNOWN
from simrig.world.balls import Fact, Placement
from simrig.world.phases import Conditions
from simrig.world.worlds import Value, worlds

Block = tuple[str | None, int | None, tuple[Fault, ...], bool]
"""What selects worlds: phase, balls, ball faults, whether a ball passes."""

_FLIPPED = {"makes": "breaks", "breaks": "makes", "inverts": "passes", "passes": "inverts"}


@attrs.frozen(kw_only=True, eq=False)
class Circumstances:
    """What is worked out once for a machine under some conditions, for any sheet.

    ``placements`` are all worlds; ``selected`` the worlds of each set of
    selecting suspects, by their positions in ``suspects``.
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
    _changed: dict[frozenset[int], dict[str, Value]] = attrs.field(factory=dict, repr=False)

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
        selectors = [i for i, one in enumerate(suspects) if selects(one, number)]
        index: dict[Placement, int] = {}
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
        placements = tuple(index)
        effects = Effects.of(profile, worlds(profile, placements))
        return cls(
            profile=profile,
            suspects=suspects,
            number=number,
            conditions=conditions,
            limit=limit,
            effects=effects,
            placements=placements,
            selected=selected,
            keys=tuple(interchangeable(profile, effects.table, suspects)),
        )

    def changed(self, chosen: frozenset[int]) -> dict[str, Value]:
        """Return the cells that a set of part faults and wrong facts changes."""
        found = self._changed.get(chosen)
        if found is None:
            ones = [self.suspects[i] for i in sorted(chosen)]
            faults = [one.fault for one in ones if one.fault is not None]
            facts = [
                one.mistake.fact
                for one in ones
                if one.mistake is not None and one.mistake.fact is not None
            ]
            edit = _wrong_facts(self.profile, facts) if facts else None
            found = self.effects.changed(faults, edit)
            if len(chosen) <= 1:
                self._changed[chosen] = found
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
            touched = _of_fact(self.profile, self.effects.table, mistake.fact)
            return self.effects.of_contacts(touched, self.limit)
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
        return Interaction(meets=found, reaches=found)


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


def _of_fact(profile: Profile, table: Links, fact: Fact) -> frozenset[str]:
    if fact.table == "place":
        return frozenset(wrong_end(profile).get(fact.row, ()))
    return frozenset(
        name for name, chain in table.chains.items() if any(fact in link.facts for link in chain)
    )


def _wrong_facts(profile: Profile, facts: Sequence[Fact]) -> Callable[[Links], Links]:
    def flip(link: Link) -> Link:
        if sum(fact in link.facts for fact in facts) % 2:
            return attrs.evolve(link, action=_FLIPPED.get(link.action, link.action))
        return link

    def edit(table: Links) -> Links:
        chains = {name: tuple(flip(link) for link in chain) for name, chain in table.chains.items()}
        leads = dict(table.leads)
        for fact in facts:
            if fact.table == "place":
                pairs = wrong_end(profile).get(fact.row, {})
                leads.update({one: table.leads.get(other, other) for one, other in pairs.items()})
        return attrs.evolve(table, chains=chains, leads=leads)

    return edit


def _that_count(interactions: Sequence[int], observed: int) -> tuple[int, ...]:
    """Drop interactions at cells not looked at at which no two suspects of different cells meet."""
    wide = observed
    for bits in interactions:
        if bits & bits - 1:
            wide |= bits
    return tuple([bits & wide for bits in interactions])


def system(circumstances: Circumstances, observation: Observation) -> MaskSystem:
    """Return one sheet as a system for the reasoning."""
    return _Sheet(circumstances, observation).system()


class _Sheet:
    """Masks of the cells that were looked at, under any set of suspects."""

    def __init__(self, circumstances: Circumstances, observation: Observation) -> None:
        self.about = circumstances
        looked = observation.looked_at()
        self.seen = {
            sensor.id: looked.get(sensor.id, UNKNOWN) for sensor in circumstances.profile.sensor
        }
        self.cells = {name: number for number, name in enumerate(self.seen)}
        self.flickering = FLICKERS in looked.values()
        self.healthy = circumstances.effects.healthy.cells

    def system(self) -> MaskSystem:
        about = self.about
        count = len(self.seen)
        observed = 0
        for name, seen in self.seen.items():
            if seen != UNKNOWN:
                observed |= 1 << self.cells[name]
        meets, reaches = [], []
        for index, one in enumerate(about.suspects):
            interaction = about.interaction(index)
            selecting = 1 << count if selects(one, about.number) else 0
            wide = 2 << count if interaction.wide else 0
            meets.append(self._bits(interaction.meets) | selecting | wide)
            reaches.append(self._bits(interaction.reaches) | selecting)
        return MaskSystem(
            deviations=tuple([one.deviation for one in about.suspects]),
            interactions=_that_count(meets, observed | 1 << count),
            reaches=tuple(reaches),
            agree=self._healthy_masks(),
            worlds=about.selected[frozenset()],
            effect=self.effect,
            observed=observed,
            keys=about.keys,
        )

    def _bits(self, names: Iterable[str]) -> int:
        bits = 0
        for name in names:
            bits |= 1 << self.cells[name]
        return bits

    def _healthy_masks(self) -> tuple[int, ...]:
        masks: list[int] = []
        for name, word in self.seen.items():
            masks.append(self.mask(name, word, (self.healthy[name],)))
        return tuple(masks)

    def mask(self, name: str, seen: str, values: Sequence[Value]) -> int:
        """Return the worlds in which a cell gives what was seen.

        ``values`` are its readings in each of the states that an intermittent
        part goes through; steady cells must agree in all of them.
        """
        everything = self.about.effects.many.everything
        if seen == FLICKERS:
            closed = opened = 0
            for value in values:
                closed |= value.maybe
                opened |= everything & ~value.surely
            differs = any(value != values[0] for value in values)
            return closed & opened if differs else 0
        mask = everything
        for value in values:
            mask &= value.maybe if seen == CLOSED else everything & ~value.surely
        return mask if seen != UNKNOWN else EVERY_WORLD

    def effect(self, component: frozenset[int]) -> Effect:
        """Return what a set of suspects, present together, makes of the cells."""
        about = self.about
        ones = {i: about.suspects[i] for i in component}
        chosen = frozenset(i for i in component if selects(ones[i], about.number))
        selection = about.selected[chosen] if chosen else None
        mistakes = [one.mistake for one in ones.values() if one.mistake is not None]
        seen = self._as_meant(mistakes)
        parts = frozenset(
            i
            for i, one in ones.items()
            if i not in chosen
            and (
                one.fault is not None or (one.mistake is not None and one.mistake.fact is not None)
            )
        )
        fickle = [i for i in sorted(parts) if self._intermittent(ones[i])]
        states = [
            about.changed(parts - frozenset(out))
            for size in range(len(fickle) + 1)
            for out in itertools.combinations(fickle, size)
        ]
        if self.flickering:
            return Effect(states=(self._masks(states, seen),), selection=selection)
        return Effect(
            states=tuple(self._masks((state,), seen) for state in states), selection=selection
        )

    def _intermittent(self, one: Suspect) -> bool:
        return one.fault is not None and one.fault.kind.intermittent

    def _masks(
        self, states: Sequence[Mapping[str, Value]], seen: Mapping[str, str]
    ) -> dict[int, int]:
        names: Iterable[str] = dict.fromkeys(
            itertools.chain(
                *states,
                (name for name in self.seen if seen[name] != self.seen[name]),
            )
        )
        return {
            self.cells[name]: self.mask(
                name, seen[name], [state.get(name, self.healthy[name]) for state in states]
            )
            for name in names
        }

    def _as_meant(self, mistakes: Iterable[Mistake]) -> Mapping[str, str]:
        sheet = Observation(readings=self.seen)
        here = [one for one in mistakes if one.sheet in (None, self.about.number)]
        for mistake in sorted(here, key=lambda one: one.kind == "numbering"):
            if mistake.kind == "symbols":
                names = None if mistake.value == ALL else boards(self.about.profile)[mistake.value]
                sheet = sheet.inverted(names)
            elif mistake.kind == "misread":
                sheet = sheet.inverted((mistake.value,))
            elif mistake.kind == "numbering":
                sheet = sheet.exchanged(wrong_end(self.about.profile)[mistake.value])
        return sheet.readings
