"""The run that a scenario describes: where the balls lie at first, and each move after it.

A step that sets positions outright follows the one before it by hand: balls are taken
out where there are too many, and put in where there are too few.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import attrs

from simrig.errors import InputError, Problem
from simrig.expectation.flow import moved
from simrig.expectation.transfers import PICK, PUT
from simrig.interchange.running import conditions_of
from simrig.interchange.scenarios import Scenario, Step
from simrig.interchange.sheets import NO_WAY, condition_faults
from simrig.profile.machine import Profile
from simrig.world.balls import Placement
from simrig.world.moves import Move, parse, start
from simrig.world.phases import Conditions, legal_placements


@attrs.frozen(kw_only=True)
class Course:
    """A run: a placement, and moves that can be made from it one after the other."""

    start: Placement
    moves: tuple[Move, ...]


def course(profile: Profile, scenario: Scenario, file: str) -> Course:
    """Return the run of a scenario; raises InputError with every step that cannot be made.

    Where several positions are legal in a step, the first of them is taken.  Steps
    that only say what was seen at several times move nothing.
    """
    problems: list[Problem] = []
    first = here = None
    made: list[Move] = []
    for number, step in enumerate(scenario.step):
        if step.sheets and not step.do and _empty(step):
            continue
        try:
            if step.do:
                if here is None:
                    first = here = _laid(profile, Conditions())
                for text in step.do:
                    move = parse(profile, text)
                    here = moved(profile, here, move)
                    made.append(move)
                continue
            target = _target(profile, step)
            if here is None:
                first = here = target
                continue
            for move in _by_hand(profile, here, target):
                here = moved(profile, here, move)
                made.append(move)
        except ValueError as error:
            problems.append(
                Problem(file=file, line=scenario.line(number), where=f"step {number + 1}",
                        message=str(error))
            )  # fmt: skip
    if first is None and not problems:
        problems.append(
            Problem(
                file=file,
                line=1,
                where="step",
                message="found no step that says where the balls are; add one",
            )
        )
    if problems or first is None:
        raise InputError(problems)
    return Course(start=first, moves=tuple(made))


def _empty(step: Step) -> bool:
    stated = (step.phase, step.balls, step.at, step.seats, step.state, step.seen)
    return all(value is None for value in stated)


def _target(profile: Profile, step: Step) -> Placement:
    conditions = conditions_of(step)
    faults = condition_faults(profile, conditions)
    if faults:
        raise ValueError("; ".join(faults))
    return _laid(profile, conditions)


def _laid(profile: Profile, conditions: Conditions) -> Placement:
    found = legal_placements(profile, conditions)
    if not found:
        raise ValueError(NO_WAY)
    placement = found[0]
    rest = dict(start(profile, placement).states)
    # Where several states are legal, the mechanism is at rest if it may be.
    chosen = {
        name: states if len(states) == 1 or not states >= rest.get(name, states) else rest[name]
        for name, states in placement.states
    }
    states = {name: frozenset((min(one),)) for name, one in (rest | chosen).items()}
    return attrs.evolve(placement, states=tuple(states.items()))


def _by_hand(profile: Profile, here: Placement, target: Placement) -> Iterator[Move]:
    """Yield what a hand does to bring the balls, and the mechanisms, from one to the other."""
    for name, states in target.states:
        if dict(here.states).get(name) != states:
            yield Move(verb="set", subject=name, target=min(states))
    loose = [spot for spot in here.spots if not profile.spots[spot].resting]
    for spot in sorted(loose):
        yield Move(verb=PICK, subject=spot)
    lying = here.spots - set(loose)
    wanted = {spot for spot in target.spots if profile.spots[spot].resting}
    was, becomes = _count(profile, lying), _count(profile, wanted)
    for place in profile.place:
        for _ in range(was[place.id] - becomes[place.id]):
            yield Move(verb="remove", subject=place.id)
    for place in profile.place:
        for _ in range(becomes[place.id] - was[place.id]):
            yield Move(verb="feed", subject=place.id)
    for spot in sorted(target.spots - wanted):
        yield Move(verb=PUT, subject=spot)


def _count(profile: Profile, resting: frozenset[str] | set[str]) -> Counter[str]:
    return Counter(str(profile.spots[spot].place) for spot in resting)
