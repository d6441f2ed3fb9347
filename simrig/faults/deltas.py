"""What an edit changes in the table of links, and nothing else of it.

An edit reads and writes certain links only, whatever else is wrong.  So edits
that touch different sensors and lines are made together by laying their changes
side by side; those that share some are made again, on the links that they touch.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from functools import cached_property
from typing import TypeVar

import attrs

from simrig.faults.candidates import Fault
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.circuit import Crossing, Node
from simrig.scan.scanner import Links
from simrig.sensing.chain import Chain

_Key = TypeVar("_Key", bound=Hashable)
_Entry = TypeVar("_Entry")

Rewiring = Callable[[Links], Links]
"""An edit that is no fault, such as a wrong statement of the profile; it keeps to the rule above."""


@attrs.frozen(kw_only=True, eq=False)
class Delta:
    """The links that faults and rewirings change, as they then are."""

    faults: tuple[Fault, ...] = ()
    rewirings: tuple[Rewiring, ...] = ()
    chains: Mapping[str, Chain] = attrs.field(factory=dict)
    leads: Mapping[str, str] = attrs.field(factory=dict)
    crossings: Mapping[str, Crossing] = attrs.field(factory=dict)
    strobes: Mapping[int, frozenset[Node]] = attrs.field(factory=dict)
    reads: Mapping[int, frozenset[Node]] = attrs.field(factory=dict)
    held: frozenset[int] = frozenset()
    joined: tuple[tuple[str, int, int], ...] = ()

    @cached_property
    def touches(self) -> frozenset[Hashable]:
        """The sensors and lines concerned; held and joined lines come one upon the other."""
        lines = [("strobes", number) for number in self.strobes]
        lines += [("reads", number) for number in self.reads]
        return frozenset([*self.chains, *self.leads, *self.crossings, *lines])

    @property
    def in_circuit(self) -> bool:
        """Whether crossings or lines of the matrix are changed."""
        return any((self.crossings, self.strobes, self.reads, self.held, self.joined))


def delta(
    profile: Profile,
    table: Links,
    faults: Sequence[Fault] = (),
    rewirings: Sequence[Rewiring] = (),
) -> Delta:
    """Return what faults and rewirings change in a table of links.

    Raises ValueError when one part is given two modes.
    """
    made = inject(profile, table, faults)
    for rewiring in rewirings:
        made = rewiring(made)
    sound, circuit = table.circuit, made.circuit
    before = {one.sensor: one for one in sound.crossings}
    return Delta(
        faults=tuple(faults),
        rewirings=tuple(rewirings),
        chains=_changed(table.chains, made.chains),
        leads={
            name: source
            for name, source in made.leads.items()
            if table.leads.get(name, name) != source
        },
        crossings={one.sensor: one for one in circuit.crossings if one is not before[one.sensor]},
        strobes=_changed(sound.strobes, circuit.strobes),
        reads=_changed(sound.reads, circuit.reads),
        held=circuit.held - sound.held,
        joined=circuit.joined[len(sound.joined) :],
    )


def apart(deltas: Sequence[Delta]) -> bool:
    """Tell whether no two edits touch the same sensor or line."""
    if len(deltas) == 2:
        return deltas[0].touches.isdisjoint(deltas[1].touches)
    return sum([len(one.touches) for one in deltas]) == len(
        frozenset().union(*[one.touches for one in deltas])
    )


def together(profile: Profile, table: Links, deltas: Sequence[Delta]) -> Delta:
    """Return what several edits of a table change, made one upon the other.

    Raises ValueError when one part is given two modes.
    """
    chains = {name: table.chains[name] for one in deltas for name in one.chains}
    crossings = {name for one in deltas for name in one.crossings}
    circuit = attrs.evolve(
        table.circuit,
        crossings=tuple([one for one in table.circuit.crossings if one.sensor in crossings]),
    )
    return delta(
        profile,
        attrs.evolve(table, chains=chains, circuit=circuit),
        [fault for one in deltas for fault in one.faults],
        [rewiring for one in deltas for rewiring in one.rewirings],
    )


def _changed(before: Mapping[_Key, _Entry], after: Mapping[_Key, _Entry]) -> dict[_Key, _Entry]:
    return {key: entry for key, entry in after.items() if entry is not before.get(key)}
