"""Findings of vetting for other tools: plain JSON, and SARIF 2.1.0 (OASIS).

SARIF, *Static Analysis Results Interchange Format*, is what editors and hosts of
code read.  A finding is a result; a rule with its page is a reporting descriptor;
what the profile silences is a result with a suppression and its reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final
from urllib.parse import quote

from simrig.vetting.rule import Finding, Rule
from simrig.vetting.vet import Vetted

SCHEMA: Final = "https://json.schemastore.org/sarif-2.1.0.json"


def document(vetted: Iterable[Vetted]) -> dict[str, Any]:
    """Return findings as the document that ``simrig vet --json`` prints."""
    every = tuple(vetted)
    return {
        "findings": [_plain(one) for file in every for one in file.findings],
        "silenced": [
            _plain(one) | {"reason": one.silenced} for file in every for one in file.silenced
        ],
    }


def _plain(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "name": finding.name,
        "level": finding.level,
        "file": finding.file,
        "line": finding.line,
        "where": finding.where,
        "message": finding.message,
        "help": finding.help,
    }


def sarif(vetted: Iterable[Vetted], rules: Sequence[Rule], version: str) -> dict[str, Any]:
    """Return findings as a SARIF 2.1.0 log of one run, silenced ones as suppressed results."""
    index = {rule.code: number for number, rule in enumerate(rules)}
    results = [
        _result(finding, index[finding.code])
        for file in vetted
        for finding in (*file.findings, *file.silenced)
    ]
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "simrig",
                        "version": version,
                        "rules": [_descriptor(rule) for rule in rules],
                    }
                },
                "columnKind": "unicodeCodePoints",
                "results": results,
            }
        ],
    }


def _descriptor(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.code,
        "name": rule.name,
        "shortDescription": {"text": rule.what},
        "fullDescription": {"text": f"{rule.what} {rule.why}"},
        "help": {"text": f"Mend: {rule.mend} Limits: {rule.limits}"},
        "defaultConfiguration": {"level": rule.level},
    }


def _result(finding: Finding, rule: int) -> dict[str, Any]:
    place: dict[str, Any] = {"artifactLocation": {"uri": quote(finding.file.replace("\\", "/"))}}
    if finding.line is not None:
        place["region"] = {"startLine": finding.line}
    found: dict[str, Any] = {
        "ruleId": finding.code,
        "ruleIndex": rule,
        "level": finding.level,
        "message": {"text": f"{finding.where}: {finding.message}"},
        "locations": [
            {
                "physicalLocation": place,
                "logicalLocations": [{"fullyQualifiedName": finding.where}],
            }
        ],
    }
    if finding.silenced is not None:
        found["suppressions"] = [{"kind": "inSource", "justification": finding.silenced}]
    return found
