"""The options that bring in the shop's record: ``--unit``, ``--store``, ``--rates``, ``--file``."""

from __future__ import annotations

import argparse
import datetime
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import attrs

from simrig.cli.context import Context, wrong
from simrig.errors import SimrigError

if TYPE_CHECKING:
    from simrig.diagnosis.bench_job import Job
    from simrig.diagnosis.check_results import Result
    from simrig.diagnosis.suspects import Sheet
    from simrig.history import UnitState
    from simrig.profile.machine import Profile


def configure(parser: argparse.ArgumentParser, *, rates: bool = False, files: bool = False) -> None:
    """Add the options; ``rates`` those that weigh chances, ``files`` those that file."""
    group = parser.add_argument_group("the shop's record")
    group.add_argument(
        "--unit", metavar="SERIAL", help="this one machine: its differences and temporary repairs"
    )
    group.add_argument("--store", metavar="FILE", help="the record, if not the usual one")
    if rates:
        group.add_argument(
            "--rates", choices=("shop", "documented"), default="shop",
            help="weigh chances by the shop's record where it has any, or never",
        )  # fmt: skip
    if files:
        group.add_argument(
            "--file", action="store_true", help="file what was done, under --unit's open job"
        )
        group.add_argument("--who", default="", metavar="INITIALS", help="by whom, with --file")


def check(arguments: argparse.Namespace) -> None:
    """Refuse options that go only together; raises InputError."""
    if getattr(arguments, "file", False) and arguments.unit is None:
        raise wrong("--file", "a job is filed under a machine; say which: --unit SERIAL")


def unit(arguments: argparse.Namespace, context: Context) -> Profile:
    """Return the machine that was named, as this unit has it; its state is kept in the context.

    Raises InputError where the record has no such unit, unless it is about to be
    filed, or where a difference does not fit the profile.
    """
    profile, context.unit = _unit(context.profile(arguments.machine), arguments)
    return profile


def _unit(profile: Profile, arguments: argparse.Namespace) -> tuple[Profile, UnitState | None]:
    check(arguments)
    if arguments.unit is None:
        return profile, None
    from simrig import history
    from simrig.profile.differing import differing

    path = _path(arguments)
    if not path.exists():
        if getattr(arguments, "file", False):
            return profile, None
        raise wrong("--unit", f"there is no record yet at {path}; simrig history add starts one")
    with history.open_store(path) as store:
        state = history.unit_state(store, profile.id, arguments.unit)
    if state is None:
        if getattr(arguments, "file", False):
            return profile, None
        message = (
            f'the record has no {profile.id} with the serial "{arguments.unit}"; '
            "simrig history list shows the units"
        )
        raise wrong("--unit", message)
    try:
        return differing(profile, state.differences), state
    except ValueError as error:
        message = f"{error}; mend it with simrig history add --no-fact KEY"
        raise wrong(f"--unit {arguments.unit}", message) from None


def say(context: Context) -> None:
    """Say first what the record knows of the unit."""
    if context.unit is None or context.json:
        return
    from simrig.cli import unit_text

    for line in unit_text.lines(context.unit):
        context.say(line)


def document(context: Context) -> dict[str, Any]:
    """Return the unit's part of a JSON answer, nothing where none was named."""
    state = context.unit
    if state is None:
        return {}
    return {
        "unit": {
            "serial": state.unit.serial,
            "place": state.unit.place,
            "differences": dict(state.differences),
            "temporary": [
                {
                    "part": repair.part,
                    "kind": repair.part_kind,
                    "what": repair.what,
                    "due": None if repair.due is None else repair.due.isoformat(),
                }
                for repair in state.temporary
            ],
            "open_jobs": [job.id for job in state.open_jobs],
        }
    }


