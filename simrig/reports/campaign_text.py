"""What a campaign found on a machine, and on many, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, Final

from simrig.diagnosis.campaign import Summary, Trial
from simrig.interchange.campaign_document import WAITS, Campaigned, levels
from simrig.profile.naming import counted
from simrig.reports.isolation_text import folded
from simrig.reports.tables import table

MOST_SHOWN: Final = 10
"""So many machines stand on the first screen, the worst; the rest is counted."""

_NAME: Final = 26


def machine(one: Campaigned) -> Iterator[str]:
    """Yield the lines about a machine that is alone."""
    summary = one.summary
    yield f"{counted(summary.faults, 'fault')} injected into {one.name}."
    yield from folded(_shown(summary))
    yield from _shares("by phase", one.trials, lambda trial: trial.shown)
    yield from _shares("by balls in the store", one.trials, lambda trial: map(str, trial.counts))
    if summary.mean_minutes is not None:
        yield from folded(_isolated(summary))
    for group in summary.groups[:10]:
        words = " | ".join(" with ".join(one) for one in group[:4])
        more = f" | and {len(group) - 4} more" if len(group) > 4 else ""
        yield from folded(f"No check parts: {words}{more}", "  ")
    if len(summary.groups) > 10:
        yield f"and {len(summary.groups) - 10} more groups: --json"
    for trial in [one for one in one.trials if one.minutes is not None and not one.held][:10]:
        yield from folded(f"Lost on the way: {' with '.join(trial.faults)}", "  ")
    if one.levels["error"] or one.levels["warning"]:
        yield from folded(f"Vetting finds {_vetting(one.levels)}: simrig vet {one.file}")
    for check in one.conformance or ():
        words = f": {check.words}" if check.words else ""
        outcome = "waits for" if check.outcome == WAITS else check.outcome
        yield from folded(f"Conformance, {check.title} ({check.check}): {outcome}{words}", "  ")


def fleet(done: Sequence[Campaigned], failed: Sequence[str], *, every: bool) -> Iterator[str]:
    """Yield the lines about many machines, the worst first: all, or a screen full.

    ``failed`` are the files of those that have no result.
    """
    summary = Summary.of([trial for one in done for trial in one.trials])
    count = counted(len(done) + len(failed), "machine")
    yield f"{counted(summary.faults, 'fault')} injected into {count}."
    if summary.faults:
        yield from folded(_shown(summary))
    if summary.mean_minutes is not None:
        yield from folded(_isolated(summary))
    touched = sum(bool(one.findings) for one in done)
    found = levels(done)
    if touched:
        yield from folded(f"Vetting finds {_vetting(found)} in {counted(touched, 'machine')}.")
    if any(one.conformance for one in done):
        yield from folded(_conformance(done))
    if failed:
        yield from folded(
            f"{counted(len(failed), 'machine')} could not be done; the messages say why."
        )
    rows = [(file, "", "", "", "not done") for file in failed]
    names = _names(done)
    rows += [_row(one, name) for one, name in sorted(zip(done, names, strict=True), key=_worst)]
    most = len(rows) if every else MOST_SHOWN
    yield ""
    yield table(
        [(_cut(name), *rest) for name, *rest in rows[:most]],
        ("machine", "show", "to the part", "minutes", "look first at"),
    )
    if len(rows) > most:
        yield f"{len(rows) - most} more: --all"


def _shown(summary: Summary) -> str:
    silent = summary.faults - summary.shown
    words = f"{summary.shown} show in the readings of some phase or number of balls"
    return f"{words}; {silent} show in none, without working a switch."


def _isolated(summary: Summary) -> str:
    return (
        f"{summary.isolated} of {summary.tried} were isolated down to the part, "
        f"{summary.mean_minutes:.1f} minutes on the mean; what was injected was in the final "
        f"group {summary.held} times of {summary.tried}."
    )


def _vetting(found: dict[str, int]) -> str:
    words = [counted(number, level) for level, number in found.items() if number]
    return ", ".join(words)


def _conformance(done: Iterable[Campaigned]) -> str:
    outcomes = Counter(check.outcome for one in done for check in one.conformance or ())
    words = ", ".join(
        f"{number} {words}"
        for outcome, words in (("broken", "broken"), ("waits", "wait for a fact"))
        if (number := outcomes[outcome])
    )
    return f"Conformance: {counted(sum(outcomes.values()), 'check')}, {words or 'all hold'}."


def _worst(named: tuple[Campaigned, str]) -> tuple[Any, ...]:
    """Sort machines so that the one to look at first stands first."""
    one, name = named
    told = one.summary
    share = told.isolated / told.tried if told.tried else 1.0
    return (
        told.held - told.tried, -told.unparted, -one.levels["error"], -len(one.broken()),
        share, -one.levels["warning"], -(told.mean_minutes or 0.0), name,
    )  # fmt: skip


def _row(one: Campaigned, name: str) -> tuple[str, str, str, str, str]:
    told = one.summary
    minutes = "" if told.mean_minutes is None else f"{told.mean_minutes:.1f}"
    return (
        name,
        f"{told.shown} of {told.faults}",
        f"{told.isolated} of {told.tried}" if told.tried else "",
        minutes,
        _look_at(one),
    )


def _look_at(one: Campaigned) -> str:
    told = one.summary
    broken = one.broken()
    if told.held < told.tried:
        return f"{counted(told.tried - told.held, 'fault')} lost"
    if told.unparted:
        return f"{told.unparted} left unparted"
    if one.levels["error"]:
        return f"vet: {counted(one.levels['error'], 'error')}"
    if broken:
        return f"conformance: {broken[0].check}" + (" ..." if len(broken) > 1 else "")
    if told.groups:
        return f"{counted(len(told.groups), 'group')} no check parts"
    if one.levels["warning"]:
        return f"vet: {counted(one.levels['warning'], 'warning')}"
    return ""


def _names(done: Sequence[Campaigned]) -> list[str]:
    """Name machines by their ids; those of one id by their files."""
    times = Counter(one.id for one in done)
    return [one.id if times[one.id] == 1 else one.file for one in done]


def _cut(name: str) -> str:
    """Keep the end of a long name: of files, the beginnings are alike."""
    return name if len(name) <= _NAME else f"...{name[3 - _NAME :]}"


def _shares(
    title: str, done: Sequence[Trial], where: Callable[[Trial], Iterable[str]]
) -> Iterator[str]:
    found = Counter(name for one in done for name in where(one))
    if found:
        text = ", ".join(f"{name} {number}" for name, number in found.items())
        yield from folded(f"  {title}: {text}", "    ")
