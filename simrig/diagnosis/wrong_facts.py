"""What a machine would be with one statement of its profile wrong, as an edit of the table of links."""

from __future__ import annotations

from typing import Final

import attrs

from simrig.expectation.comparison import wrong_end
from simrig.faults.deltas import Rewiring
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.sensing.chain import Link
from simrig.world.balls import Fact

_FLIPPED: Final = {"makes": "breaks", "breaks": "makes", "inverts": "passes", "passes": "inverts"}


def wrong_fact(profile: Profile, fact: Fact) -> Rewiring:
    """Return the edit that makes the links as they are when the profile has a fact wrong."""

    def flip(link: Link) -> Link:
        if fact not in link.facts:
            return link
        return attrs.evolve(link, action=_FLIPPED.get(link.action, link.action))

    def edit(table: Links) -> Links:
        chains = {
            name: tuple([flip(link) for link in chain])
            if any(fact in link.facts for link in chain)
            else chain
            for name, chain in table.chains.items()
        }
        leads = dict(table.leads)
        if fact.table == "place":
            pairs = wrong_end(profile).get(fact.row, {})
            leads.update({one: table.leads.get(other, other) for one, other in pairs.items()})
        return attrs.evolve(table, chains=chains, leads=leads)

    return edit
