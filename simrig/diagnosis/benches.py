"""A machine's bench as the last sheet left it: its catalogue of checks, and the way to each."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence

import attrs

from simrig.diagnosis.bench_case import Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_moves import BenchFacts, Way, way
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.checks import catalogue, check_named
from simrig.diagnosis.repairs import repair_named
from simrig.diagnosis.suspects import Sheet
from simrig.faults.candidates import Fault
from simrig.profile.machine import Profile


@attrs.frozen(kw_only=True, eq=False)
class Bench:
    """A machine's bench: the catalogue, and what is known about making the coils dead."""

    profile: Profile = attrs.field(repr=False)
    ground: Ground = attrs.field(repr=False)
    checks: tuple[Check, ...] = attrs.field(repr=False)
    facts: BenchFacts
    start: BenchState

    @classmethod
    def of(cls, profile: Profile, sheets: Sequence[Sheet] = ()) -> Bench:
        """Return the bench as it stands when the last of these sheets has been taken."""
        balls, assumed, door = _as_left(profile, sheets)
        ground = Ground.of(
            profile,
            assumed=assumed,
            sheet=max(len(sheets) - 1, 0),
            balls_seen=bool(sheets) and sheets[-1].conditions.seen_only,
        )
        return cls(
            profile=profile,
            ground=ground,
            checks=catalogue(profile, ground=ground, start_balls=balls),
            facts=BenchFacts.of(profile),
            start=BenchState(power="on", coils="unknown", door=door, balls=balls),
        )

    def way(self, state: BenchState, check: Check) -> Way | None:
        """Return the cheapest moves to a check; None when it is out of the question."""
        return way(self.facts, state, check.needs)

    def named(self, name: str, faults: Iterable[Fault]) -> Check:
        """Return a check of the catalogue, or the repair of one of some faults, by its id.

        Raises ValueError with near matches.
        """
        return repair_named(self.ground, faults, name) or check_named(self.checks, name)

    def after(self, results: Sequence[Result], start: BenchState | None = None) -> BenchState:
        """Return the bench after some checks were done, one after the other."""
        state = self.start if start is None else start
        for one in results:
            moved = self.way(state, one.check)
            if moved is not None:
                state = moved.after
        return state


@attrs.frozen(kw_only=True, eq=False)
class Benches:
    """The benches of one machine, each made once for how the last sheet leaves it."""

    profile: Profile = attrs.field(repr=False)
    _known: dict[Hashable, Bench] = attrs.field(factory=dict, repr=False)

    def after(self, sheets: Sequence[Sheet]) -> Bench:
        """Return the bench as it stands when the last of these sheets has been taken."""
        seen = bool(sheets) and sheets[-1].conditions.seen_only
        key = _as_left(self.profile, sheets), len(sheets), seen
        if key not in self._known:
            self._known[key] = Bench.of(self.profile, sheets)
        return self._known[key]


def _as_left(profile: Profile, sheets: Sequence[Sheet]) -> tuple[str, int, str]:
    """Return where the last sheet left the balls, how many were assumed, how the door stood."""
    installed = profile.balls.installed
    if not sheets:
        return "aboard", installed, "shut"
    conditions = sheets[-1].conditions
    assumed = installed if conditions.balls is None else conditions.balls
    doors = [row.id for row in profile.mechanism if row.kind == "door"]
    open_ = any(conditions.states.get(door) == "open" for door in doors)
    balls = "aboard"
    if conditions.seen_only:
        here = (
            len(conditions.spots)
            if conditions.spots is not None
            else sum((conditions.at or {}).values())
        )
        if conditions.balls is None:
            balls = "aboard" if here >= installed else "some" if here else "out"
    return balls, assumed, "open" if open_ else "shut"
