"""Findings of vetting and the pages of rules, for people."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from simrig.profile.naming import counted
from simrig.reports.tables import table
from simrig.vetting.rule import LEVELS, Finding, Rule
from simrig.vetting.vet import Vetted

MOST_SHOWN: Final = 60
"""So many findings of one file are shown; the rest is counted."""

_WIDTH: Final = 80


def findings(vetted: Iterable[Vetted]) -> str:
    """Return what was found, a table for each file, then one line that sums it up."""
    every = tuple(vetted)
    parts = []
    for file in every:
        if not file.findings:
            continue
        shown = file.findings[:MOST_SHOWN]
        rows = [(one.line, one.level, one.code, f"{one.where}: {one.message}") for one in shown]
        lines = [file.file, table(rows, ("line", "level", "code", "what"), _WIDTH)]
        if len(file.findings) > len(shown):
            lines.append(f"and {len(file.findings) - len(shown)} more; --json tells all")
        if file.unread:
            lines.append("The other rules are looked at once these are mended.")
        parts.append("\n".join(lines))
    parts.append(_sum(every))
    return "\n\n".join(parts)


def _sum(every: Sequence[Vetted]) -> str:
    told = [one for file in every for one in file.findings]
    silenced = [one for file in every for one in file.silenced]
    levels = Counter(one.level for one in told)
    levelled = ", ".join(counted(levels[level], level) for level in LEVELS if levels[level])
    words = f"{counted(len(told), 'finding')}: {levelled}." if told else "No findings."
    if silenced:
        words += f" {len(silenced)} silenced with a reason: {_codes(silenced)}."
    if told:
        words += f"\nsimrig vet --explain {told[0].code} says why, and what to do."
    return "\n".join(textwrap.fill(line, _WIDTH) for line in words.splitlines())


def _codes(findings: Iterable[Finding]) -> str:
    return ", ".join(dict.fromkeys(one.code for one in findings))


def page(rule: Rule) -> str:
    """Return the page of a rule."""
    parts = [f"{rule.code} {rule.name} ({rule.level})"]
    for heading, text in (
        ("What", rule.what),
        ("Why", rule.why),
        ("Mend", rule.mend),
        ("Limits", rule.limits),
    ):
        parts.append(textwrap.fill(f"{heading}: {text}", _WIDTH))
        if heading == "Why":
            parts.append("An example that breaks it:\n" + textwrap.indent(rule.example, "    "))
    parts.append(_silencing(rule))
    return "\n\n".join(parts)


def _silencing(rule: Rule) -> str:
    if rule.look is None:
        return "It cannot be silenced."
    about = 'about = "ID"             # leave it out for the whole machine\n'
    return (
        "Where it does not hold for a machine, its profile says so with the reason:\n"
        f'    [[silence]]\n    rule = "{rule.code}"\n    {about}    reason = "..."'
    )


def overview(rules: Iterable[Rule]) -> str:
    """Return every rule in a line."""
    rows = [(rule.code, rule.level, rule.name, rule.what) for rule in rules]
    return table(rows, ("code", "level", "name", "what it asks"), _WIDTH)
