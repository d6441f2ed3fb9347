"""What faults change at the addresses, over many worlds, with only what they touch worked out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Final

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.contents import Change
from simrig.faults.deltas import Rewiring, apart, delta, together
from simrig.faults.reaching import Interaction, Reach
from simrig.faults.resolving import Resolver
from simrig.faults.standing import Exposure, Standing
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import Links, links, scan
from simrig.sensing.chain import contact
from simrig.world.worlds import Value, Worlds

KEPT: Final = 2
"""What so many changes do together is kept."""


@attrs.frozen(kw_only=True, eq=False)
class Effects:
    """A sound machine over many worlds, and what faults make of its readings."""

    profile: Profile
    everything: int = attrs.field(repr=False)
    table: Links
    contacts: Mapping[str, Value] = attrs.field(repr=False)
    healthy: Frame = attrs.field(repr=False)
    worked: Mapping[str, Value] = attrs.field(repr=False)

    _resolver: Resolver = attrs.field(repr=False)
    _changes: dict[str, Change] = attrs.field(factory=dict, repr=False)
    _cells: dict[frozenset[int], Mapping[str, int]] = attrs.field(factory=dict, repr=False)

    @classmethod
    def of(cls, profile: Profile, many: Worlds, table: Links | None = None) -> Effects:
        """Work out the sound machine once."""
        worked = {sensor.id: many.works(sensor) for sensor in profile.sensor}
        return cls.over(profile, worked, many.everything, table or links(profile))

    @classmethod
    def over(
        cls, profile: Profile, worked: Mapping[str, Value], everything: int, table: Links
    ) -> Effects:
        """Work out the sound machine once, from where each of its sensors is worked."""
        contacts = {
            name: contact(chain, worked[name], everything) for name, chain in table.chains.items()
        }
        healthy = scan(profile, table, contacts, everything)
        return cls(
            profile=profile,
            everything=everything,
            table=table,
            contacts=contacts,
            healthy=healthy,
            worked=worked,
            resolver=Resolver(profile, table, worked, contacts, healthy),
        )

    def change(self, fault: Fault) -> Change:
        """Return what a fault changes in the table of links."""
        found = self._changes.get(fault.name)
        if found is None:
            made = delta(self.profile, self.table, (fault,))
            found = self._changes[fault.name] = self._resolver.change(made)
        return found

    def rewired(self, rewiring: Rewiring) -> Change:
        """Return what an edit that is no fault changes in the table of links."""
        return self._resolver.change(delta(self.profile, self.table, (), (rewiring,)))

    def changed(self, faults: Iterable[Fault]) -> Mapping[str, Value]:
        """Return the cells whose reading can differ from the sound machine's, and their values."""
        return self.changed_by([self.change(fault) for fault in faults])

    def changed_by(self, changes: Sequence[Change]) -> Mapping[str, Value]:
        """Return the cells that changes of links make read otherwise, and their values.

        Raises ValueError when one part is given two modes.
        """
        unpacked = self._resolver.unpacked
        return {name: unpacked(closed) for name, closed in self.resolved(changes)[1].items()}

    def resolved(
        self, changes: Sequence[Change]
    ) -> tuple[frozenset[int] | None, Mapping[str, int]]:
        """Return the same, after a key that is equal for changes that no reading can part.

        There is none for more than two changes: such sets are met once, and too many to keep.

        Both bounds of a reading are in one integer: the worlds in which it surely is
        closed, and above them those in which it may be.  Raises ValueError when one
        part is given two modes.
        """
        made = self._apart(changes)
        # Changes without content do nothing beside what touches other links.
        some = [one for one in made if one.number]
        if len(changes) > KEPT:
            return None, self._resolver.cells(some)
        key = frozenset([one.number for one in some])
        found = self._cells.get(key)
        if found is None:
            found = self._cells[key] = self._resolver.cells(some)
        return key, found

    def _apart(self, changes: Sequence[Change]) -> Sequence[Change]:
        """Return changes as they are, or as one where some touch the same sensor or line."""
        if len(changes) < 2 or apart([one.delta for one in changes]):
            return changes
        both = together(self.profile, self.table, [one.delta for one in changes])
        return (self._resolver.change(both, counted=len(changes) <= KEPT),)

    def exposed(self, changes: Sequence[Change], worlds: int) -> Exposure:
        """Return the cells on which changes bear, made together, in some worlds."""
        return self.standing.exposed(self._apart(changes), worlds)

    def interaction(self, fault: Fault, limit: int) -> Interaction:
        """Return where a fault meets others, and what it can change, with ``limit`` at most."""
        change = self.change(fault)
        if change.delta.in_circuit:
            return self._reach.of_circuit(change, fault, limit)
        return self._reach.of_contacts(change)

    def interaction_of(self, change: Change) -> Interaction:
        """Return the same of a change that is no fault."""
        if change.delta.in_circuit:
            return self._reach.everywhere(change.delta.chains)
        return self._reach.of_contacts(change)

    @cached_property
    def standing(self) -> Standing:
        """Which changes stand beside others."""
        return Standing(self.table, self._resolver)

    @cached_property
    def _reach(self) -> Reach:
        return Reach(self.table, self.contacts, self._resolver.lost)
