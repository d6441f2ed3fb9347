"""A complaint as evidence: which things wrong make the machine do what people saw.

The controller's own conclusion is worked out from the readings that it gets, under
every set of suspects, over all the ways in which the balls can lie.  What a person
read wrong does not concern it.
"""

from __future__ import annotations

import itertools
from functools import cached_property

import attrs

from simrig.diagnosis.evidence import Circumstances, selects
from simrig.diagnosis.families import Classes
from simrig.diagnosis.suspects import Suspect, suspects
from simrig.diagnosis.system import Allowed, Conflict, Deviation, System
from simrig.expectation.complaints import Complaint, complaints
from simrig.faults.candidates import Fault
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile

NOBODY = -1
"""The number of a sheet that nobody wrote."""

_CARRYING = ("exchanges leads", "exchanges plugs", "shorts diode", "reverses diode")


@attrs.frozen(kw_only=True)
class Complained:
    """Evidence that the machine did what a complaint says."""

    profile: Profile = attrs.field(repr=False)
    complaint: Complaint

    @property
    def told(self) -> str:
        """What the controller makes of its readings when it does what people complain of."""
        return self.complaint.why

    def system(self, among: tuple[Suspect, ...], limit: int) -> Told:
        """Return it as a system over these suspects."""
        return Told.of(self.profile, self.complaint, among, limit)


@attrs.frozen(kw_only=True, eq=False)
class Told(System):
    """A complaint over the suspects of a machine."""

    deviations: tuple[Deviation, ...]
    complaint: Complaint
    about: Circumstances = attrs.field(repr=False)
    selecting: frozenset[int] = attrs.field(repr=False)
    changing: frozenset[int] = attrs.field(repr=False)
    stopping: frozenset[int] = attrs.field(repr=False)
    _known: dict[frozenset[int], Allowed | None] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(
        cls, profile: Profile, complaint: Complaint, among: tuple[Suspect, ...], limit: int
    ) -> Told:
        """Work out which suspects can have to do with a complaint."""
        situation = complaint.situation
        about = Circumstances.of(profile, among, NOBODY, situation.conditions, limit)
        watched = frozenset(situation.watched)
        selecting, changing, stopping = set(), set(), set()
        for index, one in enumerate(among):
            if selects(one, NOBODY):
                selecting.add(index)
            elif one.fault is not None and one.fault.kind.effect == "kicks nothing":
                if situation.coil is not None and stops(profile, one.fault, situation.coil):
                    stopping.add(index)
            elif one.fault is not None or (one.mistake is not None and one.mistake.fact):
                touched = about.interaction(index)
                carries = one.fault is not None and (
                    one.fault.kind.effect in _CARRYING or one.fault.kind.effect.endswith("lines")
                )
                if carries or (touched.reaches | touched.meets) & watched:
                    changing.add(index)
        return cls(
            deviations=tuple([one.deviation for one in among]),
            complaint=complaint,
            about=about,
            selecting=frozenset(selecting),
            changing=frozenset(changing),
            stopping=frozenset(stopping),
        )

    @cached_property
    def _helpful(self) -> frozenset[int]:
        return self.selecting | self.changing | self.stopping

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        relevant = chosen & self._helpful
        if relevant not in self._known:
            share = self._share(relevant)
            self._known[relevant] = Allowed(likelihood=share) if share else None
        return self._known[relevant] or Conflict(candidates=self._helpful - chosen)

    def classes(self) -> Classes:
        keys = [
            (index in self._helpful, key if index in self._helpful else None)
            for index, key in enumerate(self.about.keys)
        ]
        return Classes.group(self.deviations, keys)

    def _share(self, relevant: frozenset[int]) -> float:
        """Return how often it happens: over the ways the balls can lie, and what comes and goes."""
        shaky = [index for index in relevant if self._intermittent(index)]
        states = [
            relevant.difference(away)
            for size in range(len(shaky) + 1)
            for away in itertools.combinations(shaky, size)
        ]
        return sum(self._share_in(state) for state in states) / len(states)

    def _intermittent(self, index: int) -> bool:
        fault = self.about.suspects[index].fault
        return fault is not None and fault.kind.intermittent

    def _share_in(self, present: frozenset[int]) -> float:
        if present & self.stopping:
            return 1.0
        usual = self.about.selected[frozenset()]
        among = self.about.selected.get(present & self.selecting, usual)
        if not among:
            return 0.0
        everything = (1 << len(self.about.placements)) - 1
        sound = self.about.effects.healthy.cells
        changed = self.about.changed(present & self.changing)
        situation = self.complaint.situation
        cells = {name: changed.get(name) or sound[name] for name in situation.watched}
        happens = situation.happens(cells, everything)
        return (happens.maybe & among).bit_count() / among.bit_count()


def stops(profile: Profile, fault: Fault, coil: str) -> bool:
    """Whether a fault of the coil side keeps a coil from moving a ball, the door shut."""
    row = profile.row("coil", coil)
    bank = profile.row("coil_bank", row.bank) if row is not None and row.bank else None
    if fault.kind.part in ("coil", "driver"):
        return fault.part == coil
    if fault.kind.part == "coil fuse":
        return bank is not None and bank.fuse not in (None, NONE) and bank.fuse == fault.part
    if fault.kind.part == "coil supply":
        return bank is not None and bank.id == fault.part
    return fault.kind.id == "interlock-open" and (bank is None or bank.interlocked is not False)


def produced(profile: Profile, faults: tuple[Fault, ...]) -> tuple[Complaint, ...]:
    """Return what a machine with these faults does, where it can be told from the readings."""
    among = suspects(profile, (), faults=faults)
    parts = frozenset(index for index, one in enumerate(among) if one.fault is not None)
    limit = max(len(faults), 1)
    return tuple(
        [
            one
            for one in complaints(profile)
            if isinstance(Told.of(profile, one, among, limit).outcomes(parts), Allowed)
        ]
    )
