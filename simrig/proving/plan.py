"""The plan that proves a machine, or one repair: balls fed back one by one, served, taken out.

Every position is to be filled and emptied while its sensor is watched; lanes are
rolled across.  Balls are fed with the coils dead, served with the door shut and
hands out.  The order is common practice, no source.
"""

from __future__ import annotations

import attrs

from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile
from simrig.proving.affected import concerned
from simrig.proving.laying import Maker
from simrig.proving.step import (
    Deed,
    Step,
)
from simrig.sensing.chain import Part
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements


@attrs.frozen(kw_only=True)
class Plan:
    """The steps, and which ball sensors they prove.

    ``deeds`` say what each step does to the simulated machine, from ``empty``; ``balls`` are
    those at hand.
    """

    balls: int

    steps: tuple[Step, ...]
    deeds: tuple[Deed, ...] = attrs.field(repr=False)
    empty: Placement = attrs.field(repr=False)
    proven: tuple[str, ...]
    unproven: tuple[str, ...]


def prove(
    profile: Profile,
    *,
    repaired: Fault | Part | str | None = None,
    conditions: Conditions | None = None,
) -> Plan:
    """Return the plan that proves every ball sensor, or those that a repair concerns.

    ``repaired`` is the fault that was mended, its part, or a sensor's id.  The plan begins
    with all balls out: ``conditions`` say how many there are, and how mechanisms stand.
    Raises ValueError for a part that the machine does not have, or impossible conditions.
    """
    about = None if repaired is None else concerned(profile, repaired)
    found = conditions or Conditions()
    maker = Maker(profile, about, balls_at_hand(profile, found), found)
    maker.make()
    proven = maker.proven()
    return Plan(
        balls=maker.at_hand,
        steps=tuple(maker.steps),
        deeds=tuple(maker.deeds),
        empty=maker.empty,
        proven=tuple(proven),
        unproven=tuple(name for name in maker.balls if name not in proven),
    )


def balls_at_hand(profile: Profile, conditions: Conditions) -> int:
    """Return how many balls a plan begins by taking out: as stated, as seen, or all installed.

    Raises ValueError for impossible conditions.
    """
    there = profile.balls.installed if conditions.balls is None else conditions.balls
    if conditions.phase is None and not conditions.seen_only:
        return there
    found = legal_placements(profile, conditions)
    if not found:
        raise ValueError("no legal position of the balls fits these conditions")
    return found[0].balls if conditions.seen_only and conditions.balls is None else there
