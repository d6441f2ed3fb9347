"""The options that say what bench checks have shown, and what to answer about the next one."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Sequence
from typing import TYPE_CHECKING

from simrig.errors import InputError, Problem

if TYPE_CHECKING:
    from simrig.diagnosis.bench_job import Job
    from simrig.diagnosis.bench_state import BenchState
    from simrig.diagnosis.check_results import Result


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    group = parser.add_argument_group("bench checks (ids from simrig checks)")
    group.add_argument(
        "--found", action="append", default=[], metavar="CHECK=RESULT", help="what a check showed"
    )
    group.add_argument(
        "--bench", metavar="WHAT=HOW,...",
        help="how the bench stands: power, coils, door, playfield, balls",
    )  # fmt: skip
    group.add_argument("--plan", action="store_true", help="the whole plan, result by result")
    group.add_argument(
        "--ask", action="store_true", help="go on step by step, until one thing is left"
    )
    group.add_argument(
        "--job", metavar="FILE", help="with --ask: keep the work in this file, and go on from it"
    )


def results(job: Job, named: Sequence[str]) -> tuple[Result, ...]:
    """Return what checks have shown, in order; raises InputError with every fault in it."""
    found: list[Result] = []
    problems = []
    # Since something was last put right: after it a check can show otherwise, itself too.
    since: dict[str, Result] = {}
    for pair in named:
        check, equals, result = pair.partition("=")
        try:
            if not equals or not check.strip() or not result.strip():
                raise ValueError(
                    f'found "{pair}"; wanted CHECK=RESULT; simrig checks {job.profile.id} lists them'
                )
            one = job.result(check, result)
            other = since.get(one.check.id)
            if other is not None and other.result != one.result:
                raise ValueError(
                    f"{one.check.id} was given both {other.result} and {one.result}; "
                    "leave the one out that does not hold"
                )
            if other is None:
                found.append(one)
            since = {} if one.check.changes else {**since, one.check.id: one}
        except ValueError as error:
            problems.append(Problem(file="command line", where="--found", message=str(error)))
    if problems:
        raise InputError(problems)
    return tuple(found)


def bench_state(text: str | None, found: BenchState) -> BenchState:
    """Return how the bench stands; raises InputError for what cannot be, or must not."""
    import attrs

    from simrig.diagnosis.bench_state import DIMENSIONS, UnsafeError

    if text is None:
        return found
    changed: dict[str, str] = {}
    problems = []
    for pair in text.split(","):
        name, _, value = (word.strip().lower() for word in pair.partition("="))
        if name not in DIMENSIONS:
            near = difflib.get_close_matches(name, DIMENSIONS, 1)
            hint = f"did you mean {near[0]}?" if near else "wanted one of " + ", ".join(DIMENSIONS)
            problems.append(f'"{name}" is nothing of the bench; {hint}')
        elif value not in DIMENSIONS[name]:
            problems.append(f'{name} can be {", ".join(DIMENSIONS[name])}; found "{value}"')
        else:
            changed[name] = value
    if changed.get("power") == "unplugged":
        changed.setdefault("coils", "absent")
    if not problems:
        try:
            return attrs.evolve(found, **changed)
        except UnsafeError as error:
            problems.append(f"the bench must not stand so: {error}")
    raise InputError(
        [Problem(file="command line", where="--bench", message=text) for text in problems]
    )
