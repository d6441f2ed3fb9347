"""A recorded log as evidence: what its anomalies point to, and what its changes rule out.

A flicker points to a part of the sensor's chain that comes and goes; just after the
pulse of the kicker beside it, to a joint or a lead there.  A missed ball points to such
a part, or to one that keeps the reading where it is; a reading that stays, to a hung
ball too; exchanged leads to just these, or to exchanged plugs and lines that carry
both.  Balls that came back, or came early or late, say nothing of a part.

A sensor whose reading has changed in the log has no part that keeps it where it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

import attrs

from simrig.diagnosis.families import Classes
from simrig.diagnosis.suspects import Suspect
from simrig.diagnosis.system import Allowed, Conflict, Deviation, System
from simrig.expectation.anomalies import Anomaly
from simrig.expectation.replay import Replay
from simrig.faults.candidates import Fault
from simrig.faults.injection import inject
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links
from simrig.sensing.chain import Part, contact
from simrig.world.worlds import Value

ELSEWHERE: Final = 0.2
"""How much less a flicker just after a kick fits a part that shocks do not loosen (common
practice, no source)."""
_EXCHANGES: Final = ("exchanges leads", "exchanges plugs", "exchanges lines")


@attrs.frozen(kw_only=True)
class Logged:
    """Evidence that a log showed this."""

    profile: Profile = attrs.field(repr=False)
    replay: Replay

    def system(self, suspects: tuple[Suspect, ...], limit: int) -> Pointed:
        """Return it as a system over these suspects."""
        del limit
        return Pointed.of(self.profile, self.replay, suspects)


@attrs.frozen(kw_only=True, eq=False)
class Pointed(System):
    """The anomalies of a log over the suspects of a machine.

    Each of ``wanted`` is one thing to explain: the suspects that do, with how well.
    Each of ``excluded`` cannot be.
    """

    deviations: tuple[Deviation, ...]
    wanted: tuple[Mapping[int, float], ...]
    excluded: frozenset[int]

    @classmethod
    def of(cls, profile: Profile, replay: Replay, suspects: tuple[Suspect, ...]) -> Pointed:
        """Find out what each anomaly points to; what points to nothing is left out."""
        table = links(profile)
        faults = {index: one.fault for index, one in enumerate(suspects) if one.fault is not None}
        freezing = {
            index: frozen(profile, table, fault)
            for index, fault in faults.items()
            if not fault.kind.intermittent
        }
        swapped = {
            name
            for one in replay.anomalies
            if one.kind == "swapped"
            for name in (one.sensor, *one.others)
        }
        moving = replay.changed - swapped
        wanted = []
        for one in _distinct(replay.anomalies):
            found = {
                index: fits
                for index, fault in faults.items()
                if (fits := _fits(profile, table, one, fault, freezing.get(index, frozenset())))
            }
            found = {i: f for i, f in found.items() if not freezing.get(i, frozenset()) & moving}
            if found:
                wanted.append(found)
        return cls(
            deviations=tuple([one.deviation for one in suspects]),
            wanted=tuple(wanted),
            excluded=frozenset(index for index, held in freezing.items() if held & moving),
        )

    def outcomes(self, chosen: frozenset[int]) -> Allowed | Conflict:
        """Tell whether a set explains every anomaly, and how well."""
        if chosen & self.excluded:
            return Conflict(candidates=frozenset())
        likelihood = 1.0
        for points in self.wanted:
            fits = max((points[index] for index in chosen if index in points), default=0.0)
            if not fits:
                return Conflict(candidates=frozenset(points) - chosen)
            likelihood *= fits
        return Allowed(likelihood=likelihood)

    def classes(self) -> Classes:
        """Return suspects that explain the same things equally well as one class."""
        keys = [
            (index in self.excluded, tuple([points.get(index) for points in self.wanted]))
            for index in range(len(self.deviations))
        ]
        return Classes.group(self.deviations, keys)


def frozen(profile: Profile, table: Links, fault: Fault) -> frozenset[str]:
    """Return the sensors whose contact a fault keeps where it is, worked or not."""
    part = Part(*fault.component)
    touched = [
        name for name, chain in table.chains.items() if any(link.part == part for link in chain)
    ]
    if not touched:
        return frozenset()
    chains = inject(profile, table, [fault]).chains
    return frozenset(
        name
        for name in touched
        if contact(chains[name], Value(1, 1), 1) == contact(chains[name], Value(0, 0), 1)
    )


def _distinct(anomalies: Iterable[Anomaly]) -> list[Anomaly]:
    """One anomaly of each kind a sensor: a second says nothing new."""
    found: dict[tuple[str, str], Anomaly] = {}
    for one in anomalies:
        key = (one.kind, one.sensor)
        if key not in found or (one.beside and not found[key].beside):
            found[key] = one
    return list(found.values())


def _fits(
    profile: Profile, table: Links, one: Anomaly, fault: Fault, freezes: frozenset[str]
) -> float:
    """Return how well a fault explains an anomaly, 0 where it does not."""
    kind = fault.kind
    if one.kind == "swapped":
        pair = {one.sensor, *one.others}
        if kind.effect not in _EXCHANGES:
            return 0.0
        if kind.effect == "exchanges lines":
            return float(_between_lines(profile, fault, pair))
        leads = inject(profile, table, [fault]).leads
        return float(all(leads.get(name, name) in pair - {name} for name in pair))
    if one.kind in ("returned", "late", "early"):
        return 0.0
    if one.kind == "stuck" and kind.effect == "moves balls":
        return 1.0
    part = Part(*fault.component)
    if not any(link.part == part for link in table.chains[one.sensor]):
        return 0.0
    if kind.intermittent:
        shaken = profile.row("sensor", one.sensor).beside
        after_kick = one.beside is not None and one.beside == shaken
        return ELSEWHERE if after_kick and kind.beside_kicker == 1.0 else 1.0
    return 1.0 if one.kind in ("missed", "stuck") and one.sensor in freezes else 0.0


def _between_lines(profile: Profile, fault: Fault, pair: set[str]) -> bool:
    """Whether two sensors lie on two exchanged lines, where one other line crosses both."""
    places = [profile.address_of.get(name) for name in pair]
    found = [one for one in places if one is not None and one.in_matrix]
    if len(found) != len(pair):
        return False
    rows, columns = {one.row for one in found}, {one.column for one in found}
    across, along = (rows, columns) if fault.kind.part == "rows" else (columns, rows)
    return len(along) == 1 and {str(one) for one in across} == set(fault.part.split("+"))
