"""What can be wrong, for the page: worked out once for the same evidence, whoever asks."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Final

import attrs

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.diagnose import Diagnosis
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.offered import result_words
from simrig.diagnosis.suspects import Sheet
from simrig.page.session import State
from simrig.profile.machine import Profile
from simrig.reports import diagnosis_text, isolation_text, wording
from simrig.reports.bars import bar

_KEPT: Final = 60
_MOST_JOBS: Final = 12
_SURE: Final = 0.99
_LIMIT: Final = 2
MOST_ANSWERS: Final = 8
PUT_RIGHT: Final = "it is put right; prove it"
MOST_WAITING: Final = 12


@attrs.frozen(kw_only=True)
class GroupView:
    """Causes that nothing can part: in words, how likely, and why."""

    number: int
    title: str
    chance: str
    bar: str
    why: str


@attrs.frozen(kw_only=True)
class CheckView:
    """The check to do next: how the bench stands, the moves to it, its answers.

    ``certain`` says that it is the repair of what is wrong in all that is left.
    """

    id: str
    title: str
    minutes: float
    caution: str
    bench: str
    moves: tuple[tuple[str, str], ...]
    answers: tuple[tuple[str, str, str], ...]
    """(result, its words, how likely it is in words)"""
    certain: str = ""


@attrs.frozen(kw_only=True)
class CausesView:
    """What can be wrong, likeliest groups first, ``more`` of them not shown.

    ``next`` is the check that pays best, None where none parts what is left;
    ``repair`` what is done about the likeliest then.
    """

    verdict: str
    as_assumed: bool
    conflict: bool
    told_apart: bool
    groups: tuple[GroupView, ...]
    more: int
    next: CheckView | None
    done: tuple[tuple[str, str], ...]
    repair: str
    diagnosis: Diagnosis = attrs.field(repr=False, eq=False)


class StaleError(Exception):
    """Somebody tapped on while the question waited: nobody wants this answer any more."""


class BusyError(Exception):
    """So many questions wait that another one has to come again."""


class Isolating:
    """Diagnoses for all who use the page; one at a time, since each takes the whole processor."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._room = threading.BoundedSemaphore(MOST_WAITING)
        self._jobs: OrderedDict[Any, Job] = OrderedDict()
        self._known: OrderedDict[Any, Isolation] = OrderedDict()

    def isolation(
        self, profile: Profile, state: State, *, wanted: Callable[[], bool] = lambda: True
    ) -> Isolation:
        """Return the diagnosis of everything that was seen and checked, and the bench for what
        comes next.

        ``wanted`` tells, when its turn comes, whether anybody still waits for it.  Raises
        ValueError, in words, when nothing was seen or the conditions cannot be; StaleError
        and BusyError.
        """
        if not self._room.acquire(blocking=False):
            raise BusyError
        try:
            return self._isolation(profile, state, wanted)
        finally:
            self._room.release()

    def _isolation(self, profile: Profile, state: State, wanted: Callable[[], bool]) -> Isolation:
        seen = (
            profile.id,
            tuple(
                (sheet.phase, sheet.balls, tuple(sorted(sheet.readings.items())))
                for sheet in state.taken
            ),
        )
        key = (seen, state.checks, state.skipped)
        with self._lock:
            if key in self._known:
                self._known.move_to_end(key)
                return self._known[key]
            if not wanted():
                raise StaleError
            job = self._jobs.get(seen)
            if job is None or job.profile is not profile:
                sheets = tuple(
                    Sheet(observation=sheet.observation(profile), conditions=sheet.conditions)
                    for sheet in state.taken
                )
                job = Job(profile=profile, sheets=sheets, limit=_LIMIT)
                self._jobs[seen] = job
            found = job.isolation(_results(job, state), frozenset(state.skipped))
            if not found.diagnosis.as_assumed:
                _ = found.next  # worked out while nobody else uses the processor
            self._known[key] = found
            for kept, most in ((self._jobs, _MOST_JOBS), (self._known, _KEPT)):
                if len(kept) > most:
                    kept.popitem(last=False)
            return found


def ended(isolation: Isolation) -> bool:
    """Whether the asking is at its end: nothing parts what is left, or one thing is sure."""
    causes = isolation.causes
    total = sum(cause.chance for cause in causes)
    sure = bool(isolation.results) and causes[0].chance >= _SURE * total if causes else True
    return sure or isolation.next is None


def _results(job: Job, state: State) -> tuple[Result, ...]:
    """Return what was answered; checks that the bench no longer knows say nothing."""
    found = []
    for name, answer in state.checks:
        try:
            found.append(job.result(name, answer))
        except ValueError:
            continue
    return tuple(found)


def causes_view(isolation: Isolation) -> CausesView:
    """Return a diagnosis as the page shows it: the same groups, check and words as the command's."""
    found = isolation.diagnosis
    shown = diagnosis_text.top_groups(found) if not found.as_assumed else []
    groups = []
    for number in shown:
        causes = found.group(number)
        share = sum(cause.chance for cause in causes)
        groups.append(
            GroupView(
                number=number,
                title=diagnosis_text.group_words(found, number),
                chance=f"{wording.chance(share)} ({share:.0%})",
                bar=bar(share),
                why=causes[0].why,
            )
        )
    check = None if found.as_assumed else _check_view(isolation)
    faults = isolation.causes[0].faults if found.causes and not found.as_assumed else ()
    to_do = [words for fault in faults if (words := isolation_text.to_put_right(isolation, fault))]
    return CausesView(
        verdict=diagnosis_text.verdict(found),
        as_assumed=found.as_assumed,
        conflict=found.conflict is not None,
        told_apart=found.told_apart and not found.as_assumed,
        groups=tuple(groups),
        more=0 if found.as_assumed else found.groups - len(shown),
        next=check,
        done=tuple(
            (one.check.title, result_words(one.check, one.result)) for one in isolation.results
        ),
        repair="" if check else "; then ".join(to_do) if to_do or not faults else PUT_RIGHT,
        diagnosis=found,
    )


def _check_view(isolation: Isolation) -> CheckView | None:
    offered = None if ended(isolation) else isolation.next
    if offered is None:
        return None
    return CheckView(
        id=offered.check.id,
        title=isolation_text.sentence(offered.check.title),
        minutes=offered.minutes,
        caution=offered.check.caution,
        bench=isolation.state.words(),
        moves=tuple((move.words, move.caution) for move in offered.way.moves),
        certain="" if isolation.mending is None else isolation_text.CERTAIN,
        answers=tuple(
            (left.result, left.words, wording.chance(left.probability))
            for left in offered.leaves[:MOST_ANSWERS]
        ),
    )
