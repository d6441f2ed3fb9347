"""What bench checks bring to ``simrig diagnose``: results found, the plan, the conversation."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simrig.cli import asking, checked
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.bench_job import Job
    from simrig.diagnosis.check_results import Result
    from simrig.diagnosis.diagnose import Evidence
    from simrig.diagnosis.suspects import Sheet
    from simrig.faults.modes import FaultKind
    from simrig.profile.machine import Profile

SEEN = (
    "phase", "balls", "at", "seats", "state", "door", "closed", "open", "unknown", "flicker",
    "others", "sheet", "complaint", "log", "faults", "unit", "store", "rates",
)  # fmt: skip
"""The options that a kept job carries."""
FILES = ("sheet", "log")
UNSAID = {"faults": "2", "rates": "shop"}
"""What options that have a value of their own are when nobody says them."""


def resume(arguments: argparse.Namespace) -> None:
    """Take over what a kept job says was seen; raises InputError where it is another job.

    Readings of the command line are the job's if they are the same, or if it is new.
    """
    if arguments.job is None:
        return
    if not arguments.ask:
        raise wrong("--job", "a job is kept by --ask; add it")
    document = asking.kept(arguments.job)
    if document is None:
        return
    if document["machine"] != arguments.machine:
        message = f"{arguments.job} is a job on {document['machine']}; name that machine"
        raise wrong("--job", message)
    said = {
        name: value
        for name, value in _asked(arguments).items()
        if value not in (None, [], UNSAID.get(name))
    }
    kept = document["asked"]
    held = {name: kept[name] for name in SEEN if name in kept}
    for name, value in held.items():
        several = isinstance(getattr(arguments, name), list)
        words = value if several and isinstance(value, list) else [value]
        if several != isinstance(value, list) or not all(
            isinstance(word, str) or (word is None and not several and name not in UNSAID)
            for word in words
        ):
            raise wrong("--job", f"{arguments.job} is not as simrig kept it ({name}); mend it")
    other = [name for name, value in said.items() if held.get(name) != value]
    if other:
        message = f"{arguments.job} holds another job ({', '.join(other)} differ); leave them out"
        raise wrong("--job", message)
    for name, value in held.items():
        setattr(arguments, name, value)
    arguments.kept = document["answers"]


def _asked(arguments: argparse.Namespace) -> dict[str, Any]:
    asked = {name: getattr(arguments, name, None) for name in SEEN}
    for name in FILES:
        asked[name] = [
            file if file == "-" else str(Path(file).resolve()) for file in asked[name] or []
        ]
    return asked


def job_of(
    profile: Profile,
    sheets: tuple[Sheet, ...],
    others: tuple[Evidence, ...],
    kinds: tuple[FaultKind, ...],
    limit: int,
    arguments: argparse.Namespace,
) -> tuple[Job, tuple[Result, ...]]:
    """Return the job that the options state, and what checks have shown so far."""
    import attrs

    from simrig.diagnosis.bench_job import Job

    job = Job(profile=profile, sheets=sheets, others=others, kinds=kinds, limit=limit)
    results = checked.results(job, arguments.found)
    if arguments.bench is None:
        return job, results
    state = checked.bench_state(arguments.bench, job.bench.after(results))
    return attrs.evolve(job, start=state, done=len(results)), results


def ask(
    job: Job, results: Sequence[Result], arguments: argparse.Namespace, context: Context
) -> tuple[int, tuple[Result, ...]]:
    """Hold the conversation; return its exit code and all that checks have shown."""
    if context.json:
        raise wrong("--ask", "a conversation has no JSON; leave --json or --ask out")
    if "-" in (*arguments.sheet, *arguments.log):
        raise wrong("--ask", "answers come from stdin, so the readings cannot; name a file")
    answers = [asking.Answer(check=one.check.id, result=one) for one in results]
    for check, result in getattr(arguments, "kept", ()):
        try:
            one = None if result is None else job.result(check, result)
        except ValueError as error:
            raise wrong("--job", f"{arguments.job}: {error}") from None
        answers.append(asking.Answer(check=check, result=one))
    path = None if arguments.job is None else Path(arguments.job)
    keep = asking.Keep(path, arguments.machine, _asked(arguments))
    conversation = asking.Asking(job, context, answers, keep)
    conflict = job.diagnosis(conversation.results).conflict
    if conflict is not None:
        print(f"{conflict.words}; what to do: {conflict.way_back}", file=sys.stderr)
        return 1, conversation.results
    return conversation.run(), conversation.results
