"""Which faults show alike under every reading: what they make of each sensor, worked or not.

Two faults that leave every sensor reading the same, whether a ball is at it or not,
cannot be told apart by any reading: a dark emitter and a dead receiver, a blown fuse
and the plug behind it.  This compares single faults; beside another fault on the
same chain they may differ (``interchangeable``).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import cached_property

import attrs

from simrig.diagnosis.suspects import Suspect
from simrig.faults.candidates import Fault
from simrig.faults.injection import inject, lines_of, plug_pairs
from simrig.profile.machine import Profile
from simrig.scan.circuit import on_lines, sneaking
from simrig.scan.scanner import Links
from simrig.sensing.chain import contact
from simrig.world.worlds import Value

_WORKED = Value(0b10, 0b10)
"""Two worlds: nothing at the sensor, and a ball at it."""

ON_CHAINS = ("breaks", "opens", "forces", "inverts")

Apart = Callable[[Fault], Hashable]
"""What bench checks tell of a fault: equal values cannot be parted by any check."""


@attrs.frozen(kw_only=True, eq=False)
class Grouping:
    """Keys by which suspects of one machine form groups.

    ``keys`` are those of ``interchangeable``.  What shows alike is parted further by
    ``parted``, whether a bench check tells two faults apart, or by ``apart``, if given.
    """

    profile: Profile
    table: Links = attrs.field(repr=False)
    suspects: tuple[Suspect, ...] = attrs.field(repr=False)
    keys: tuple[Hashable, ...] = attrs.field(repr=False)
    parted: Callable[[Fault, Fault], bool] = attrs.field(repr=False)
    apart: Apart | None = None
    _told: dict[Hashable, list[Fault]] = attrs.field(factory=dict, repr=False)
    _touched: dict[str, frozenset[str]] = attrs.field(factory=dict, repr=False)
    _alone: dict[int, Hashable] = attrs.field(factory=dict, repr=False)

    def of(self, members: tuple[int, ...]) -> Hashable:
        """Return the key of a set of suspects; equal for sets that nothing can part."""
        return self.alike(members), frozenset([self._checked(index) for index in members])

    def alike(self, members: tuple[int, ...]) -> Hashable:
        """Return the key of a set of suspects; equal for sets that no reading can part."""
        if len(members) < 2 or self._independent(members):
            return frozenset([self._key(index) for index in members])
        return frozenset([self.keys[index] for index in members])

    def touches(self, fault: Fault) -> frozenset[str]:
        """Return the sensors at whose contact or crossing a fault is."""
        if fault.name not in self._touched:
            self._touched[fault.name] = self._find_touched(fault)
        return self._touched[fault.name]

    def _find_touched(self, fault: Fault) -> frozenset[str]:
        part, effect = fault.component, fault.kind.effect
        if effect in ON_CHAINS:
            lines = lines_of(self.profile, fault)
            return frozenset(
                [
                    name
                    for name, chain in self.table.chains.items()
                    if any(link.part == part for link in chain)
                ]
                + [one.sensor for one in self.table.circuit.crossings if on_lines(one, lines)]
            )
        if effect.endswith("diode"):
            return frozenset((fault.part,))
        if effect.endswith("line"):
            return self._on_line(fault)
        return frozenset(fault.part.split("+")) if effect == "exchanges leads" else frozenset()

    def _independent(self, members: tuple[int, ...]) -> bool:
        met: set[str] = set()
        for index in members:
            fault = self.suspects[index].fault
            if fault is None:
                continue
            touched = self.touches(fault)
            if touched & met or not touched or fault.kind.effect not in (*ON_CHAINS, "opens diode"):
                return False
            met |= touched
        return True

    def _key(self, index: int) -> Hashable:
        if index not in self._alone:
            fault = self.suspects[index].fault
            self._alone[index] = index if fault is None else self._shows(fault)
        return self._alone[index]

    def _checked(self, index: int) -> Hashable:
        """Return what checks tell of a fault: its like among those that show as it does."""
        fault = self.suspects[index].fault
        if fault is None or self.apart is not None:
            return None if fault is None or self.apart is None else self.apart(fault)
        alike = self._told.setdefault(self._key(index), [])
        for other in alike:
            if other.name == fault.name or not self.parted(fault, other):
                return other.name
        alike.append(fault)
        return fault.name

    def _shows(self, fault: Fault) -> Hashable:
        """Return what a fault makes of each sensor, or its name where that is not all it does."""
        effect = fault.kind.effect
        touched = self.touches(fault)
        reads: dict[str, Value] = {}
        if lines_of(self.profile, fault):
            if touched & self._sneaking or any(
                link.part == fault.component for name in touched for link in self.table.chains[name]
            ):
                return fault.name
            reads = dict.fromkeys(touched, Value(0, 0))
        elif effect in ON_CHAINS:
            changed = inject(self.profile, self.table, (fault,)).chains
            reads = {name: contact(changed[name], _WORKED, 0b11) for name in touched}
        elif effect in ("opens diode", "opens line", "cuts line") and not touched & self._sneaking:
            reads = dict.fromkeys(touched, Value(0, 0))
        elif effect == "exchanges leads":
            return frozenset((touched,))
        elif effect == "exchanges plugs":
            one, other = fault.part.split("+")
            return frozenset(map(frozenset, plug_pairs(self.profile, one, other)))
        elif effect == "shorts diode":
            return effect, fault.part
        elif effect == "moves balls":
            return self._balls(fault)
        if not reads:
            return fault.name
        sound = {name: contact(self.table.chains[name], _WORKED, 0b11) for name in reads}
        differs = frozenset((name, value) for name, value in reads.items() if value != sound[name])
        return (differs, fault.kind.intermittent) if differs else fault.name

    @cached_property
    def _sneaking(self) -> frozenset[str]:
        return sneaking(self.table.circuit)

    def _balls(self, fault: Fault) -> Hashable:
        if fault.kind.id == "ball-missing":
            return "a ball that nobody sees"
        if fault.kind.id == "ball-hung" and not any(
            spot.route == fault.part and spot.id in self.profile.covering
            for spot in self.profile.spots.values()
        ):
            return "a ball that nobody sees"
        return fault.name

    def _on_line(self, fault: Fault) -> frozenset[str]:
        axis = "row" if fault.kind.part.startswith("row") else "column"
        number, _, place = fault.part.partition("@")
        cells = frozenset(
            [
                one.sensor
                for one in self.table.circuit.crossings
                if getattr(one, axis)[0] == int(number)
            ]
        )
        if not place:
            return cells
        line = next(one for one in getattr(self.profile.matrix, axis) if one.number == int(number))
        return cells & frozenset((line.order or ())[int(place) :])
