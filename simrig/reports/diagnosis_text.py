"""A diagnosis on the screen: what was assumed, the verdict, what to do next, what can be wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from simrig.diagnosis.diagnose import Cause, Diagnosis
from simrig.diagnosis.exclusion import Verdict
from simrig.diagnosis.words import (
    balls_at,
    counted,
    fault_words,
    faults_words,
    listed,
    mistake_words,
)
from simrig.reports import wording

MOST_LINES = 20
TOP = 3
MOST_WAYS = 2
BETWEEN = 2
"""Empty lines that are kept between the parts of a screen while they fit."""
WORTH_A_LOOK = 0.1
"""The chance from which another look, which costs nothing, comes before any check."""


NextLines = Callable[[int], Sequence[str]]
"""Gives the bench state with its caution and the check to do next, in at most so many lines."""


def no_lines(most: int) -> Sequence[str]:
    """Nothing to do next."""
    return ()


def screen(
    found: Diagnosis, *, next_lines: NextLines = no_lines, most: int = MOST_LINES
) -> list[str]:
    """Return the first screen, at most 20 lines, or fewer where others stand above it."""
    head = [_assumed(found), [*_folded(verdict(found)), *_as_read(found)]]
    if found.conflict is not None:
        return _spaced(most, [*head, _folded(f"What to do: {_capital(found.conflict.way_back)}.")])
    if found.as_assumed:
        return _spaced(most, [*head, _cannot_show(found), _stands_on(found, 2)])
    used = sum(map(len, head))
    shown = top_groups(found)
    after: Sequence[str] = ()
    for rows in (2, 1):
        groups = [line for number in shown for line in _group(found, number, rows)]
        if more := found.groups - len(shown):
            groups.append(f"{more} more: --all")
        # The catalogue looks again where that pays.
        first = [] if next_lines(most) else _first_look(found)
        room = most - BETWEEN - used - len(groups) - len(first)
        after = [*first, *next_lines(room)]
        if used + len(groups) + len(after) <= most:
            break
    sections = [*head, after, groups]
    for spare in (_concentrated(found), _reason(found, shown[0])):
        room = most - BETWEEN - sum(map(len, sections))
        if len(spare) <= room:
            sections.append(spare)
    return _spaced(most, sections)


def _spaced(most: int, sections: Sequence[Sequence[str]]) -> list[str]:
    """Return sections one below the other, with empty lines between them as far as they fit.

    The first goes above the verdict, the next above the groups.
    """
    kept = [section for section in sections if section]
    room = most - sum(map(len, kept))
    gaps = sorted(range(1, len(kept)), key=lambda gap: {1: 0, 3: 1, 2: 2}.get(gap, gap))
    chosen = set(gaps[: max(room, 0)])
    lines: list[str] = []
    for number, section in enumerate(kept):
        lines += ["", *section] if number in chosen else section
    return lines


def _concentrated(found: Diagnosis) -> list[str]:
    """Say where most of the chance lies, when several things at one sensor share it."""
    chances: dict[str, list[float]] = {}
    for cause in found.causes:
        if len(cause.members) == 1 and cause.faults and cause.faults[0].sensor is not None:
            chances.setdefault(cause.faults[0].sensor, []).append(cause.chance)
    for sensor, several in chances.items():
        if sum(several) >= 0.3 and len(several) > 2:
            chance = wording.chance(sum(several))
            return _folded(f"All that can fail at {sensor} alone, together: {chance}.")
    return []


def _reason(found: Diagnosis, number: int, margin: str = "") -> list[str]:
    causes = found.group(number)
    which = "" if len(causes) == 1 else ", for the first of them"
    return _folded(f"{margin}Why {number}{which}: {causes[0].why}.", f"{margin}  ")


def everything(found: Diagnosis, *, next_lines: NextLines = no_lines) -> list[str]:
    """Return all groups with the reason for each, without a limit."""
    lines = [*_assumed(found), "", *_folded(verdict(found)), *_as_read(found)]
    if found.conflict is not None:
        return [*lines, "", *_folded(f"What to do: {_capital(found.conflict.way_back)}.")]
    if after := next_lines(1000):
        lines += ["", *after]
    by_group: dict[int, list[Cause]] = {}
    for cause in found.causes:
        by_group.setdefault(cause.group, []).append(cause)
    for number in sorted(by_group):
        causes = by_group[number]
        lines += ["", *_group(found, number, 100)]
        lines += _reason(found, number, "   ")
        for way in _ways(found, causes[0]):
            lines += _folded(f"   {way}", "   ")
    spare = found.count - len(found.causes)
    lines += [
        "",
        *_folded(
            f"{counted(found.count, 'set')} of things wrong in all; {spare} of them hold one of "
            "these and something that does not show. --json --all lists every one."
        ),
    ]
    stands = _stands_on(found, 100)
    return [*lines, *(["", *stands] if stands else [])]


def verdict(found: Diagnosis) -> str:
    """Return the verdict in one sentence; it names no culprit while something else fits as well."""
    profile = found.profile
    if found.conflict is not None:
        return f"{_capital(found.conflict.words)}."
    if found.as_assumed:
        ways = [balls_at(profile, at[0]) for at in found.causes[0].at if at]
        lying = listed(dict.fromkeys(ways), 3)
        return f"All is as assumed: {lying}." if lying else "All is as assumed."
    where = _where_it_differs(found)
    if found.told_apart:
        causes = found.causes
        if len(causes) == 1:
            return f"{where} Only this is left: {_words(found, causes[0])}."
        return f"{where} One group is left; no reading tells these {len(causes)} apart."
    first = found.group(1)[0]
    if not first.faults and sum(cause.chance for cause in found.group(1)) >= 0.5:
        return (
            f"{where} It need not be a part: most likely something was taken for granted "
            "or read wrong."
        )
    alone = len({cause.group for cause in found.causes if len(cause.members) == 1})
    several = found.groups - alone
    if not several:
        return f"{where} {counted(alone, 'thing')} can be wrong; none is sure yet."
    sets = "combination of several" if several == 1 else "combinations of several"
    if not alone:
        return f"{where} No single thing does this; {several} {sets} can."
    each = "one thing" if alone == 1 else f"{alone} things, each by itself,"
    return f"{where} {_capital(each)} can be wrong, or {several} {sets}; none is sure yet."


def _as_read(found: Diagnosis) -> list[str]:
    """Say where the balls lie if every reading is right, in a way that no phase names."""
    ways = [balls_at(found.profile, at) for at in found.as_read]
    if not 0 < len(ways) <= MOST_WAYS:
        return []
    return _folded(
        f"If every reading is right, the balls lie as no phase of the profile has them: "
        f"{', or '.join(ways)}. Look there first."
    )


def _where_it_differs(found: Diagnosis) -> str:
    named: list[str] = []
    for number, names in enumerate(found.differences, 1):
        if names:
            notes = [f"sheet {number}"] if len(found.sheets) > 1 else []
            seen = found.sheets[number - 1].observation
            if seen.taken_for_closed and seen.unnamed.issuperset(names):
                notes.append("not named, so taken for closed")
            named.append(listed(names, 4) + (f" ({', '.join(notes)})" if notes else ""))
    if not found.sheets:
        return "No reading was given; from what the machine did:"
    if not named:
        return "The readings are right, but not all is as assumed."
    return f"Not as it must be at {listed(named, 3)}."


def top_groups(found: Diagnosis) -> list[int]:
    """Return the first groups to show, what is shared by several wrong readings first."""
    chosen = list(range(1, min(found.groups, TOP) + 1))
    return sorted(chosen, key=lambda number: (not _shared(found, number), number))


def _shared(found: Diagnosis, number: int) -> bool:
    """Whether one part, or one way of reading, explains more than one wrong reading."""
    cause = found.group(number)[0]
    differing = {name for names in found.differences for name in names}
    if len(cause.members) == len(cause.assumes) == 1:
        return len(differing) > 1 and cause.assumes[0].kind != "misread"
    if len(cause.faults) != 1 or cause.assumes:
        return False
    return len(differing & found.whys.grouping.touches(cause.faults[0])) > 1


def group_words(found: Diagnosis, number: int, most: int = 5) -> str:
    """Return what a group stands for, in words."""
    causes = found.group(number)
    alone = [cause for cause in causes if len(cause.members) == 1 and cause.faults]
    if len(alone) == len(causes) > 1:
        faults = [cause.faults[0] for cause in causes]
        sensors = {fault.sensor for fault in faults}
        if len(sensors) == 1 and None not in sensors:
            return f"at {faults[0].sensor}: {_or([fault.kind.title for fault in faults], most)}"
        return _or([fault_words(found.profile, fault) for fault in faults], most)
    words = _words(found, causes[0])
    more = len(causes) - 1
    if not more:
        return words
    return f"{words}, or {more} more like it"


def _or(words: list[str], most: int) -> str:
    if len(words) > most:
        return ", ".join(words[:most]) + f" or {len(words) - most} more"
    return ", ".join(words[:-1]) + f" or {words[-1]}" if len(words) > 1 else words[0]


def _words(found: Diagnosis, cause: Cause) -> str:
    words = faults_words(found.profile, cause.faults)
    words += [mistake_words(found.profile, mistake) for mistake in cause.assumes]
    return ", together with ".join(words) if words else "all as assumed"


def _group(found: Diagnosis, number: int, rows: int) -> list[str]:
    chance = wording.chance(sum(cause.chance for cause in found.group(number)))
    start = f"{number:2} {chance:19} "
    for most in (100, 8, 5, 3, 2, 1):
        lines = _folded(start + group_words(found, number, most), " " * len(start))
        if len(lines) <= rows:
            return lines
    return [*lines[: rows - 1], lines[rows - 1][: wording.WIDTH - 2] + " …"]


def _ways(found: Diagnosis, cause: Cause) -> list[str]:
    words = []
    for number, ways in enumerate(cause.at, 1):
        nth = f" (sheet {number})" if len(cause.at) > 1 else ""
        balls = [balls_at(found.profile, at) for at in ways]
        more = f", or {len(balls) - 3} more ways" if len(balls) > 3 else ""
        words.append(f"Balls{nth}: {'; or '.join(balls[:3])}{more}.")
    return words


def _assumed(found: Diagnosis) -> list[str]:
    profile = found.profile
    lines: list[str] = []
    several = len(found.sheets) > 1
    for number, sheet in enumerate(found.sheets[:4], 1):
        text = wording.assumed(profile, sheet.conditions)
        if several:
            text = f"Sheet {number}: " + text.removeprefix("Assumed: ")
        lines += _folded(text, "  ")
    if len(found.sheets) > 4:
        lines.append(f"... and {len(found.sheets) - 4} more sheets.")
    lines += _folded(wording.polarity(profile))
    taken = [note for sheet in found.sheets if (note := wording.taken(sheet.observation))]
    if taken:
        lines += _folded(taken[0] if not several else _taken(found))
    return lines


def _taken(found: Diagnosis) -> str:
    opened = sum(sheet.observation.taken_for_open for sheet in found.sheets)
    closed = sum(sheet.observation.taken_for_closed for sheet in found.sheets)
    words = [f"{n} for {state}" for n, state in ((opened, "open"), (closed, "closed")) if n]
    return f"Readings that you did not name were taken: {' and '.join(words)}."


def _first_look(found: Diagnosis) -> list[str]:
    """Return what costs nothing and can settle it: another look."""
    looks: dict[str, None] = {}
    for number in range(1, min(found.groups, 6) + 1):
        cause = found.group(number)[0]
        if len(cause.members) != 1 or cause.chance < WORTH_A_LOOK:
            continue
        for mistake in cause.assumes:
            if mistake.kind == "misread":
                looks[f"read {mistake.value} again"] = None
            elif mistake.kind == "symbols":
                looks["make sure which symbol means closed"] = None
            elif mistake.kind in ("phase", "passing"):
                looks["make sure that no ball is in play"] = None
            elif mistake.kind == "count":
                looks["count the balls"] = None
            elif mistake.kind == "numbering":
                looks["make sure at which end position 1 is"] = None
        for fault in cause.faults:
            if fault.kind.id in ("ball-missing", "ball-extra", "ball-hung"):
                looks["count the balls that you can see"] = None
    if not looks:
        return []
    return _folded(f"First, it costs nothing: {listed(looks, 2)}.", "  ")


def _cannot_show(found: Diagnosis) -> list[str]:
    silent = len(found.hidden)
    if not silent:
        return []
    sensors = sum(1 for one in found.suspects if one.fault is not None)
    return _folded(
        f"These readings cannot show everything: {silent} of the {sensors} faults that this "
        "machine can have would read just the same now. Another number of balls shows more."
    )


def _stands_on(found: Diagnosis, most: int) -> list[str]:
    if not found.depends_on:
        return []
    lines = ["This stands on:"]
    for note in found.depends_on[:most]:
        lines += _folded(f"  {note}", "    ")
    left = len(found.depends_on) - most
    return [*lines, *([f"  and {left} more: --all"] if left > 0 else [])]


def asked(verdicts: Iterable[Verdict]) -> list[str]:
    """Return the answers to why something is not among what can be wrong."""
    lines: list[str] = []
    for one in verdicts:
        lines += ["", *_folded(f"{one.name}: {one.words}.", "  ")]
    return lines


def _folded(text: str, indent: str = "") -> list[str]:
    return wording.folded(text, indent).splitlines()


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
