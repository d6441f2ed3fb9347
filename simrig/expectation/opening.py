"""Where the balls can be when a log starts: as stated, as assumed, or as its first readings say."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Final, NamedTuple

from simrig.expectation.accounts import Account
from simrig.expectation.anomalies import Anomaly
from simrig.expectation.location import locate
from simrig.expectation.observation import Observation
from simrig.expectation.odd import Odd
from simrig.expectation.scene import Scene
from simrig.expectation.weights import SWAP, TROUBLE
from simrig.profile.machine import Profile
from simrig.scan.frame import Frame
from simrig.scan.scanner import readings
from simrig.world.balls import Placement
from simrig.world.phases import (
    Conditions,
    legal_placements,
    mechanism_states,
    phase_of,
    phase_placements,
)
from simrig.world.worlds import Worlds, worlds

_MOST: Final = 48
_OTHER_PHASE: Final = 0.4
_OTHER_PHASE_UNSEEN: Final = 0.8
_BALL_MORE_OR_LESS: Final = 0.5
_ANYWHERE: Final = 1.5


class Start(NamedTuple):
    """A way the balls can lie when the log starts, and what it costs to take it for so."""

    placement: Placement
    price: float
    phase: str | None


def stated(conditions: Conditions) -> bool:
    """Whether anything is said about where the balls are."""
    return any(
        value is not None
        for value in (conditions.phase, conditions.balls, conditions.at, conditions.spots)
    )


def opening(scene: Scene, conditions: Conditions, dump: Mapping[str, bool]) -> list[Account]:
    """Return the accounts with which a log can start, cheapest first.

    ``dump`` holds, for each sensor that the log tells of at its start, whether it reads
    closed.  Raises ValueError, in words, where no position of the balls fits.
    """
    starts = list(_starts(scene.profile, conditions, bool(dump)))
    if not starts:
        raise ValueError("no legal position of the balls fits these conditions")
    found = _accounts(scene, starts, conditions, dump)
    if dump and not stated(conditions) and found[0].cost >= TROUBLE:
        anywhere = [
            Start(Placement(spots=frozenset(one.spots)), _ANYWHERE, None)
            for one in locate(
                scene.profile,
                Observation(readings={k: "closed" if v else "open" for k, v in dump.items()}),
                conditions,
            ).placements[:_MOST]
        ]
        if anywhere:
            found = _accounts(scene, [*starts, *anywhere], conditions, dump)
    return found[:_MOST]


def _starts(profile: Profile, conditions: Conditions, dumped: bool) -> Iterator[Start]:
    seen = set()
    if stated(conditions) or not profile.phase:
        for placement in legal_placements(profile, conditions):
            yield Start(placement, 0.0, conditions.phase)
        return
    installed = profile.balls.installed
    home = phase_of(profile, None)
    other = _OTHER_PHASE if dumped else _OTHER_PHASE_UNSEEN
    numbers = range(installed + 2) if dumped else (installed,)
    for balls, phase in itertools.product(numbers, profile.phase):
        price = _BALL_MORE_OR_LESS * abs(balls - installed) + (0.0 if phase is home else other)
        for placement in itertools.islice(phase_placements(profile, phase, balls), 400):
            if placement not in seen:
                seen.add(placement)
                yield Start(placement, price, phase.id)


def _accounts(
    scene: Scene, starts: list[Start], conditions: Conditions, dump: Mapping[str, bool]
) -> list[Account]:
    profile = scene.profile
    many = worlds(profile, [one.placement for one in starts])
    frame = readings(profile, scene.contacts.table, many)
    judged = [name for name in dump if name in scene.contacts.closed_when_worked]
    wrong = {
        name: frame.cells[name].surely ^ many.everything if dump[name] else frame.cells[name].maybe
        for name in judged
        if not profile.row("sensor", name).follows
    }
    found = [
        _account(scene, start, conditions, dump, many, frame, index, wrong)
        for index, start in enumerate(starts)
    ]
    found += _with_leads_exchanged(scene, found, dump)
    found.sort(key=lambda account: account.cost)
    return found


def _account(
    scene: Scene,
    start: Start,
    conditions: Conditions,
    dump: Mapping[str, bool],
    many: Worlds,
    frame: Frame,
    index: int,
    wrong: Mapping[str, int],
) -> Account:
    profile = scene.profile
    bit = 1 << index
    account = Account()
    account.cost = start.price
    account.phase = start.phase
    account.states = dict(mechanism_states(profile, None)) | dict(start.placement.states)
    for name in start.placement.spots:
        spot = profile.spots[name]
        if spot.resting and spot.place is not None:
            account.counts[spot.place] = account.counts.get(spot.place, 0) + 1
        else:
            account.laid |= {name}
    account.hand = max(0, profile.balls.installed + 1 - start.placement.balls)
    for sensor in profile.sensor:
        worked = many.works(sensor)
        if worked.surely & bit:
            account.belief.add(sensor.id)
        if sensor.id not in dump or sensor.id not in scene.contacts.closed_when_worked:
            continue
        reads = scene.contacts.worked(sensor.id, dump[sensor.id])
        if sensor.follows:
            _stand(account, scene, conditions, sensor.id, reads)
        elif wrong[sensor.id] & bit:
            _flag(account, scene, sensor.id)
        elif reads != (sensor.id in account.belief):
            # A phantom, or a captive ball: it reads so without a counted ball.
            account.odd[sensor.id] = Odd(
                scene.time, 0.0, rebound=False, soft=True, flagged=True, line=0
            )
    return account


def _stand(
    account: Account, scene: Scene, conditions: Conditions, sensor: str, worked: bool
) -> None:
    """How a mechanism stands is taken from its sensor, unless it was seen otherwise."""
    ((name, state),) = scene.profile.row("sensor", sensor).follows.items()
    if worked == (sensor in account.belief):
        return
    if name in conditions.states:
        _flag(account, scene, sensor)
        return
    others = [one for one in scene.profile.row("mechanism", name).states if one != state]
    account.states = {**account.states, name: frozenset((state,) if worked else others)}
    if worked:
        account.belief.add(sensor)
    else:
        account.belief.discard(sensor)


def _flag(account: Account, scene: Scene, sensor: str) -> None:
    worked = sensor not in account.belief
    why = (
        f"{sensor} reads as if a ball were there when the log starts, but none can be"
        if worked
        else f"a ball must be at {sensor} when the log starts, but it is not seen"
    )
    account.cost += TROUBLE
    account.odd[sensor] = Odd(scene.time, 0.0, rebound=False, soft=False, flagged=True, line=0)
    account.note(
        Anomaly(
            time_ms=None if scene.ordered_only else scene.first_time,
            sensor=sensor,
            kind="stuck" if worked else "missed",
            why=why,
        )
    )


def _with_leads_exchanged(
    scene: Scene, accounts: list[Account], dump: Mapping[str, bool]
) -> Iterator[Account]:
    """Where two sensors are wrong, each may read what the other must."""
    for account in sorted(accounts, key=lambda one: one.cost)[:8]:
        flagged = [name for name, odd in account.odd.items() if not odd.soft][:6]
        for one, other in itertools.combinations(flagged, 2):
            told = [anomaly for anomaly in account.told() if anomaly.sensor not in (one, other)]
            crossed = account.copy()
            crossed.swap = {one: other, other: one}
            if any(crossed.reads(scene, name) != (name in crossed.belief) for name in (one, other)):
                continue
            crossed.odd = {k: v for k, v in account.odd.items() if k not in (one, other)}
            crossed.cost += SWAP - 2 * TROUBLE
            crossed.forget()
            for anomaly in told:
                crossed.note(anomaly)
            crossed.note(
                Anomaly(
                    time_ms=None if scene.ordered_only else scene.first_time,
                    sensor=one,
                    kind="swapped",
                    why=f"the leads of {one} and {other} are exchanged: each reads what the"
                    " other must read",
                    others=(other,),
                )
            )
            yield crossed
