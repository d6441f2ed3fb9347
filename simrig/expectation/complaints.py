"""What a machine does when its readings are wrong: the complaint that starts the job.

Customers say what the machine did, not what is wrong.  Each complaint here is what
the controller concludes, from the readings it gets in one situation, by the
numbers that the profile states for it.  The rules are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import attrs

from simrig.profile.controller import Controller
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.scan.controller import ball_reading, counts_at_least, shows_ball
from simrig.world.balls import Placement
from simrig.world.moves import IllegalMoveError, apply
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import Value


@attrs.frozen(kw_only=True)
class Situation:
    """A moment at which the controller draws a conclusion.

    ``happens`` tells, from the worlds in which each sensor reads closed, those in
    which it then does what is complained of.  ``watched`` are the sensors that
    decide.  A kick of ``coil`` that moves nothing leads to the same.
    """

    conditions: Conditions
    watched: tuple[str, ...]
    happens: Callable[[Mapping[str, Value], int], Value] = attrs.field(repr=False, eq=False)
    coil: str | None = None


@attrs.frozen(kw_only=True)
class Complaint:
    """One thing that people say a machine does.

    ``why`` says what the controller took the readings for.
    """

    id: str
    title: str
    why: str
    situation: Situation = attrs.field(repr=False)


def complaints(profile: Profile) -> tuple[Complaint, ...]:
    """Return the complaints that the profile's controller data can account for."""
    controller = profile.controller
    if controller is None:
        return ()
    found = []
    for id_, title, why, make in COMPLAINTS:
        situation = make(profile, controller)
        if situation is not None:
            found.append(Complaint(id=id_, title=title, why=why, situation=situation))
    return tuple(found)


def complaint_named(profile: Profile, name: str) -> Complaint:
    """Return a complaint by its id; raises ValueError, in words, where there is none."""
    known = complaints(profile)
    for one in known:
        if one.id == name:
            return one
    if not known:
        raise ValueError(
            "the profile does not say how the controller counts balls; fill in [controller]"
        )
    raise ValueError(
        f'no complaint is called "{name}"; known: ' + ", ".join(one.id for one in known)
    )


def _counts(
    profile: Profile, sensors: tuple[str, ...], wanted: int, *, fewer: bool
) -> Callable[[Mapping[str, Value], int], Value]:
    meaning = {name: ball_reading(profile, name) for name in sensors}

    def happens(cells: Mapping[str, Value], everything: int) -> Value:
        shown = [shows_ball(meaning[name], cells[name], everything) for name in sensors]
        enough = counts_at_least(shown, wanted, everything)
        if not fewer:
            return enough
        return Value(everything & ~enough.maybe, everything & ~enough.surely)

    return happens


def _too_few_home(profile: Profile, controller: Controller) -> Situation | None:
    home, wanted = controller.home_sensors, controller.start_needs
    if not home or not wanted:
        return None
    return Situation(
        conditions=Conditions(),
        watched=home,
        happens=_counts(profile, home, wanted, fewer=True),
    )


def _searches(profile: Profile, controller: Controller) -> Situation | None:
    return None if controller.search_after_s is None else _too_few_home(profile, controller)


def _too_many_home(profile: Profile, controller: Controller) -> Situation | None:
    home, wanted = controller.home_sensors, controller.start_needs
    field = next((place.id for place in profile.place if place.open_area), None)
    at_rest = _at_home(profile)
    if not home or not wanted or field is None or at_rest is None:
        return None
    for place in profile.place:
        try:
            out = apply(profile, at_rest, f"remove {place.id}")
        except IllegalMoveError:
            continue
        if any(spot in profile.covering for spot in at_rest.spots - out.spots):
            return Situation(
                conditions=Conditions(spots=out.spots | {f"{field}.1"}),
                watched=home,
                happens=_counts(profile, home, wanted, fewer=False),
            )
    return None


def _not_served(profile: Profile, controller: Controller) -> Situation | None:
    after = _after_serve(profile, controller)
    if after is None or controller.serve_again_s is None:
        return None
    return Situation(
        conditions=Conditions(spots=after.spots),
        watched=(str(controller.served_sensor),),
        happens=_counts(profile, (str(controller.served_sensor),), 1, fewer=True),
    )


def _no_ball_comes(profile: Profile, controller: Controller) -> Situation | None:
    if controller.served_sensor is None or controller.serve_coil is None:
        return None
    return Situation(
        conditions=Conditions(),
        watched=(controller.served_sensor,),
        happens=_counts(profile, (controller.served_sensor,), 1, fewer=False),
        coil=controller.serve_coil,
    )


def _jam_seen(profile: Profile, controller: Controller) -> Situation | None:
    if controller.jam_sensor is None:
        return None
    return Situation(
        conditions=Conditions(),
        watched=(controller.jam_sensor,),
        happens=_counts(profile, (controller.jam_sensor,), 1, fewer=False),
    )


def _lock_not_empty(profile: Profile, controller: Controller) -> Situation | None:
    sensors = controller.lock_sensors
    if not sensors:
        return None
    places = {
        profile.spots[spot].place for name in sensors for spot in profile.row("sensor", name).spots
    }
    coils = [route.coil for route in profile.route if route.from_ in places and route.coil]
    return Situation(
        conditions=Conditions(),
        watched=sensors,
        happens=_counts(profile, sensors, 1, fewer=False),
        coil=coils[0] if coils and coils[0] != NONE else None,
    )


def _at_home(profile: Profile) -> Placement | None:
    found = legal_placements(profile, Conditions()) if profile.phase else ()
    return found[0] if found else None


def _after_serve(profile: Profile, controller: Controller) -> Placement | None:
    """Where the balls lie when the kick of the serving coil has served one."""
    at_rest, sensor = _at_home(profile), controller.served_sensor
    if at_rest is None or sensor is None:
        return None
    watched = set(profile.row("sensor", sensor).spots)
    for route in profile.route:
        if route.coil is None or route.coil != controller.serve_coil:
            continue
        try:
            after = apply(profile, at_rest, f"take {route.id}")
        except IllegalMoveError:
            continue
        if after.spots & watched:
            return after
        passed = sorted(spot for spot in watched if profile.spots[spot].route == route.id)
        if passed:
            gone = at_rest.spots - (at_rest.spots - after.spots)
            return attrs.evolve(after, spots=gone | {passed[0]})
    return None


COMPLAINTS: Final = (
    ("will-not-start", "it will not start a game",
     "it counts fewer balls at home than a game needs", _too_few_home),
    ("hunts-for-ball", "it hunts for a ball that is not missing",
     "a ball is home and it does not count it, so it believes one is still out", _searches),
    ("serves-two", "it serves a second ball",
     "the ball lies where it was served, and it does not see it there", _not_served),
    ("serves-none", "it starts, but serves no ball",
     "its kick moved nothing, or it believes that a ball lies there already", _no_ball_comes),
    ("ends-early", "it ends the ball while one is in play",
     "it counts all balls at home although one is out", _too_many_home),
    ("keeps-kicking", "it keeps kicking with nothing to clear",
     "it believes that two balls are stacked at the kicker", _jam_seen),
    ("lock-not-emptied", "it gives up emptying a lock",
     "its kick moved nothing, or it believes that a ball is still in the lock", _lock_not_empty),
)  # fmt: skip
"""Id, what people say, what the controller took the readings for, and the situation."""
