"""Balls moved at random, held against a model of its own: nothing is lost, places fill in order.

The model counts balls by place and knows nothing of spots, placements or worlds.
After each move the simulated machine must have the same balls in the positions
that the model's counts give, and the readings of that position worked out alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from hypothesis import seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from simrig.expectation.rig import Rig
from simrig.harness import one_world
from simrig.harness.broken_runs import BrokenError, Run
from simrig.profile.machine import Profile
from simrig.scan.scanner import links
from simrig.world import moves
from simrig.world.balls import count_by_place

_MANY = 1 << 16


def moving(profile: Profile, how: settings, from_seed: int) -> None:
    """Move balls at random; raise BrokenError with the smallest run that breaks a rule."""
    table = links(profile)

    class Machine(RuleBasedStateMachine):
        def __init__(self) -> None:
            super().__init__()
            self.rig = Rig(profile, table=table)
            self.counts = dict(count_by_place(profile, self.rig.placement))
            self.states = dict(self.rig.placement.states)
            self.in_hand = 0
            self.steps: tuple[str, ...] = ()

        @rule(choice=st.integers(0, _MANY))
        def roll(self, choice: int) -> None:
            self._make(choice, ["take"])

        @rule(choice=st.integers(0, _MANY))
        def by_hand(self, choice: int) -> None:
            self._make(choice, ["set", "remove", "feed"])

        def _make(self, choice: int, verbs: list[str]) -> None:
            found = moves.moves(profile, self.rig.placement, in_hand=self.in_hand)
            possible = [move for move in found if move.verb in verbs]
            if not possible:
                return
            step = possible[choice % len(possible)]
            self.steps = (*self.steps, str(step))
            self.rig.do(str(step))
            self._follow(step)

        def _follow(self, step: moves.Move) -> None:
            source = target = None
            if step.verb == "set":
                self.states[step.subject] = frozenset((str(step.target),))
            elif step.verb == "take":
                route = profile.row("route", step.subject)
                source, target = route.from_, step.target or route.to[0]
            elif step.verb == "feed":
                target, self.in_hand = step.subject, self.in_hand - 1
            else:
                source, self.in_hand = step.subject, self.in_hand + 1
            if source is not None:
                self.counts[source] = self.counts.get(source, 0) - 1
            if target is not None:
                self.counts[target] = self.counts.get(target, 0) + 1

        @invariant()
        def nothing_is_lost(self) -> None:
            held = self.rig.placement.balls
            if held + self.in_hand != profile.balls.installed or self.in_hand != self.rig.in_hand:
                self._broken(
                    f"{held} balls in the machine and {self.in_hand} in the hand; "
                    f"{profile.balls.installed} are installed",
                    next(iter(self._ways())),
                )

        @invariant()
        def places_fill_in_order(self) -> None:
            ways = list(self._ways())
            if self.rig.placement.spots not in ways:
                lie = ", ".join(sorted(self.rig.placement.spots))
                self._broken(f"the balls lie at {lie}: not in the order of filling", ways[0])

        @invariant()
        def readings_are_those_of_the_scan(self) -> None:
            frame = self.rig.frame()
            wanted = self._wanted(self.rig.placement.spots)
            for name, reading in wanted.items():
                if frame.reading(name) != reading:
                    self._broken(
                        f"{name} reads {frame.reading(name)}; worked out alone it reads {reading}",
                        self.rig.placement.spots,
                    )

        def _ways(self) -> Iterator[frozenset[str]]:
            """Yield the positions that the counted balls can hold."""
            found: list[frozenset[str]] = [frozenset()]
            for name, balls in self.counts.items():
                place = profile.row("place", name)
                ends = [place.position_1] if place.position_1 else one_world.ENDS
                found = [
                    before | one_world.filled(place, balls, first=end)
                    for before in found
                    for end in ends
                ]
            yield from found

        def _wanted(self, spots: frozenset[str]) -> Mapping[str, str]:
            return one_world.readings(profile, table, spots, self.states)

        def _broken(self, words: str, spots: frozenset[str]) -> None:
            raise BrokenError(words, run=Run(steps=self.steps, wanted=self._wanted(spots)))

    try:
        run_state_machine_as_test(seed(from_seed)(Machine), settings=how)
    except BrokenError as error:
        # What Hypothesis notes on it is how to call our own machine again: of no use here.
        error.__notes__ = []
        raise
