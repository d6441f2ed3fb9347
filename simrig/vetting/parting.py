"""Which faults look alike in every reading and are parted by no bench check."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from typing import Final

from simrig.diagnosis.bench_case import Case
from simrig.diagnosis.bench_check import Check
from simrig.diagnosis.checks import catalogue
from simrig.faults.candidates import Fault, possible_faults
from simrig.faults.effects import Effects
from simrig.profile.naming import counted
from simrig.vetting.rule import Found, Rule
from simrig.vetting.subject import Subject

_SHOWN: Final = 2

_MOST: Final = 40_000
"""So many looks at what a check says are taken; a machine of many hundred sensors gets no note."""


def not_parted(subject: Subject) -> Iterator[Found]:
    groups = alike(subject)
    if groups:
        shown = "; ".join(" and ".join(fault.name for fault in group) for group in groups[:_SHOWN])
        more = f"; and {len(groups) - _SHOWN} more" if len(groups) > _SHOWN else ""
        yield Found(
            path=(),
            message=f"{counted(len(groups), 'group')} of faults read alike and no bench check parts them: "
            f"{shown}{more}; a repair has to try one after the other",
            about=tuple(fault.name for group in groups for fault in group),
        )


def alike(subject: Subject) -> list[tuple[Fault, ...]]:
    """Return the groups of faults that change readings, all in the same way, and that every
    check answers alike; nothing where there is too much to look at."""
    if subject.bench is None:
        return []
    many, _ = subject.bench
    effects = Effects.of(subject.profile, many, subject.links)
    groups: dict[Hashable, list[Fault]] = {}
    for fault in possible_faults(subject.profile):
        changed = effects.changed((fault,)) if _known(subject, fault) else {}
        if changed:
            key = fault.kind.intermittent, frozenset(changed.items())
            groups.setdefault(key, []).append(fault)
    checks = catalogue(subject.profile)
    cases: dict[Fault, Case] = {}
    left = _MOST

    def answer(check: Check, fault: Fault) -> frozenset[str]:
        nonlocal left
        left -= 1
        case = cases.get(fault)
        if case is None:
            case = cases[fault] = Case(ground=check.ground, faults=(fault,))
        return check.outcomes(case)

    found: list[tuple[Fault, ...]] = []
    for group in groups.values():
        found += _parted(group, _nearest_first(checks, group), answer)
        if left <= 0:
            return []
    return found


def _known(subject: Subject, fault: Fault) -> bool:
    """Whether all is known of the sensor that a fault concerns; else the facts come first."""
    if fault.sensor is None:
        return True
    links = subject.links.chains[fault.sensor]
    known = fault.sensor in subject.profile.address_of
    return known and all(link.action != "unsure" for link in links)


def _parted(
    group: Sequence[Fault],
    checks: Iterable[Check],
    answer: Callable[[Check, Fault], frozenset[str]],
) -> list[tuple[Fault, ...]]:
    """Part a group by one check after the other, until each is alone or no check is left."""
    classes = [list(group)] if len(group) > 1 else []
    for check in checks:
        if not classes:
            break
        finer: list[list[Fault]] = []
        for one in classes:
            by_answer: dict[frozenset[str], list[Fault]] = {}
            for fault in one:
                by_answer.setdefault(answer(check, fault), []).append(fault)
            finer += [part for part in by_answer.values() if len(part) > 1]
        classes = finer
    return [tuple(one) for one in classes]


def _nearest_first(checks: Sequence[Check], group: Sequence[Fault]) -> list[Check]:
    """The checks that name what a fault of the group concerns come first: they part soonest."""
    names = {name for fault in group for name in (fault.part, fault.sensor) if name}
    return sorted(checks, key=lambda check: not any(name in check.id for name in names))


RULES: Final = (
    Rule(
        code="TELL-03",
        name="faults-not-parted",
        level="note",
        what="Faults that read alike in every phase are told apart by some bench check.",
        why="Where none does, no diagnosis can name one part: the repair tries one after the other.",
        example='board = "trough-board"',
        mend="Nothing at the machine. A plug, a supply or a second sensor that the profile leaves out "
        "may bring the check.",
        limits="Single faults that change some reading at rest; those of coils and of balls, and of "
        "sensors of which facts are unknown, are left aside. Past 20,000 ways to lie, or too many "
        "parts, the rule is silent.",
        look=not_parted,
    ),
)
