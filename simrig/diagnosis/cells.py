"""One sheet as a system of cells and worlds: the machine's side of the reasoning.

Cells are all sensors; their masks are worked out here, sound and under suspects.  A
reader's error edits what was seen.  A flickering cell is one that an intermittent part
makes read one way at one time and the other way at another.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence

from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.masks import Effect, MaskModel, Masks
from simrig.diagnosis.pieces import NOWHERE, Exposure, Pieces
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.suspects import Mistake
from simrig.expectation.comparison import ALL, boards, wrong_end
from simrig.expectation.observation import Observation
from simrig.faults.effects import KEPT
from simrig.faults.reaching import Interaction
from simrig.signals import CLOSED, FLICKERS, OPEN, UNKNOWN
from simrig.world.worlds import Value


class Cells:
    """The cells of one sheet's circumstances, for sheets of one kind.

    ``flickering`` sheets are those on which a sensor flickers: an intermittent part
    is then seen in both of its states, on others in one of them.
    """

    def __init__(self, about: Circumstances, flickering: bool) -> None:
        self.about = about
        self.flickering = flickering
        self.healthy = about.effects.healthy.cells
        self.cells = {sensor.id: number for number, sensor in enumerate(about.profile.sensor)}
        self._everything = about.effects.everything
        self._count = len(about.placements)
        selecting = {index for chosen in about.selected for index in chosen}
        self._selecting = selecting
        parts, fickle = set(), set()
        self._mistakes: dict[int, Mistake] = {}
        for index, one in enumerate(about.suspects):
            mistake = one.mistake
            if mistake is not None and mistake.sheet in (None, about.number):
                self._mistakes[index] = mistake
            if index in selecting:
                continue
            if one.fault is not None or (mistake is not None and mistake.fact is not None):
                parts.add(index)
                if one.fault is not None and one.fault.kind.intermittent:
                    fickle.add(index)
        self._parts, self._fickle = parts, fickle
        self._steady = parts - fickle
        self._common = {index for index in parts if index < about.common}

    def model(self) -> MaskModel:
        """Return the cells and worlds with everything that a set of suspects can make of them."""
        about = self.about
        count = len(self.cells)
        interactions = [about.interaction(index) for index in range(len(about.suspects))]
        selecting = [(i in self._selecting) << count for i in range(len(about.suspects))]
        meets = [
            self._bits(one.meets) | bits for one, bits in zip(interactions, selecting, strict=True)
        ]
        # Where one supplies what another lacks, they meet at a bit of their own.
        bit = 2 << count
        several = [(index, one) for index, one in enumerate(interactions) if len(one.several) > 1]
        for index, one in enumerate(interactions):
            suppliers = [i for i, other in several if one.supplied_by(other)] if one.lacks else []
            for other in [index, *suppliers] if suppliers else ():
                meets[other] |= bit
            bit <<= bool(suppliers)
        reaches = [
            self._bits(one.reaches) | bits
            for one, bits in zip(interactions, selecting, strict=True)
        ]
        both = list(zip(interactions, reaches, strict=True))
        return MaskModel(
            deviations=tuple([one.deviation for one in about.suspects]),
            meets=tuple(meets),
            reaches=tuple(reaches),
            enlarges=(
                tuple([bits if one.opens else 0 for one, bits in both]),
                tuple([bits if one.closes else 0 for one, bits in both]),
                tuple(reaches),
            ),
            turners=frozenset(
                [i for i, one in self._mistakes.items() if one.kind in ("symbols", "misread")]
            ),
            carriers=frozenset([i for i, one in enumerate(interactions) if one.carries]),
            count=len(about.placements),
            healthy=tuple([self._masks_of_states([self.healthy[name]]) for name in self.cells]),
            worlds=about.selected[frozenset()],
            effect=self.effect,
            keys=about.keys,
            parting=self._parting(interactions) if about.limit > 2 else None,
        )

    def _parting(self, interactions: Sequence[Interaction]) -> Pieces:
        """Return what takes out suspects that stand apart; of two, ``meets`` tells enough."""
        about, standing = self.about, self.about.effects.standing
        own: list[int | None] = []
        for index, one in enumerate(interactions):
            if index in self._selecting:
                own.append(None)
            elif index in self._parts:
                change = about.change(index)
                own.append(self._bits(standing.own(change)) if standing.plain(change) else None)
            else:
                own.append(self._bits(one.reaches))
        return Pieces(
            own=tuple(own),
            taking=frozenset([i for i in self._parts if not interactions[i].closes]),
            exposed=self._exposed,
        )

    def _exposed(self, some: frozenset[int], every: bool) -> Exposure:
        """Return the cells on which suspects bear, whether those that come and go show or not."""
        about = self.about
        parts = some & self._parts
        usual = about.selected[frozenset()]
        found = NOWHERE
        for index in some - parts - self._selecting:
            found = found.joined(Exposure(self._bits(about.interaction(index).reaches), 0))
        for shown in self._shown(parts):
            changes = [about.change(i) for i in sorted(shown)]
            names = about.effects.exposed(changes, self._everything if every else usual)
            found = found.joined(Exposure(self._bits(names.bears), self._bits(names.near)))
        return found

    def _shown(self, parts: frozenset[int]) -> list[frozenset[int]]:
        """Return what parts show when those of them that come and go do or do not."""
        fickle = sorted(parts & self._fickle)
        return [
            parts - frozenset(out)
            for size in range(len(fickle) + 1)
            for out in itertools.combinations(fickle, size)
        ]

    def _bits(self, names: Iterable[str]) -> int:
        bits = 0
        for name in names:
            bits |= 1 << self.cells[name]
        return bits

    def _masks(self, closed: int) -> Masks:
        """Return the worlds in which a steady cell reads open, closed, or flickers.

        ``closed`` are those in which it surely is, and above them those in which it may be.
        """
        everything = self._everything
        return everything ^ closed & everything, closed >> self._count, 0

    def _masks_of_states(self, values: Sequence[Value]) -> Masks:
        """Return the worlds in which a cell reads open, closed, or flickers.

        ``values`` are its readings in each of the states that follow each other.
        """
        everything = self._everything
        opened = closed = everything
        ever_opened = ever_closed = differs = 0
        for value in values:
            opened &= ~value.surely
            closed &= value.maybe
            ever_opened |= everything & ~value.surely
            ever_closed |= value.maybe
            differs |= value.surely ^ values[0].surely | value.maybe ^ values[0].maybe
        return opened, closed, ever_opened & ever_closed & differs

    def effect(self, component: frozenset[int]) -> Effect:
        """Return what a set of suspects, present together, makes of the cells."""
        if self.flickering and component & self._fickle:
            return self._effect(component)
        joint = self.about.joint
        found = joint.get(component)
        if found is None:
            found = self._effect(component)
            if component <= self._common and len(component) <= KEPT:
                joint[component] = found
        return found

    def _effect(self, component: frozenset[int]) -> Effect:
        about = self.about
        if component <= self._steady:
            return self._of_steady_parts(component)
        chosen = component & self._selecting
        parts = component & self._parts
        present = self._shown(parts)
        mistakes = [self._mistakes[i] for i in component if i in self._mistakes]
        if not self.flickering and all(one.fact is not None for one in mistakes):
            states = [self._of_steady_parts(some).states[0] for some in present]
        else:
            readings = [about.changed(some) for some in present]
            together = [readings] if self.flickering else [[one] for one in readings]
            states = [self._changed(some, mistakes) for some in together]
        return Effect(states=tuple(states), selection=about.selected[chosen] if chosen else None)

    def _of_steady_parts(self, component: frozenset[int]) -> Effect:
        """Return the effect of parts alone that do not come and go."""
        about = self.about
        key, state = about.effects.resolved([about.change(i) for i in component])
        effect = None if key is None else about.steady.get(key)
        if effect is None:
            cells = {self.cells[name]: self._masks(closed) for name, closed in state.items()}
            effect = Effect(states=(cells,))
            if key is not None:
                about.steady[key] = effect
        return effect

    def _changed(
        self, states: Sequence[Mapping[str, Value]], mistakes: Sequence[Mistake]
    ) -> dict[int, tuple[int, ...]]:
        """Return the masks of the cells that parts or the reader's mistakes change."""
        inverted: set[str] = set()
        exchanged: dict[str, str] = {}
        for mistake in mistakes:
            if mistake.kind == "symbols":
                all_cells = mistake.value == ALL
                inverted ^= set(
                    self.cells if all_cells else boards(self.about.profile)[mistake.value]
                )
            elif mistake.kind == "misread":
                inverted ^= {mistake.value}
            elif mistake.kind == "numbering":
                exchanged.update(wrong_end(self.about.profile)[mistake.value])
        noted = {exchanged.get(name, name) for state in states for name in state}
        found: dict[int, tuple[int, ...]] = {}
        for name in noted | inverted | set(exchanged):
            meant = exchanged.get(name, name)
            healthy = self.healthy[meant]
            masks = self._masks_of_states([state.get(meant, healthy) for state in states])
            if name in inverted:
                masks = (masks[1], masks[0], masks[2])
            found[self.cells[name]] = masks
        return found


def system(circumstances: Circumstances, observation: Observation) -> MaskSystem:
    """Return one sheet as a system for the reasoning."""
    looked = observation.looked_at()
    flickering = FLICKERS in looked.values()
    models = circumstances.models
    if flickering not in models:
        models[flickering] = Cells(circumstances, flickering).model()
    names = [sensor.id for sensor in circumstances.profile.sensor]
    return MaskSystem(
        model=models[flickering],
        readings=tuple([_VALUES.get(looked.get(name, UNKNOWN)) for name in names]),
        barred=frozenset(
            [
                index
                for index, one in enumerate(circumstances.suspects)
                if one.mistake is not None
                and one.mistake.kind == "misread"
                and one.mistake.sheet == circumstances.number
                and one.mistake.value not in looked
            ]
        ),
    )


_VALUES = {OPEN: 0, CLOSED: 1, FLICKERS: 2}
"""The values that a cell can read, as positions among its masks."""
