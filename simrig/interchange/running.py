"""A scenario run on a machine: what each step gave, and what it should have given."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import attrs

from simrig.diagnosis.suspects import Sheet
from simrig.expectation.comparison import Comparison, Fit, compare
from simrig.expectation.location import locate
from simrig.expectation.observation import Observation, observe, resolve
from simrig.expectation.prediction import watched
from simrig.expectation.rig import Rig
from simrig.interchange.scenarios import FitTable, Scenario, Seen, SheetSeen, Step
from simrig.interchange.sheets import NO_WAY, condition_faults
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile
from simrig.scan.scanner import links, readings
from simrig.signals import CLOSED, EITHER, OPEN
from simrig.world.balls import Placement
from simrig.world.moves import start
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

if TYPE_CHECKING:
    from simrig.interchange.diagnosis_keys import DiagnosisTable
    from simrig.interchange.verdicts import Judge


@attrs.frozen(kw_only=True)
class StepResult:
    """What became of one step; ``failures`` say in words what was found and what was wanted."""

    number: int
    line: int
    title: str
    failures: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether everything was as the scenario says."""
        return not self.failures


def run(profile: Profile, scenario: Scenario) -> tuple[StepResult, ...]:
    """Run every step; a step that cannot be done fails in words and the next goes on from where
    the balls are."""
    machine = _Machine(profile)
    found = []
    for number, step in enumerate(scenario.step):
        try:
            failures = tuple(machine.step(step))
        except ValueError as error:
            failures = (str(error),)
        found.append(
            StepResult(
                number=number + 1, line=scenario.line(number), title=_title(step), failures=failures
            )
        )
    return tuple(found)


def _title(step: Step) -> str:
    if step.do:
        return ", ".join(step.do)
    seen = step.at is not None or step.seats is not None
    words = [step.phase or ("balls seen" if seen else "idle")]
    if step.balls is not None:
        words.append(f"{step.balls} balls")
    if step.diagnosis:
        words.append("diagnosed")
    elif step.seen:
        words.append("compared")
    return ", ".join(words)


