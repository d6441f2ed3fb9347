"""``simrig run``: scenario files."""

from __future__ import annotations

import argparse
import os

from simrig.cli.context import Context
from simrig.errors import InputError, Problem, SimrigError


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "scenario", metavar="SCENARIO", nargs="+", help="a scenario file, or a folder of them"
    )


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Run the scenarios; 1 when a step is not as it should be."""
    from simrig.host.catalogue import contents
    from simrig.interchange import running, scenarios

    problems: list[Problem] = []
    done = []
    for file in _files(arguments.scenario, problems):
        try:
            scenario = scenarios.read(contents(file, "scenario"), file)
            machine = scenario.machine
            if machine.endswith(".toml"):
                machine = os.path.join(os.path.dirname(file), machine)
            profile = context.profile(machine)
        except SimrigError as error:
            if error.exit_code == 3:
                raise
            problems.extend(error.problems)
            continue
        done.append((file, scenario, running.run(profile, scenario)))
    if problems:
        raise InputError(problems)
    passed = all(step.passed for _, _, steps in done for step in steps)
    if context.json:
        context.answer(
            {
                "scenarios": [
                    {
                        "file": file,
                        "title": scenario.title,
                        "passed": all(step.passed for step in steps),
                        "steps": [
                            {
                                "number": step.number,
                                "line": step.line,
                                "title": step.title,
                                "passed": step.passed,
                                "failures": list(step.failures),
                            }
                            for step in steps
                        ],
                    }
                    for file, scenario, steps in done
                ]
            }
        )
        return 0 if passed else 1
    from simrig.reports.tables import table

    for file, scenario, steps in done:
        context.say(f"{scenario.title} ({scenario.machine})  {file}")
        rows = [
            (step.number, step.title[:60], "as expected" if step.passed else "NOT as expected")
            for step in steps
        ]
        context.say(table(rows, ("step", "what", "")))
        for step in steps:
            for failure in step.failures:
                context.say(f"  {file}:{step.line}: step {step.number}: {failure}")
        context.say("")
    total = sum(len(steps) for _, _, steps in done)
    failed = sum(not step.passed for _, _, steps in done for step in steps)
    context.say(f"{len(done)} scenarios, {total} steps, {failed} not as expected.")
    return 0 if passed else 1


def _files(named: list[str], problems: list[Problem]) -> list[str]:
    found: list[str] = []
    for path in named:
        if os.path.isdir(path):
            inside = sorted(
                os.path.join(folder, name)
                for folder, _, names in os.walk(path)
                for name in names
                if name.endswith(".scenario.toml")
            )
            if not inside:
                message = "no *.scenario.toml is in this folder; name another"
                problems.append(Problem(file=path, where="SCENARIO", message=message))
            found.extend(inside)
        else:
            found.append(path)
    return found
