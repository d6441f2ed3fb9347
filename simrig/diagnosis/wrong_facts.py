"""What the table of links is when the profile has one of its facts wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import attrs

from simrig.expectation.comparison import wrong_end
from simrig.expectation.facts import assumed_reason
from simrig.faults.deltas import Rewiring
from simrig.faults.injection import ALWAYS
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.scan.circuit import Circuit, Crossing
from simrig.scan.scanner import Links
from simrig.sensing.chain import Link, chains
from simrig.world.balls import Fact

_FLIPPED: Final = {"makes": "breaks", "breaks": "makes", "inverts": "passes", "passes": "inverts"}
_UNTRIED: Final = ("at", "follows")
"""Facts that say what works a sensor: there is no one other way that they can be."""


def assumed_facts(profile: Profile) -> Iterator[Fact]:
    """Yield the facts that the profile only assumes, and that have one other way to be."""
    facts = [fact for links in chains(profile).values() for link in links for fact in link.facts]
    facts += [
        Fact("place", place.id, "position_1") for place in profile.place if place.capacity > 1
    ]
    facts += _diodes(profile)
    for fact in dict.fromkeys(facts):
        if fact.key not in _UNTRIED and assumed_reason(profile, fact) is not None:
            yield fact


def _diodes(profile: Profile) -> Iterator[Fact]:
    if profile.matrix is None:
        return
    if profile.matrix.diodes in ("all", NONE):
        yield Fact("matrix", "", "diodes")
        return
    for name, address in profile.address_of.items():
        sensor = profile.row("sensor", name)
        if address.in_matrix and profile.has_diode(sensor) is not None:
            yield Fact("sensor", name, "diode")


def with_fact_wrong(profile: Profile, table: Links, fact: Fact) -> Links:
    """Return the table of links as it is when the profile has one fact wrong."""
    if fact.key in ("diodes", "diode"):
        return attrs.evolve(table, circuit=_other_diodes(profile, table.circuit, fact))

    def turned(link: Link) -> Link:
        if fact in link.facts:
            return attrs.evolve(link, action=_FLIPPED.get(link.action, link.action))
        return link

    found = {
        name: tuple([turned(link) for link in chain])
        if any(fact in link.facts for link in chain)
        else chain
        for name, chain in table.chains.items()
    }
    leads = dict(table.leads)
    if fact.table == "place":
        pairs = wrong_end(profile).get(fact.row, {})
        leads.update({one: table.leads.get(other, other) for one, other in pairs.items()})
    return attrs.evolve(table, chains=found, leads=leads)


def wrong_fact(profile: Profile, fact: Fact) -> Rewiring:
    """Return the same as an edit of the table of links."""
    return lambda table: with_fact_wrong(profile, table, fact)


def _other_diodes(profile: Profile, circuit: Circuit, fact: Fact) -> Circuit:
    def other(crossing: Crossing) -> Crossing:
        if fact.table == "sensor" and crossing.sensor != fact.row:
            return crossing
        if not profile.has_diode(profile.row("sensor", crossing.sensor)):
            return attrs.evolve(crossing, backward=None)
        # A diode that is open or turned round is one that somebody found there.
        return attrs.evolve(crossing, backward=ALWAYS) if crossing.forward else crossing

    return attrs.evolve(circuit, crossings=tuple([other(one) for one in circuit.crossings]))
