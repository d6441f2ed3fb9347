"""One sheet's system among several, and the models that sheets share.

What is worked out for a machine under some conditions holds for every sheet seen
under them.  A model speaks of a single sheet, all of it looked at; ``OneSheet``
lets the suspects of several sheets see it as theirs: what concerns another sheet
has no effect on this one.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from functools import cached_property

import attrs

from simrig.diagnosis.cells import system
from simrig.diagnosis.deviation import Deviation
from simrig.diagnosis.evidence import Circumstances
from simrig.diagnosis.families import Classes
from simrig.diagnosis.parting import Parting
from simrig.diagnosis.readings import MaskSystem
from simrig.diagnosis.suspects import Sheet, Suspect, suspects
from simrig.diagnosis.system import Allowed, Conflict, System
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile
from simrig.scan.frame import fewest
from simrig.scan.scanner import Links, links
from simrig.signals import FLICKERS, OPEN
from simrig.world.balls import count_by_place
from simrig.world.phases import Conditions


@attrs.frozen(kw_only=True, eq=False)
class Models:
    """The models of one machine, each made once for its conditions; for many diagnoses.

    ``faults`` are the faults that are suspected, ``limit`` the number of things
    that may be wrong at once.
    """

    profile: Profile
    faults: tuple[Fault, ...] = attrs.field(repr=False)
    limit: int
    _known: dict[Hashable, Circumstances] = attrs.field(factory=dict, repr=False)
    _names: dict[Hashable, dict[Hashable, int]] = attrs.field(factory=dict, repr=False)

    @cached_property
    def table(self) -> Links:
        """The table of links of the sound machine."""
        return links(self.profile)

    @cached_property
    def parting(self) -> Parting:
        """What bench checks can part."""
        return Parting(profile=self.profile)

    def prepare(self, conditions: Iterable[Conditions]) -> None:
        """Make the models of some conditions at one go: they then share what faults do."""
        missing = {_key(one): one for one in conditions if _key(one) not in self._known}
        if not missing:
            return
        everything = Observation(readings={one.id: OPEN for one in self.profile.sensor})
        asked = []
        for one in missing.values():
            single = Sheet(observation=everything, conditions=one)
            asked.append((suspects(self.profile, (single,), faults=self.faults), 0, one))
        made = Circumstances.of_each(self.profile, asked, self.limit)
        for key, about in zip(missing, made, strict=True):
            self._known[key] = about
            self._names[key] = {_name(one, 0): i for i, one in enumerate(about.suspects)}

    def sheet(self, among: tuple[Suspect, ...], number: int, sheet: Sheet) -> OneSheet:
        """Return sheet ``number`` as a system over the suspects of all sheets."""
        self.prepare((sheet.conditions,))
        key = _key(sheet.conditions)
        about, names = self._known[key], self._names[key]
        return OneSheet(
            deviations=tuple([one.deviation for one in among]),
            about=about,
            inside=system(about, sheet.observation),
            to_inside=tuple([names.get(_name(one, number)) for one in among]),
        )


def _name(one: Suspect, number: int) -> Hashable:
    """Name a suspect so that those of a sheet are called as those of a single sheet."""
    mistake = one.mistake
    if mistake is None or mistake.sheet is None:
        return one.name
    return (mistake.kind, mistake.value) if mistake.sheet == number else None


def _key(conditions: Conditions) -> Hashable:
    return (
        conditions.phase,
        conditions.balls,
        None if conditions.at is None else tuple(sorted(conditions.at.items())),
        conditions.spots,
        tuple(sorted(conditions.states.items())),
    )


@attrs.frozen(kw_only=True, eq=False)
class OneSheet(System):
    """A model's system under other suspects; ``to_inside`` gives each its index there.

    None stands for a suspect that has no effect on this sheet.
    """

    deviations: tuple[Deviation, ...]
    about: Circumstances = attrs.field(repr=False)
    inside: MaskSystem = attrs.field(repr=False)
    to_inside: tuple[int | None, ...] = attrs.field(repr=False)

    @cached_property
    def _to_outside(self) -> dict[int, int]:
        return {inner: outer for outer, inner in enumerate(self.to_inside) if inner is not None}

    def chosen_inside(self, chosen: Iterable[int]) -> frozenset[int]:
        """Return the members of a set that have an effect here, by their indices inside."""
        members = [self.to_inside[index] for index in chosen]
        return frozenset([index for index in members if index is not None])

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        outcome = self.inside.outcomes(self.chosen_inside(chosen))
        if isinstance(outcome, Allowed):
            return outcome
        outside = self._to_outside
        return Conflict(
            candidates=frozenset([outside[i] for i in outcome.candidates if i in outside])
        )

    def extensions(self, chosen: frozenset[int], candidates: Iterable[int]) -> dict[int, float]:
        here, elsewhere = {}, []
        for index in candidates:
            inner = self.to_inside[index]
            if inner is None:
                elsewhere.append(index)
            else:
                here[inner] = index
        found = self.inside.extensions(self.chosen_inside(chosen), here)
        likelihoods = {here[inner]: likelihood for inner, likelihood in found.items()}
        if elsewhere:
            outcome = self.outcomes(chosen)
            if isinstance(outcome, Allowed):
                likelihoods.update(dict.fromkeys(elsewhere, outcome.likelihood))
        return likelihoods

    def classes(self) -> Classes:
        class_of = self.inside.classes().class_of
        return Classes.group(
            self.deviations,
            [-1 if inner is None else class_of[inner] for inner in self.to_inside],
        )

    def worlds(self, chosen: Iterable[int]) -> int:
        """Return the mask of the worlds that give exactly this sheet's readings under a set."""
        return self.inside.agreeing_worlds(self.chosen_inside(chosen))

    def conflicting_sensors(self, chosen: Iterable[int]) -> tuple[str, ...]:
        """Return the sensors whose readings cannot be together under a set; none if they can."""
        sensors = self.about.profile.sensor
        cells = self.inside.conflicting_cells(self.chosen_inside(chosen))
        return tuple([sensors[cell].id for cell in cells if cell < len(sensors)])

    def ways(self, chosen: Iterable[int]) -> tuple[dict[str, int], ...]:
        """Return the different ways the balls can lie under a set, as balls by place."""
        profile, placements = self.about.profile, self.about.placements
        found: dict[tuple[tuple[str, int], ...], None] = {}
        for index in bits(self.worlds(chosen)):
            found[tuple(count_by_place(profile, placements[index]).items())] = None
        return tuple([dict(way) for way in found])


def bits(mask: int) -> Iterable[int]:
    """Yield the numbers of the bits that are set, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def systems(models: Models, among: tuple[Suspect, ...], sheets: Sequence[Sheet]) -> list[OneSheet]:
    """Return every sheet as a system over the same suspects."""
    models.prepare([sheet.conditions for sheet in sheets])
    return [models.sheet(among, number, sheet) for number, sheet in enumerate(sheets)]


def differing(sheet: Sheet, system: OneSheet) -> tuple[str, ...]:
    """Return the sensors that are not as a sound machine's, with the balls lying so that they
    are fewest."""
    about = system.about
    healthy = about.effects.healthy
    looked = sheet.observation.looked_at()
    masks = {
        name: healthy.everything if seen == FLICKERS else healthy.disagrees(name, seen)
        for name, seen in looked.items()
    }
    _, best = fewest(masks.values(), about.selected[frozenset()])
    world = best & -best
    return tuple([name for name, mask in masks.items() if mask & world])
