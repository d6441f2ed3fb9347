"""What was seen, held against what must be; and the assumptions under which it fits better.

Differences are counted against one legal placement, the one with fewest, never
cell by cell over several.  A reader can have the phase, the count, the symbols
(all, or one board's) or the numbering wrong, or have looked while a ball passed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

import attrs

from simrig.expectation.observation import Observation
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame, fewest
from simrig.scan.scanner import Links, links, readings
from simrig.signals import FLICKERS, UNKNOWN
from simrig.world.balls import Placement, count_by_place
from simrig.world.passing import one_passing
from simrig.world.phases import Conditions, legal_placements, phase_of
from simrig.world.worlds import worlds

MOST_WAYS: Final = 5000
"""In more ways than these the balls must not lie for a fit to be offered."""
MOST_FITS = 5
ALL = "all"


@attrs.frozen(kw_only=True)
class Difference:
    """One sensor whose reading is not the expected one."""

    sensor: str
    expected: str
    seen: str


@attrs.frozen(kw_only=True)
class Fit:
    """Assumptions under which what was seen fits, and how many differences they leave.

    ``inverted`` is ``("all",)`` or the ids of boards whose symbols were taken the
    wrong way round; ``numbering`` the places counted from the wrong end;
    ``moving`` where a ball was passing.
    """

    phase: str | None
    balls: int
    at: Mapping[str, int]
    differences: int
    inverted: tuple[str, ...] = ()
    numbering: tuple[str, ...] = ()
    moving: str | None = None


@attrs.frozen(kw_only=True)
class Comparison:
    """The verdict on one sheet."""

    agrees: bool
    differences: tuple[Difference, ...]
    fits: tuple[Fit, ...]


@attrs.frozen(kw_only=True)
class _Reader:
    """One way to have misread the sheet."""

    observation: Observation
    inverted: tuple[str, ...] = ()
    numbering: tuple[str, ...] = ()


def compare(
    profile: Profile,
    observation: Observation,
    conditions: Conditions,
    *,
    table: Links | None = None,
) -> Comparison:
    """Compare what was seen with what must be, as assumed and under other assumptions.

    Raises ValueError, in words, for conditions that the machine cannot have.
    """
    table = table or links(profile)
    assumed = legal_placements(profile, conditions)
    if not assumed:
        raise ValueError(
            "no legal position of the balls fits these conditions; "
            "leave --phase out to say exactly where they are"
        )
    frame = readings(profile, table, worlds(profile, assumed))
    count, best = fewest(_disagreements(frame, observation), frame.everything)
    chosen = (best & -best).bit_length() - 1
    differences = tuple(_differences(frame, observation, chosen))
    if not count:
        phase, balls = _assumed(profile, conditions, assumed)
        at = count_by_place(profile, assumed[chosen])
        return Comparison(
            agrees=True,
            differences=(),
            fits=(Fit(phase=phase, balls=balls, at=at, differences=0),),
        )
    found = _better(profile, table, observation, conditions, count)
    return Comparison(agrees=False, differences=differences, fits=tuple(found))


def readers(profile: Profile, observation: Observation) -> Iterator[_Reader]:
    """Yield the sheet as it is, then as it was meant if the reader had something wrong."""
    yield _Reader(observation=observation)
    yield _Reader(observation=observation.inverted(), inverted=(ALL,))
    for board, sensors in boards(profile).items():
        looked = [name for name in sensors if observation.readings.get(name, UNKNOWN) != UNKNOWN]
        if len(looked) > 1:
            yield _Reader(observation=observation.inverted(sensors), inverted=(board,))
    for place, pairs in wrong_end(profile).items():
        yield _Reader(observation=observation.exchanged(pairs), numbering=(place,))


def boards(profile: Profile) -> dict[str, tuple[str, ...]]:
    """Return the sensors that share a board, receiver or input, by the board's id."""
    found: dict[str, list[str]] = {}
    for sensor in profile.sensor:
        address = profile.address_of.get(sensor.id)
        for board in {sensor.board, address.board if address else None} - {None, NONE}:
            found.setdefault(str(board), []).append(sensor.id)
    return {board: tuple(names) for board, names in found.items() if len(names) > 1}


def wrong_end(profile: Profile) -> dict[str, dict[str, str]]:
    """Return, for each place, which sensors' readings change places when counted from the
    wrong end."""
    found: dict[str, dict[str, str]] = {}
    for place in profile.place:
        if place.open_area or place.capacity < 2 or place.captive:
            continue
        pairs: dict[str, str] = {}
        for number in range(1, place.capacity + 1):
            here = profile.covering.get(f"{place.id}.{number}", ())
            there = profile.covering.get(f"{place.id}.{place.capacity + 1 - number}", ())
            if len(here) == len(there) == 1:
                pairs[here[0].id] = there[0].id
        if any(one != other for one, other in pairs.items()):
            found[place.id] = pairs
    return found


