"""``simrig vet``: contradictions in profiles."""

from __future__ import annotations

import argparse

from simrig.cli.context import Context
from simrig.errors import Problem


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE|FILE", nargs="+")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Vet every file named; 1 when there is a finding."""
    from simrig.host.catalogue import contents
    from simrig.profile.reader import examine

    findings: list[Problem] = []
    for reference in arguments.machine:
        path = context.catalogue.path(reference)
        data = contents(path, "profile")
        _, problems = examine(data, path, kinds=context.catalogue.kinds())
        findings.extend(problems)
    if context.json:
        context.answer(
            {
                "findings": [
                    {
                        "code": one.rule,
                        "level": "error",
                        "file": one.file,
                        "line": one.line,
                        "where": one.where,
                        "message": one.message,
                        "help": "",
                    }
                    for one in findings
                ]
            }
        )
        return 1 if findings else 0
    for one in findings:
        context.say(f"{one} [{one.rule}]")
    count = len(findings)
    context.say(f"{count} findings." if count != 1 else "1 finding.")
    return 1 if findings else 0
