"""A step of a proof: what is done, what each sensor does then, and what reads after it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import attrs

from simrig.expectation.contacts import Contacts
from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.timeline import changes, worked_at_rest
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links
from simrig.signals import CLOSED, EITHER, OPEN
from simrig.world.balls import Placement
from simrig.world.moves import Move

DEAD: Final = "dead"
LIVE: Final = "live"
WITH_BALL: Final = "with a ball"
AT_REST: Final = "at rest"


@attrs.frozen(kw_only=True)
class Worked:
    """A sensor that begins, or ceases, to be worked; ``certain`` unless it may go unseen.

    What goes unseen goes unseen as a whole: all of one ``going``.  ``turn`` is its place
    in the order of the step, 0 where that order is not sure.
    """

    sensor: str
    worked: bool
    certain: bool = True
    going: int = 0
    turn: int = 0


@attrs.frozen(kw_only=True)
class Change:
    """A reading that a step gives; ``certain`` unless it may go unseen.

    ``turn`` is its place in the order of the step, 0 where that order is not sure.
    """

    sensor: str
    reading: str
    certain: bool
    turn: int = 0


@attrs.frozen(kw_only=True)
class Step:
    """One thing to do, and what must be seen.

    ``changes`` are the readings that change, in order; ``reads`` what each ball
    sensor reads when the step is over, ``rests`` the sensors at which a ball came to rest, where
    it may rebound, ``unsure`` those that what goes unseen elsewhere makes read either
    way for a moment.  ``proves`` names the sensors that have been seen both ways once this step
    is done, and not before.  ``coils`` is dead or live, ``coil`` the coil that fires;
    ``caution`` is said where the bench changes.
    """

    do: str
    expect: str
    coils: str = DEAD
    coil: str | None = None
    changes: tuple[Change, ...] = attrs.field(default=(), repr=False)
    reads: Mapping[str, str] = attrs.field(factory=dict, repr=False)
    rests: frozenset[str] = frozenset()
    unsure: frozenset[str] = frozenset()
    proves: tuple[str, ...] = ()
    caution: str = ""


@attrs.frozen(kw_only=True)
class Deed:
    """What a step does to the machine: moves of balls, or sensors worked by hand."""

    moves: tuple[Move, ...] = ()
    by_hand: tuple[Worked, ...] = ()
    after: Placement


def worked_by(
    profile: Profile, before: Placement, deed: Deed
) -> tuple[list[Worked], frozenset[str]]:
    """Return what the deed works, in order, and the sensors at which a ball comes to rest."""
    from simrig.expectation.flow import moved

    motions = Motions(profile, sampling=sampling_of(profile))
    found: list[Worked] = []
    rests: set[str] = set()
    here = before
    goings = 0
    for move in deed.moves:
        motion = motions.of(here, move)
        edges = []
        begins = motion.begins
        for number, (begin, one) in enumerate(zip(begins, motion.passes, strict=True)):
            goings += 1
            stays = one.length_ms is None
            # A ball that stays is seen in the end, however fast it came.
            certain = one.certain or (stays and one.reason != "unknown")
            edges.append((begin.typical, number, 0, one.sensor, one.worked, certain, goings))
            if one.length_ms is not None:
                end = (begin + one.length_ms).typical
                edges.append((end, number, 1, one.sensor, not one.worked, certain, goings))
            elif one.worked:
                rests.add(one.sensor)
        edges.sort(key=lambda edge: edge[:3])
        found += [
            Worked(sensor=sensor, worked=worked, certain=certain, going=going)
            for _, _, _, sensor, worked, certain, going in edges
        ]
        here = moved(profile, here, move)
    found += deed.by_hand
    if len(deed.moves) + bool(deed.by_hand) == 1 and (
        not deed.moves or deed.moves[0].verb == "feed"
    ):
        # One ball, one way: what it works, it works in this order.
        found = [attrs.evolve(one, turn=turn) for turn, one in enumerate(found, 1)]
    return found, frozenset(rests)


def readings_of(
    profile: Profile, table: Links, before: Placement, worked: Sequence[Worked]
) -> tuple[dict[str, str], list[Change]]:
    """Return all readings before, and what changes at the addresses while sensors are worked."""
    start = worked_at_rest(profile, before)
    moving = changes(profile, table, start, [(one.sensor, one.worked) for one in worked])
    opening = dict(next(moving))
    found = [
        Change(
            sensor=sensor,
            reading=reading,
            # What another switch makes it read comes and goes with what that one shows.
            certain=one.certain and reading != EITHER and sensor == one.sensor,
            turn=one.turn,
        )
        for one, changed in zip(worked, moving, strict=True)
        for sensor, reading in changed
    ]
    return opening, found


def passing_ways(worked: Sequence[Worked], made: Sequence[Change]) -> Iterator[tuple[str, str]]:
    """Yield the sensors that surely answer to what works them, and which way."""
    surely = {one.sensor for one in made if one.certain}
    for one in worked:
        if one.certain and one.sensor in surely:
            yield one.sensor, WITH_BALL if one.worked else AT_REST


def resting_ways(
    contacts: Contacts, placement: Placement, reads: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Yield the sensors that show for themselves whether a ball is there while the balls lie.

    Not those whose address other switches of the matrix close whatever they do.
    """
    lying = worked_at_rest(contacts.profile, placement)
    closed = frozenset(
        name for name, when in contacts.closed_when_worked.items() if lying[name] == when
    )
    masked = contacts.masked(closed)
    for name, worked in lying.items():
        if worked is not None and reads[name] in (CLOSED, OPEN) and name not in masked:
            yield name, WITH_BALL if worked else AT_REST
