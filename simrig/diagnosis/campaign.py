"""Every fault of a machine injected: what shows, what bench checks tell apart, what it costs.

A trial takes the sheets that a technician would take of the faulty machine (every
ball home, half of them, none; or the phase in which it shows), diagnoses them, and
does check after check, each giving what the faulty machine gives, until no check
parts what is left.  What has to be put right on the way is put right, and its own
minutes do not count.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from functools import cached_property

import attrs

from simrig.diagnosis import sequencing
from simrig.diagnosis.bench_case import Case, Ground
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.bench_state import BenchState
from simrig.diagnosis.benches import Bench, Benches
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.diagnose import Cause
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.repairs import is_repair
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.observation import Observation
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.dispositions import placements_with
from simrig.faults.injection import inject
from simrig.profile.layout import Place
from simrig.profile.machine import Profile
from simrig.scan.scanner import Links, links, readings
from simrig.signals import EITHER, UNKNOWN
from simrig.world.balls import Placement
from simrig.world.phases import Conditions, legal_placements
from simrig.world.worlds import worlds

MOST_WORLDS = 400
MOST_STEPS = 60

Shown = dict[str, str]


@attrs.frozen(kw_only=True)
class Trial:
    """One injected fault, or pair of faults.

    ``shown`` are the phases whose readings can betray it, ``counts`` the numbers of
    balls in the store that do; ``minutes`` what isolating it took, None where no
    sheet betrays it; ``left`` what no check parts at the end, ``held`` whether what
    was injected is in it.
    """

    faults: tuple[str, ...]
    shown: tuple[str, ...]
    counts: tuple[int, ...]
    minutes: float | None
    checks: int
    left: tuple[tuple[str, ...], ...]
    held: bool
    proven: bool
    parted: bool
    """Whether a check of the catalogue would still part what is left: never."""

    @property
    def isolated(self) -> bool:
        """Whether exactly what was injected is left."""
        return self.held and len(self.left) == 1


@attrs.frozen(kw_only=True, eq=False)
class Campaign:
    """What is shared by all trials on one machine."""

    profile: Profile = attrs.field(repr=False)
    limit: int = 2

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Every single fault that the machine can have."""
        return possible_faults(self.profile)

    def chosen(self, singles: int | None, pairs: int, seed: int) -> list[tuple[Fault, ...]]:
        """Return what to inject: so many singles, evenly spread, and so many pairs, drawn."""
        every = self.faults
        if singles is None or singles >= len(every):
            found: list[tuple[Fault, ...]] = [(fault,) for fault in every]
        else:
            found = [(every[number * len(every) // singles],) for number in range(singles)]
        drawn = random.Random(f"{self.profile.id} {seed}")
        seen: set[frozenset[str]] = set()
        tries = 0
        while len(seen) < pairs and tries < 100 * (pairs + 1) and len(every) > 1:
            tries += 1
            one, other = drawn.sample(every, 2)
            key = frozenset((one.name, other.name))
            if one.component != other.component and key not in seen:
                seen.add(key)
                found.append((one, other))
        return found

    @cached_property
    def _table(self) -> Links:
        return links(self.profile)

    @cached_property
    def _models(self) -> Models:
        return Models(profile=self.profile, faults=self.faults, limit=self.limit)

    @cached_property
    def _benches(self) -> Benches:
        return Benches(profile=self.profile)

    def trial(self, faults: tuple[Fault, ...]) -> Trial:
        """Inject faults, find out where they show, and isolate them."""
        shown = tuple(phase.id for phase in self.profile.phase if self._seen_in(phase.id, faults))
        counts = tuple(number for number in self._counts() if self._seen_at(number, faults))
        sheets = self._sheets(faults, shown)
        nothing = Trial(
            faults=tuple(fault.name for fault in faults), shown=shown, counts=counts, minutes=None,
            checks=0, left=(), held=False, proven=False, parted=False,
        )  # fmt: skip
        if not sheets:
            return nothing
        job = Job(
            profile=self.profile,
            sheets=sheets,
            limit=self.limit,
            shared=self._models,
            benches=self._benches,
        )
        return self._isolated(job, faults, nothing)

    def _isolated(self, job: Job, faults: tuple[Fault, ...], trial: Trial) -> Trial:
        """Do check after check on the faulty machine."""
        isolation = job.isolation(())
        if isolation.diagnosis.conflict is not None:
            return attrs.evolve(trial, minutes=0.0)
        case = Case(ground=job.bench.ground, faults=faults)
        work = _Work(bench=job.bench, case=case, state=isolation.state)
        while isolation.next is not None and len(work.results) < MOST_STEPS:
            if isolation.mending is not None:
                work.do(isolation.mending, proven=True)
            else:
                self._narrow(isolation, work)
            isolation = job.isolation(work.results)
        causes = isolation.causes
        return attrs.evolve(
            trial,
            minutes=work.minutes,
            checks=len(work.results),
            left=tuple(_names(cause) for cause in causes),
            held=any(_is(cause, faults) for cause in causes),
            proven=work.proven,
            parted=isolation.next is not None,
        )

    def _narrow(self, isolation: Isolation, work: _Work) -> None:
        """Narrow what is left result by result, until it has to be weighed anew.

        So it has when no check parts it any more, and when a check has put something right.
        """
        problem, choice = isolation.problem, isolation.choice
        while choice is not None and len(work.results) < MOST_STEPS:
            shown = work.do(isolation.check(choice.check.id), proven=choice.proven)
            narrowed = _narrowed(problem, shown)
            if narrowed is None or shown.check.changes:
                return
            problem = narrowed
            choice = sequencing.next_check(problem)

    # Where it shows

    def _frames(self, table: Links, placements: Sequence[Placement]) -> list[Shown]:
        many = worlds(self.profile, placements)
        frame = readings(self.profile, table, many)
        names = [sensor.id for sensor in self.profile.ball_sensors()]
        return [
            {name: frame.reading(name, 1 << number) for name in names}
            for number in range(len(many.placements))
        ]

    def _faulty(
        self, conditions: Conditions, faults: tuple[Fault, ...]
    ) -> tuple[list[Shown], list[Shown]]:
        """Return what a sound machine can read, and what a faulty one does."""
        legal = legal_placements(self.profile, conditions)[:MOST_WORLDS]
        moved = [fault for fault in faults if fault.kind.effect == "moves balls"]
        lying = placements_with(self.profile, conditions, moved)[:MOST_WORLDS] if moved else legal
        table = inject(self.profile, self._table, faults)
        return self._frames(self._table, legal), self._frames(table, lying)

    def _betraying(self, conditions: Conditions, faults: tuple[Fault, ...]) -> Shown | None:
        """Return a faulty reading that no sound machine gives; None where there is none."""
        sound, faulty = self._faulty(conditions, faults)
        for one in faulty:
            if not any(_fits(one, other) for other in sound):
                return one
        return None

    def _seen_in(self, phase: str, faults: tuple[Fault, ...]) -> bool:
        return self._betraying(Conditions(phase=phase), faults) is not None

    def _counts(self) -> list[int]:
        store = self._store
        if store is None:
            return []
        return list(range(min(store.capacity, self.profile.balls.installed) + 1))

    @cached_property
    def _store(self) -> Place | None:
        return Ground.of(self.profile).store

    def _at(self, number: int) -> Conditions:
        assert self._store is not None
        return Conditions(at={self._store.id: number})

    def _seen_at(self, number: int, faults: tuple[Fault, ...]) -> bool:
        return self._betraying(self._at(number), faults) is not None

    def _sheets(self, faults: tuple[Fault, ...], shown: Sequence[str]) -> tuple[Sheet, ...]:
        """Return the sheets of the faulty machine that a technician takes; none if it is silent."""
        moves = any(fault.kind.effect == "moves balls" for fault in faults)
        counts = self._counts()
        if counts and not moves:
            full = counts[-1]
            asked = [self._at(number) for number in dict.fromkeys((full, full // 2, 0))]
            if any(self._betraying(one, faults) is not None for one in asked):
                return tuple(self._sheet(one, faults) for one in asked)
        for phase in shown:
            conditions = Conditions(phase=phase)
            seen = self._betraying(conditions, faults)
            if seen is not None:
                return (_sheet(conditions, seen),)
        return ()

    def _sheet(self, conditions: Conditions, faults: tuple[Fault, ...]) -> Sheet:
        return _sheet(conditions, self._faulty(conditions, faults)[1][0])


@attrs.define(kw_only=True)
class _Work:
    """What was done on one faulty machine, and how it and the bench stand since.

    ``minutes`` leave out those of a repair itself, which is owed whenever it is made.
    """

    bench: Bench
    case: Case
    state: BenchState
    minutes: float = 0.0
    proven: bool = True
    results: list[Result] = attrs.field(factory=list)

    def do(self, check: Check, *, proven: bool) -> Result:
        """Do a check and return what the machine shows; of several results the first by name."""
        way = self.bench.way(self.state, check)
        assert way is not None
        can = sorted(check.outcomes(self.case)) or sorted(check.results)
        shown = Result(check=check, result=can[0])
        self.results.append(shown)
        self.minutes += way.minutes + (0.0 if is_repair(check) else check.minutes)
        self.state, self.case = way.after, check.after(self.case)
        self.proven = self.proven and proven
        return shown


def _narrowed(problem: sequencing.Problem, shown: Result) -> sequencing.Problem | None:
    """Return what is left of a problem after a result; None when it did not foresee it."""
    check = shown.check.id
    try:
        return sequencing.condition(sequencing.advance(problem, check), check, shown.result)
    except sequencing.ResultError:
        return None


def _sheet(conditions: Conditions, seen: Shown) -> Sheet:
    noted = {name: UNKNOWN if reading == EITHER else reading for name, reading in seen.items()}
    return Sheet(
        observation=Observation(readings=noted, taken_for_open=0, taken_for_closed=0),
        conditions=conditions,
    )


def _fits(one: Shown, other: Shown) -> bool:
    return all(
        EITHER in (reading, other[name]) or reading == other[name] for name, reading in one.items()
    )


def _names(cause: Cause) -> tuple[str, ...]:
    words = [fault.name for fault in cause.faults]
    return tuple(words + [f"{mistake.kind}:{mistake.value}" for mistake in cause.assumes])


def _is(cause: Cause, faults: tuple[Fault, ...]) -> bool:
    """Whether a cause is what was injected, or all of it that the evidence needs."""
    return not cause.assumes and bool(cause.faults) and set(cause.faults) <= set(faults)


@attrs.frozen(kw_only=True)
class Summary:
    """A whole campaign in figures."""

    faults: int
    shown: int
    isolated: int
    held: int
    tried: int
    mean_minutes: float | None
    groups: tuple[tuple[tuple[str, ...], ...], ...]
    unparted: int

    @classmethod
    def of(cls, trials: Sequence[Trial]) -> Summary:
        """Sum trials up."""
        tried = [trial for trial in trials if trial.minutes is not None]
        minutes = [trial.minutes for trial in tried if trial.minutes is not None]
        groups = dict.fromkeys(tuple(sorted(trial.left)) for trial in tried if len(trial.left) > 1)
        return cls(
            faults=len(trials),
            shown=sum(bool(trial.shown or trial.counts) for trial in trials),
            isolated=sum(trial.isolated for trial in trials),
            held=sum(trial.held for trial in tried),
            tried=len(tried),
            mean_minutes=sum(minutes) / len(minutes) if minutes else None,
            groups=tuple(groups),
            unparted=sum(trial.parted for trial in tried),
        )