def weighed(job: Job, arguments: argparse.Namespace) -> tuple[Job, int]:
    """Return the job with chances by the shop's record, and how many records stand behind.

    A record that cannot be read is told on stderr and left out: a diagnosis goes on.
    """
    path = _path(arguments)
    if arguments.rates == "documented" or not path.exists():
        return job, 0
    from simrig import history
    from simrig.diagnosis.one_sheet import Models
    from simrig.faults.candidates import possible_faults
    from simrig.history import priors

    try:
        with history.open_store(path) as store:
            seen = history.seen(store, machine=job.profile.id)
    except SimrigError as error:
        if arguments.store is not None:
            raise
        print(f"the shop's record is left out: {error}", file=sys.stderr)
        return job, 0
    records = sum(one.count for one in seen)
    if not records:
        return job, 0
    faults = priors.with_records(job.profile, possible_faults(job.profile, job.kinds), seen)
    models = Models(profile=job.profile, faults=faults, limit=job.limit)
    return attrs.evolve(job, shared=models), records


def file_diagnosis(
    profile: Profile,
    sheets: Sequence[Sheet],
    results: Sequence[Result],
    words: str,
    arguments: argparse.Namespace,
    context: Context,
) -> None:
    """File sheets, checks and what was found under the unit's open job, all or nothing."""
    from simrig import history

    now = datetime.datetime.now(datetime.UTC)
    with history.open_store(_path(arguments), write=True) as store, store.writing():
        job_id = _job(store, profile, arguments, now)
        known = history.job_file(store, job_id)
        for sheet in sheets:
            readings = dict(sheet.observation.looked_at())
            if not any(dict(one.readings) == readings for one in known.sheets):
                history.file_seen(
                    store, job_id, sheet.observation, sheet.conditions, now=now, who=arguments.who
                )
        made = [(one.check, one.result) for one in known.checks]
        for one in results:
            if (one.check.id, one.result) not in made:
                history.add_check(
                    store, job_id, check=one.check.id, result=one.result,
                    minutes=one.check.minutes, now=now, who=arguments.who,
                )  # fmt: skip
        if words:
            history.explain(store, job_id, words)
    print(f"filed under job {job_id}", file=context.out if not context.json else sys.stderr)


def file_proof(
    profile: Profile, *, whole: bool, arguments: argparse.Namespace, context: Context
) -> None:
    """Note that the unit's repairs of its open jobs are proven by feeding, all steps right."""
    from simrig import history

    now = datetime.datetime.now(datetime.UTC)
    with history.open_store(_path(arguments), write=True) as store, store.writing():
        state = history.unit_state(store, profile.id, arguments.unit)
        jobs = () if state is None else state.open_jobs
        repairs = [one for job in jobs for one in history.job_file(store, job.id or 0).repairs]
        if not jobs:
            raise wrong("--file", f"{arguments.unit} has no open job; simrig history add opens one")
        if whole:
            for repair in repairs:
                history.prove(
                    store, repair.id or 0, "fed one by one",
                    balls_aboard=profile.balls.installed, now=now,
                )  # fmt: skip
        else:
            history.explain(store, jobs[-1].id or 0, "The proof by feeding was not passed yet.")
    told = f"{len(repairs)} repairs noted as proven" if whole else "noted as not proven yet"
    print(told, file=context.out if not context.json else sys.stderr)


def _job(
    store: Any, profile: Profile, arguments: argparse.Namespace, now: datetime.datetime
) -> int:
    from simrig import history

    state = history.unit_state(store, profile.id, arguments.unit)
    if state is not None and state.open_jobs:
        return int(state.open_jobs[-1].id or 0)
    complaints = tuple(getattr(arguments, "complaint", ()) or ())
    job = history.open_job(
        store, profile.id, arguments.unit, complaint_ids=complaints, now=now, who=arguments.who
    )
    return int(job.id or 0)


def _path(arguments: argparse.Namespace) -> Path:
    from simrig import history

    return history.default_store() if arguments.store is None else Path(arguments.store)