class _Machine:
    """The machine as the steps leave it."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.table = links(profile)
        self._judge: Judge | None = None
        self.placements: tuple[Placement, ...] = ()

    def step(self, step: Step) -> Iterator[str]:
        conditions = conditions_of(step)
        faults = condition_faults(self.profile, conditions)
        if faults:
            raise ValueError("; ".join(faults))
        if step.do:
            self._move(step.do)
        else:
            self.placements = legal_placements(self.profile, conditions)
        if not self.placements:
            raise ValueError(NO_WAY)
        if step.closed is not None or step.either is not None:
            yield from self._readings(step)
        if step.seen is not None:
            seen = observation(self.profile, step.seen)
            yield from self._comparison(step, seen, conditions)
            if step.missing_at is not None:
                yield from self._location(step.missing_at, seen, conditions)
        if step.diagnosis is not None:
            yield from self._diagnosis(step.diagnosis, self._sheets(step, conditions))

    def _diagnosis(self, wanted: DiagnosisTable, sheets: tuple[Sheet, ...]) -> Iterator[str]:
        if self._judge is None:
            # Most scenarios diagnose nothing, and need not wait for what that takes.
            from simrig.interchange.verdicts import Judge

            self._judge = Judge(self.profile)
        yield from self._judge.failures(wanted, sheets)

    def _sheets(self, step: Step, conditions: Conditions) -> tuple[Sheet, ...]:
        """Return what a step says was seen, at one time or at several."""
        found = []
        if step.seen is not None:
            seen = observation(self.profile, step.seen)
            found.append(Sheet(observation=seen, conditions=conditions))
        for number, row in enumerate(step.sheets, 1):
            own = conditions_of(row)
            if faults := condition_faults(self.profile, own):
                raise ValueError(f"sheet {number}: {'; '.join(faults)}")
            found.append(Sheet(observation=observation(self.profile, row), conditions=own))
        wanted = step.diagnosis
        if not found and not (wanted and (wanted.found or wanted.complaints)):
            raise ValueError(
                "found nothing to diagnose; wanted what was seen; add seen, or [[step.sheets]]"
            )
        return tuple(found)

    def _move(self, steps: Iterable[str]) -> None:
        rig = Rig(self.profile)
        if self.placements:
            rig.placement = self.placements[0]
        if not rig.placement.states:
            rig.placement = start(self.profile, rig.placement)
        rig.in_hand = self.profile.balls.installed + 1 - rig.placement.balls
        rig.do(*steps)
        self.placements = (rig.placement,)

    def _readings(self, step: Step) -> Iterator[str]:
        frame = readings(self.profile, self.table, worlds(self.profile, self.placements))
        wanted = dict.fromkeys(_names(self.profile, step.closed), CLOSED)
        wanted.update(dict.fromkeys(_names(self.profile, step.either), EITHER))
        counted = [sensor.id for sensor in watched(self.profile) if sensor.counted]
        for name in dict.fromkeys((*counted, *wanted)):
            reading = frame.reading(name)
            expected = wanted.get(name, OPEN)
            if reading != expected:
                yield f"{name}: reads {reading}, the scenario expects {expected}"

    def _comparison(self, step: Step, seen: Observation, conditions: Conditions) -> Iterator[str]:
        if not (step.verdict or step.differences is not None or step.fits or step.no_fits):
            return
        found = compare(self.profile, seen, conditions)
        if step.verdict is not None and found.agrees != (step.verdict == "agrees"):
            yield f"compare: {'agrees' if found.agrees else 'differs'}, expected {step.verdict}"
        if step.differences is not None:
            named = {one.sensor for one in found.differences}
            wanted = set(_names(self.profile, step.differences))
            if named != wanted:
                found_at, wanted_at = ", ".join(sorted(named)), ", ".join(sorted(wanted))
                yield f"differences at {found_at or 'none'}, expected {wanted_at or 'none'}"
        for fit in step.fits:
            if not any(_matches(fit, one) for one in found.fits):
                offered = "; ".join(_shown(one) for one in found.fits) or "none"
                yield f"fit not offered: {_wanted(fit)}; offered: {offered}"
        yield from _not_offered(step, found, conditions, self.profile)

    def _location(
        self, wanted: Iterable[str], seen: Observation, conditions: Conditions
    ) -> Iterator[str]:
        found = locate(self.profile, seen, conditions)
        named = {name for one in found.placements for name in one.missing_at}
        if named != set(wanted):
            found_at, wanted_at = (", ".join(sorted(one)) or "nowhere" for one in (named, wanted))
            yield f"a missing ball can be at {found_at}, expected {wanted_at}"


def observation(profile: Profile, seen: Seen) -> Observation:
    """Return what a scenario says was seen; raises ValueError for an unknown sensor."""
    return observe(
        profile,
        closed=_names(profile, seen.closed),
        open=_names(profile, seen.open),
        unknown=_names(profile, seen.unknown),
        flicker=_names(profile, seen.flicker),
        closed_named=seen.closed is not None,
        open_named=seen.open is not None,
        others_rest=seen.others == "rest",
    )


def conditions_of(step: Step | SheetSeen) -> Conditions:
    """Return the conditions that a step, or one of its sheets, sets."""
    spots = None
    if step.seats is not None:
        spots = frozenset() if str(step.seats) == NONE else frozenset(step.seats)
    return Conditions(
        phase=step.phase, balls=step.balls, at=step.at, spots=spots, states=dict(step.state or {})
    )


def _names(profile: Profile, words: Iterable[str] | None) -> list[str]:
    return [name for word in words or () for name in resolve(profile, word)]


def _matches(wanted: FitTable, fit: Fit) -> bool:
    return all(
        getattr(wanted, name) is None or getattr(wanted, name) == getattr(fit, name)
        for name in ("phase", "balls", "inverted", "numbering", "moving", "differences")
    )


def _wanted(fit: FitTable) -> str:
    return _told({k: v for k, v in attrs.asdict(fit).items() if v is not None})


def _shown(fit: Fit) -> str:
    said = attrs.asdict(fit).items()
    return _told({k: v for k, v in said if k != "at" and v not in ((), None)})


def _told(said: Mapping[str, Any]) -> str:
    lists = {k: " and ".join(v) if isinstance(v, tuple | list) else v for k, v in said.items()}
    return ", ".join(f"{name} {value}" for name, value in lists.items())


def _not_offered(
    step: Step, found: Comparison, conditions: Conditions, profile: Profile
) -> Iterator[str]:
    home = profile.balls.installed if conditions.balls is None else conditions.balls
    for name in step.no_fits or ():
        for fit in found.fits:
            offered = {
                "inverted": bool(fit.inverted),
                "numbering": bool(fit.numbering),
                "moving": bool(fit.moving),
                "phase": fit.phase != (conditions.phase or "idle"),
                "balls": fit.balls != home,
            }[name]
            if offered:
                yield f"a fit is offered that must not be: {_shown(fit)}"
                break
