"""What happens on one machine, made by Hypothesis: positions, moves, faults, sheets, logs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, TypeVar

from hypothesis import strategies as st

from simrig.expectation.motions import Motions, sampling_of
from simrig.expectation.observation import Observation
from simrig.expectation.prediction import watched
from simrig.expectation.recording import Recorder
from simrig.expectation.rig import Rig
from simrig.faults.candidates import Fault, possible_faults
from simrig.profile.machine import Profile
from simrig.scan.events import Event
from simrig.scan.scanner import links, readings
from simrig.signals import CLOSED, EITHER, FLICKERS, OPEN, UNKNOWN, opposite
from simrig.world import moves as table_of_moves
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

T = TypeVar("T")

MOST_SLIPS: Final = 4


def placements(profile: Profile, balls: int | None) -> st.SearchStrategy[Placement]:
    """Legal positions of the phases, home first, and those that moves lead to."""
    legal = [
        placement
        for phase in profile.phase
        for placement in legal_placements(profile, Conditions(phase=phase.id, balls=balls))
    ]
    if not legal:
        raise ValueError("no phase is stated, or none has a position for so many balls")
    home = _one_of(list(dict.fromkeys(legal)))
    if balls is not None and balls != profile.balls.installed:
        return home
    return home | moves(profile, 12, True).map(lambda steps: _after(profile, steps))


def _one_of(found: Sequence[T]) -> st.SearchStrategy[T]:
    """Draw by position: the members themselves would fill every report."""
    return st.integers(0, len(found) - 1).map(found.__getitem__)


def _after(profile: Profile, steps: tuple[str, ...]) -> Placement:
    rig = Rig(profile)
    rig.do(*steps)
    return rig.placement


@st.composite
def _moves(draw: st.DrawFn, profile: Profile, most: int, by_hand: bool) -> tuple[str, ...]:
    rig = Rig(profile)
    steps = []
    for _ in range(draw(st.integers(0, most))):
        possible = [
            move
            for move in table_of_moves.moves(profile, rig.placement, in_hand=rig.in_hand)
            if by_hand or move.verb not in ("remove", "feed")
        ]
        if not possible:
            break
        step = str(draw(st.sampled_from(possible)))
        rig.do(step)
        steps.append(step)
    return tuple(steps)


def moves(profile: Profile, most: int, by_hand: bool) -> st.SearchStrategy[tuple[str, ...]]:
    """Runs of moves that can be made one after the other."""
    return _moves(profile, most, by_hand)


def faults(profile: Profile) -> st.SearchStrategy[Fault]:
    """Every kind of fault as likely as the next, whatever number of parts it can concern."""
    by_kind: dict[str, list[Fault]] = {}
    for fault in possible_faults(profile):
        by_kind.setdefault(fault.kind.id, []).append(fault)
    return st.sampled_from(list(by_kind)).flatmap(lambda kind: _one_of(by_kind[kind]))


@st.composite
def _observations(draw: st.DrawFn, profile: Profile) -> Observation:
    frame = readings(profile, links(profile), worlds(profile, [draw(placements(profile, None))]))
    seen = {}
    for sensor in watched(profile):
        reading = frame.reading(sensor.id)
        seen[sensor.id] = draw(st.sampled_from((OPEN, CLOSED))) if reading == EITHER else reading
    if seen:
        slipped = st.sampled_from(list(seen))
        for name in draw(st.lists(slipped, max_size=MOST_SLIPS, unique=True)):
            seen[name] = draw(st.sampled_from((opposite(seen[name]), UNKNOWN, FLICKERS)))
    return Observation(readings=seen)


def observations(profile: Profile) -> st.SearchStrategy[Observation]:
    """Sheets of one position, with slips."""
    return _observations(profile)


@st.composite
def _logs(draw: st.DrawFn, profile: Profile) -> tuple[Event, ...]:
    steps = draw(moves(profile, 6, False))
    seed = draw(st.none() | st.integers(0, 1 << 16))
    recorder = Recorder(Motions(profile, sampling=sampling_of(profile)), links(profile), seed=seed)
    made = [table_of_moves.parse(profile, step) for step in steps]
    return recorder.record(Rig(profile).placement, made)


def logs(profile: Profile) -> st.SearchStrategy[tuple[Event, ...]]:
    """What a recorder writes of a run, at typical times or at drawn ones."""
    return _logs(profile)
