"""From a profile file to findings: the reader's, then those of every rule that looks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

import attrs

from simrig.errors import Problem
from simrig.profile.components import SENSOR_KINDS, SensorKind
from simrig.profile.machine import Profile
from simrig.profile.reader import examine
from simrig.vetting.rule import LEVELS, Finding, Found, Path, Rule
from simrig.vetting.subject import Subject, where
from simrig.vetting.table import RULES, rule_named

_UNKNOWN: Final = rule_named("silence-unknown")
_IDLE: Final = rule_named("silence-of-nothing")


@attrs.frozen(kw_only=True)
class Vetted:
    """One file: what was found, worst first within a line; what the profile silences; whether
    reading failed, so that the other rules have not been looked at."""

    file: str
    findings: tuple[Finding, ...]
    silenced: tuple[Finding, ...] = ()
    unread: bool = False


def vet(
    data: bytes,
    file: str,
    *,
    kinds: tuple[SensorKind, ...] = SENSOR_KINDS,
    rules: Sequence[Rule] = RULES,
    completed: Callable[[Profile], Profile] | None = None,
) -> Vetted:
    """Hold a profile file against every rule.

    What the reader refuses comes alone: the other rules are looked at once that
    is mended.  ``rules`` are those known, the built-in ones and what plug-ins bring; ``completed``
    adds to a sound profile what else they bring for its machine.
    """
    profile, problems = examine(data, file, kinds=kinds)
    if profile is None or problems:
        return unread(file, problems, rules=rules)
    return vet_read(profile if completed is None else completed(profile), rules=rules)


def vet_read(profile: Profile, *, rules: Sequence[Rule] = RULES) -> Vetted:
    """Hold a profile that was read already against every rule that looks."""
    told, silenced = _sorted_out(profile, list(looked_at(profile, rules)), rules)
    return Vetted(file=profile.origin.file, findings=tuple(told), silenced=tuple(silenced))


def unread(file: str, problems: Iterable[Problem], *, rules: Sequence[Rule] = RULES) -> Vetted:
    """Return what the reader of another format refused."""
    found = tuple(refused(problem, rules) for problem in problems)
    return Vetted(file=file, findings=found, unread=True)


def looked_at(profile: Profile, rules: Iterable[Rule] = RULES) -> Iterator[Finding]:
    """Yield what the rules find in a sound profile, silenced or not."""
    subject = Subject(profile)
    for rule in rules:
        if rule.look is not None:
            for found in rule.look(subject):
                yield _finding(profile, rule, found)


def refused(problem: Problem, rules: Sequence[Rule] = RULES) -> Finding:
    """Return a problem of the reader as a finding."""
    rule = rule_named(problem.rule or "wrong-value", rules)
    return Finding(
        code=rule.code,
        name=rule.name,
        level=rule.level,
        file=problem.file,
        line=problem.line,
        where=problem.where,
        message=problem.message,
        help=rule.mend,
    )


def _finding(profile: Profile, rule: Rule, found: Found) -> Finding:
    return Finding(
        code=rule.code,
        name=rule.name,
        level=rule.level,
        file=profile.origin.file,
        line=profile.origin.line(found.path) or (1 if not found.path else None),
        where=where(profile, found.path),
        message=found.message,
        help=rule.mend,
        about=found.about,
    )


def _sorted_out(
    profile: Profile, findings: list[Finding], rules: Sequence[Rule]
) -> tuple[list[Finding], list[Finding]]:
    silenced: list[Finding] = []
    for index, silence in enumerate(profile.silence):
        path: Path = ("silence", index, "rule")
        try:
            rule = rule_named(silence.rule, rules)
            if rule.look is None:
                raise ValueError(f"{rule.code} cannot be silenced; mend what it finds")
        except ValueError as error:
            findings.append(_finding(profile, _UNKNOWN, Found(path=path, message=str(error))))
            continue
        hushed = [
            finding
            for finding in findings
            if finding.code == rule.code
            and (silence.about is None or silence.about in finding.about)
        ]
        if not hushed:
            about = f" for {silence.about}" if silence.about else ""
            message = f"{rule.code} ({rule.name}) finds nothing{about}; take the silence out"
            findings.append(_finding(profile, _IDLE, Found(path=path, message=message)))
        silenced += [attrs.evolve(finding, silenced=silence.reason) for finding in hushed]
        findings = [finding for finding in findings if finding not in hushed]
    return sorted(findings, key=_order), sorted(silenced, key=_order)


def _order(finding: Finding) -> tuple[int, int, str]:
    return finding.line or 0, LEVELS.index(finding.level), finding.code