def _disagreements(frame: Frame, observation: Observation) -> Iterator[int]:
    for name, seen in observation.looked_at().items():
        if seen == FLICKERS:
            yield frame.everything
        else:
            yield frame.disagrees(name, seen)


def _differences(frame: Frame, observation: Observation, world: int) -> Iterator[Difference]:
    for name, seen in observation.looked_at().items():
        if seen == FLICKERS or frame.disagrees(name, seen) >> world & 1:
            expected = frame.reading(name, 1 << world)
            yield Difference(sensor=name, expected=expected, seen=seen)


def _assumed(
    profile: Profile, conditions: Conditions, placements: tuple[Placement, ...]
) -> tuple[str | None, int]:
    if conditions.seen_only:
        balls = placements[0].balls if conditions.balls is None else conditions.balls
        return None, balls
    balls = profile.balls.installed if conditions.balls is None else conditions.balls
    return phase_of(profile, conditions.phase).id, balls


def _better(
    profile: Profile, table: Links, observation: Observation, conditions: Conditions, count: int
) -> list[Fit]:
    home = _assumed(profile, conditions, legal_placements(profile, conditions))
    kept: dict[tuple[object, ...], tuple[tuple[int, ...], Fit]] = {}
    ways = tuple(readers(profile, observation))
    for order, (phase, balls, moving, placements) in enumerate(_circumstances(profile, conditions)):
        frame = readings(profile, table, worlds(profile, placements))
        elsewhere = (phase != home[0]) + (balls != home[1]) + bool(moving)
        as_read: int | None = None
        for number, reader in enumerate(ways):
            changes = elsewhere + bool(number)
            if moving and number:
                continue
            left, best = fewest(_disagreements(frame, reader.observation), frame.everything)
            if not number:
                as_read = left
            elif as_read is not None and left >= as_read:
                continue  # the sheet fits as well without that mistake
            if not changes:
                continue
            if left >= count or (changes > 1 and left):
                continue
            world = (best & -best).bit_length() - 1
            placement = placements[world]
            fit = Fit(
                phase=phase,
                balls=balls,
                at=count_by_place(profile, placement),
                differences=left,
                inverted=reader.inverted,
                numbering=reader.numbering,
                moving=None if moving is None else moving[world],
            )
            rank = (left, changes, phase != home[0], abs(balls - home[1]), number, order)
            same = (fit.inverted, fit.numbering, fit.moving, fit.phase, fit.balls)
            if same not in kept or rank < kept[same][0]:
                kept[same] = rank, fit
    ranked = sorted(kept.values(), key=lambda pair: pair[0])
    return _varied([fit for _, fit in ranked], home)


def _varied(fits: list[Fit], home: tuple[str | None, int]) -> list[Fit]:
    """Keep the best, and among equals one of each kind of mistake before a second of any."""

    def kind(fit: Fit) -> tuple[object, ...]:
        return (
            bool(fit.inverted),
            fit.numbering,
            bool(fit.moving),
            fit.phase != home[0],
            fit.balls != home[1],
        )

    first: list[Fit] = []
    again: list[Fit] = []
    kinds: set[tuple[object, ...]] = set()
    for fit in fits:
        (again if kind(fit) in kinds else first).append(fit)
        kinds.add(kind(fit))
    chosen = {id(fit) for fit in (first + again)[:MOST_FITS]}
    return [fit for fit in fits if id(fit) in chosen]


def _circumstances(
    profile: Profile, conditions: Conditions
) -> Iterator[tuple[str | None, int, list[str] | None, tuple[Placement, ...]]]:
    if conditions.seen_only:
        placements = legal_placements(profile, conditions)
        phase, balls = _assumed(profile, conditions, placements)
        yield phase, balls, None, placements
        return
    seen = attrs.evolve(conditions, phase=None, balls=None)
    for other in profile.phase:
        for number in range(profile.balls.installed + 2):
            here = attrs.evolve(seen, phase=other.id, balls=number)
            placements = legal_placements(profile, here, most=MOST_WAYS + 1)
            # What fits one of so many ways tells nothing.
            if 0 < len(placements) <= MOST_WAYS:
                yield other.id, number, None, placements
    home = legal_placements(profile, conditions)
    phase, balls = _assumed(profile, conditions, home)
    moving = list(
        dict.fromkeys(way for placement in home for way in one_passing(profile, placement))
    )
    if moving:
        yield phase, balls, [where for where, _ in moving], tuple(one for _, one in moving)
