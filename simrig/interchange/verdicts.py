"""Whether diagnosing gives what a scenario says it must."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

from simrig.diagnosis.bench_job import Job
from simrig.diagnosis.check_results import Result
from simrig.diagnosis.complaint import Complained
from simrig.diagnosis.diagnose import Cause, Diagnosis
from simrig.diagnosis.exclusion import suspect_named, why_not
from simrig.diagnosis.isolation import Isolation
from simrig.diagnosis.one_sheet import Models
from simrig.diagnosis.suspects import Sheet
from simrig.expectation.complaints import complaint_named
from simrig.faults.candidates import possible_faults
from simrig.interchange.diagnosis_keys import DiagnosisTable
from simrig.profile.keys import NONE
from simrig.profile.machine import Profile

NOT_WORTH_NAMING = 0.01
"""A chance below which a part is not blamed."""


class Judge:
    """Diagnoses the steps of one scenario; what they share is worked out once."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._models: dict[int, Models] = {}

    def failures(self, wanted: DiagnosisTable, sheets: tuple[Sheet, ...]) -> Iterator[str]:
        """Yield in words what is not as the scenario says; raises ValueError for a name that is
        none of the machine's."""
        limit = 2 if wanted.faults is None else wanted.faults
        if limit not in self._models:
            faults = possible_faults(self._profile)
            self._models[limit] = Models(profile=self._profile, faults=faults, limit=limit)
        told = [
            Complained(profile=self._profile, complaint=complaint_named(self._profile, name))
            for name in wanted.complaints or ()
        ]
        job = Job(
            profile=self._profile,
            sheets=sheets,
            others=tuple(told),
            limit=limit,
            shared=self._models[limit],
        )
        results = [_result(job, pair) for pair in wanted.found or ()]
        found = job.diagnosis(results)
        yield from _verdicts(wanted, found)
        yield from _names(wanted, found)
        if wanted.next_check is not None:
            yield from _next(wanted.next_check, job.isolation(results))
        if wanted.ranked is not None:
            yield from _ranked(wanted.ranked, found)
        if wanted.one_group is not None:
            groups = {_offered(found, name, "one_group").group for name in wanted.one_group}
            if len(groups) > 1:
                yield f"in {len(groups)} groups, expected in one: {', '.join(wanted.one_group)}"
        if wanted.alike is not None:
            grouping = found.whys.grouping
            seen = {grouping.alike(_offered(found, name, "alike").members) for name in wanted.alike}
            if len(seen) > 1:
                yield f"{len(seen)} of these show otherwise than others: {', '.join(wanted.alike)}"
        for name, sensor in (wanted.ruled_out_by or {}).items():
            answer = why_not(found, suspect_named(found, name))
            by = {one for _, one, _ in answer.readings}
            if sensor not in by:
                shown = ", ".join(sorted(by)) or answer.verdict
                yield f"{name} is ruled out by {shown}, expected by {sensor}"


def _result(job: Job, pair: str) -> Result:
    check, equals, result = pair.partition("=")
    if not equals:
        raise ValueError(f'found "{pair}"; wanted CHECK=RESULT')
    return job.result(check, result)


def _next(wanted: Iterable[str], isolation: Isolation) -> Iterator[str]:
    names = [NONE] if wanted == NONE else list(wanted)
    faults = [one.fault for one in isolation.diagnosis.suspects if one.fault is not None]
    for name in names:
        if name != NONE:
            isolation.bench.named(name, faults)
    found = NONE if isolation.next is None else isolation.next.check.id
    if found not in names:
        yield f"the next check is {found}, expected {' or '.join(names)}"


def _verdicts(wanted: DiagnosisTable, found: Diagnosis) -> Iterator[str]:
    facts = {
        "as_assumed": found.as_assumed,
        "told_apart": found.told_apart,
        "conflict": found.conflict is not None,
        "groups": found.groups,
        "no_part": not _parts(found),
    }
    for key, value in facts.items():
        expected = getattr(wanted, key)
        if expected is not None and expected != value:
            shown = f": {', '.join(_parts(found)[:5])}" if key == "no_part" and not value else ""
            yield f"{key.replace('_', ' ')}: {_said(value)}{shown}, expected {_said(expected)}"
    if wanted.at is not None:
        ways = found.causes[0].placements if found.causes else ()
        if dict(wanted.at) not in [dict(way) for way in ways]:
            shown = "; ".join(str(dict(way)) for way in ways[:4]) or "nowhere"
            yield f"the balls lie {shown}, expected {dict(wanted.at)}"


def _said(value: object) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _parts(found: Diagnosis) -> list[str]:
    return [
        " & ".join(_members(found, cause))
        for cause in found.causes
        if cause.chance >= NOT_WORTH_NAMING
        and any(fault.kind.effect != "moves balls" for fault in cause.faults)
    ]


def _names(wanted: DiagnosisTable, found: Diagnosis) -> Iterator[str]:
    offered = [frozenset(_members(found, cause)) for cause in found.causes]
    alone = {name for members in offered if len(members) == 1 for name in members}
    anywhere = {name for members in offered for name in members}
    for name in wanted.among or ():
        if _set(found, name) not in offered:
            yield f"not offered: {name}"
    if wanted.singles is not None:
        expected = {name for word in wanted.singles for name in _set(found, word)}
        for word, names in (("too many", alone - expected), ("missing", expected - alone)):
            if names:
                yield f"by itself, {word}: {', '.join(sorted(names))}"
    for key, names in (("absent", alone), ("nowhere", anywhere)):
        for name in getattr(wanted, key) or ():
            _known(found, name)
            wrong = sorted(one for one in names if name in (one, one.partition(":")[0]))
            if wrong:
                yield f"offered although it must not be: {', '.join(wrong)}"
    if wanted.first is not None:
        first = " & ".join(sorted(offered[0])) if offered else "nothing"
        if not offered or offered[0] not in [_set(found, name) for name in wanted.first]:
            yield f"the likeliest is {first}, expected {' or '.join(wanted.first)}"


def _ranked(names: Iterable[str], found: Diagnosis) -> Iterator[str]:
    chances = [(name, _offered(found, name, "ranked").chance) for name in names]
    for (one, chance), (other, less) in itertools.pairwise(chances):
        if not chance > less:
            yield f"{one} ({chance:.4f}) is not likelier than {other} ({less:.4f})"


def _offered(found: Diagnosis, name: str, key: str) -> Cause:
    wanted = _set(found, name)
    for cause in found.causes:
        if frozenset(_members(found, cause)) == wanted:
            return cause
    raise ValueError(f"{key}: {name} is not offered")


def _members(found: Diagnosis, cause: Cause) -> list[str]:
    return [_short(found, index) for index in cause.members]


def _short(found: Diagnosis, index: int) -> str:
    one = found.suspects[index]
    return one.name if one.mistake is None else f"{one.mistake.kind}:{one.mistake.value}"


def _set(found: Diagnosis, name: str) -> frozenset[str]:
    words = [word.strip() for word in name.split("&")]
    return frozenset([_short(found, suspect_named(found, word)) for word in words])


def _known(found: Diagnosis, name: str) -> None:
    """Raise ValueError for a name, or a kind, that is none of the machine's."""
    kinds = {_short(found, index).partition(":")[0] for index in range(len(found.suspects))}
    if name not in kinds:
        suspect_named(found, name)
