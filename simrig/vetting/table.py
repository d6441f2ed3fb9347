"""The table of rules, and how to find one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from simrig.profile.naming import near
from simrig.vetting import facts, feeds, form, lines, parting, positions, readings, running, ways
from simrig.vetting.rule import Rule

RULES: Final[tuple[Rule, ...]] = (
    *form.RULES,
    *lines.RULES,
    *positions.RULES,
    *ways.RULES,
    *readings.RULES,
    *feeds.RULES,
    *running.RULES,
    *parting.RULES,
    *facts.RULES,
)
"""Every rule that is known without plug-ins.  Codes are stable: a rule that goes leaves a gap."""


def rule_named(name: str, rules: Sequence[Rule] = RULES) -> Rule:
    """Return a rule by its code or name; raises ValueError, in words, where there is none."""
    wanted = name.strip()
    for rule in rules:
        if wanted.upper() == rule.code.upper() or wanted.lower() == rule.name:
            return rule
    close = near(wanted.lower(), [rule.name for rule in rules]) or near(
        wanted.upper(), [rule.code for rule in rules]
    )
    hint = f'did you mean "{close}"?' if close else "simrig vet --explain all lists every rule"
    raise ValueError(f'there is no rule "{wanted}"; {hint}')
