"""What a campaign found on a machine, and on many, as documents for other tools."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any, Final

import attrs

from simrig.diagnosis.campaign import Summary, Trial
from simrig.errors import Problem
from simrig.vetting.rule import LEVELS

HOLDS: Final = "holds"
BROKEN: Final = "broken"
WAITS: Final = "waits"


@attrs.frozen(kw_only=True)
class Conformed:
    """A check of the conformance suite: ``outcome`` holds, broken, or waits for a fact."""

    check: str
    title: str
    outcome: str
    words: str


@attrs.frozen(kw_only=True, eq=False)
class Campaigned:
    """One machine: its trials, what vetting finds (as ``vet --json`` says it), its conformance.

    ``number`` is its place among the machines of the run; ``conformance`` is None where the
    suite was not asked for.
    """

    number: int = 0
    file: str
    id: str
    name: str
    trials: tuple[Trial, ...]
    findings: tuple[Mapping[str, Any], ...] = ()
    conformance: tuple[Conformed, ...] | None = None

    @cached_property
    def summary(self) -> Summary:
        """Its trials in figures."""
        return Summary.of(self.trials)

    @cached_property
    def levels(self) -> dict[str, int]:
        """How many findings there are of each level."""
        return levels((self,))

    def broken(self) -> tuple[Conformed, ...]:
        """Return the checks of the conformance suite that do not hold."""
        return tuple(one for one in self.conformance or () if one.outcome == BROKEN)

    def agrees(self) -> bool:
        """Whether each fault was kept to the end, nothing broke, and no rule is contradicted."""
        told = self.summary
        sound = told.held == told.tried and not told.unparted
        return sound and not self.levels[LEVELS[0]] and not self.broken()


def levels(machines: Iterable[Campaigned]) -> dict[str, int]:
    """Return how many findings of each level there are on machines."""
    found = Counter(str(finding["level"]) for one in machines for finding in one.findings)
    return {level: found[level] for level in LEVELS}


def plain(trial: Trial) -> dict[str, Any]:
    """Return a trial as plain values; :func:`trial` makes it again."""
    return attrs.asdict(trial, value_serializer=lambda _, __, value: _listed(value))


def _listed(value: Any) -> Any:
    return [_listed(one) for one in value] if isinstance(value, tuple) else value


def trial(values: Mapping[str, Any]) -> Trial:
    """Return the trial that plain values say."""
    return Trial(**{name: _tupled(value) for name, value in values.items()})


def _tupled(value: Any) -> Any:
    return tuple(_tupled(one) for one in value) if isinstance(value, list) else value


def machine(one: Campaigned) -> dict[str, Any]:
    """Return one machine as a document."""
    found = {"machine": one.id, **_figures(one.summary, groups=True)}
    found["trials"] = [
        {
            "faults": list(trial.faults),
            "phases": list(trial.shown),
            "counts": list(trial.counts),
            "minutes": trial.minutes,
            "checks": trial.checks,
            "left": [list(names) for names in trial.left],
            "held": trial.held,
            "proven": trial.proven,
        }
        for trial in one.trials
    ]
    found |= {"findings": list(one.findings), "levels": one.levels}
    if one.conformance is not None:
        found["conformance"] = [attrs.asdict(check) for check in one.conformance]
    return found


def fleet(machines: Sequence[Campaigned], problems: Iterable[Problem]) -> dict[str, Any]:
    """Return many machines as a document: each, all of them together, and what could not be done."""
    every = Summary.of([trial for one in machines for trial in one.trials])
    return {
        **_figures(every, groups=False),
        "levels": levels(machines),
        "machines": [{"file": one.file} | machine(one) for one in machines],
        "errors": [
            {
                "file": problem.file,
                "line": problem.line,
                "where": problem.where,
                "message": problem.message,
            }
            for problem in problems
        ],
    }


def _figures(summary: Summary, *, groups: bool) -> dict[str, Any]:
    found: dict[str, Any] = {
        "faults": summary.faults,
        "shown": summary.shown,
        "isolated": summary.isolated,
        "mean_minutes": summary.mean_minutes,
    }
    if groups:
        found["groups"] = [[list(one) for one in group] for group in summary.groups]
    found |= {"tried": summary.tried, "held": summary.held, "unparted": summary.unparted}
    return found
