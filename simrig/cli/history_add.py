"""``simrig history add``: files what happened, all of one call together or nothing."""

from __future__ import annotations

import argparse
import datetime
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simrig.cli import conditions as stated
from simrig.cli import history_text
from simrig.cli import seen as observed
from simrig.cli.context import Context, wrong
from simrig.errors import InputError, Problem, SimrigError

if TYPE_CHECKING:
    from simrig.history import Store
    from simrig.profile.machine import Profile

_PROOFS = {"none": "none", "readings": "readings", "one-by-one": "fed one by one"}


def configure(
    parser: argparse.ArgumentParser, day: Callable[[str], Any], count: Callable[[str], Any]
) -> None:
    """Add the options."""
    which = parser.add_argument_group("which machine, which job")
    which.add_argument("--machine", metavar="ID", help="the model")
    which.add_argument("--unit", metavar="SERIAL", help="the unit")
    which.add_argument("--place", default="", help="where it stands")
    which.add_argument("--job", type=count, metavar="N", help="go on with this job")
    which.add_argument("--complaint", metavar="TEXT", help="opens a job, in the customer's words")
    which.add_argument(
        "--complaint-id", action="append", default=[], metavar="ID", help="what the machine did"
    )
    which.add_argument("--reopen", action="store_true", help="open the job again")
    which.add_argument("--close", action="store_true", help="close the job at the end")
    which.add_argument("--who", default="", metavar="INITIALS", help="initials suffice")
    unit = parser.add_argument_group("in what the unit differs from its profile")
    unit.add_argument(
        "--fact", action="append", default=[], metavar="KEY=VALUE",
        help="a key of the profile with this unit's own value, such as sensor.t1.wire=red",
    )  # fmt: skip
    unit.add_argument(
        "--no-fact", action="append", default=[], metavar="KEY",
        help="the unit is as its profile says again",
    )  # fmt: skip
    stated.configure(parser)
    observed.configure(parser)
    found = parser.add_argument_group("what was checked and found")
    found.add_argument(
        "--check", action="append", default=[], metavar="CHECK=RESULT[,MINUTES]",
        help="a bench check that was made, and what it gave",
    )  # fmt: skip
    found.add_argument("--explanation", metavar="TEXT", help="what was wrong")
    repair = parser.add_argument_group("a repair")
    repair.add_argument("--repair", metavar="TEXT", help="what was done")
    repair.add_argument("--part", metavar="KIND:PART", help="kind of part or of fault, and part")
    repair.add_argument("--beside-kicker", action="store_true", help="the part is shaken")
    repair.add_argument("--temporary", action="store_true", help="needs --due")
    repair.add_argument("--due", type=day, metavar="DATE", help="of the follow-up")
    repair.add_argument("--follows", type=count, metavar="N", help="finishes this repair")
    repair.add_argument("--minutes", type=float, help="what the repair cost")
    repair.add_argument("--proven", choices=_PROOFS, default="none", help="how it was proven")
    repair.add_argument("--balls-aboard", type=int, metavar="N", help="left in the machine")
    order = parser.add_argument_group("parts to order")
    order.add_argument(
        "--order", action="append", default=[], metavar="VALUE[,PACKAGE[,N]]",
        help="a part to order: its value, its package, how many",
    )  # fmt: skip
    order.add_argument("--minimum-stock", type=int, metavar="N", help="never fewer in stock")
    order.add_argument("--van", default="", help="whose stock")
    later = parser.add_argument_group("what was left open")
    later.add_argument("--prove", metavar="REPAIR=HOW", help=f"how: {', '.join(_PROOFS)}")
    later.add_argument("--settle", type=count, metavar="REPAIR", help="its follow-up is done")
    later.add_argument("--ordered", metavar="ORDER[=REFERENCE]", help="a part is on order")
    later.add_argument("--received", type=count, metavar="ORDER", help="a part came")


def run(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    """File everything that the options say, then show the job or what was changed."""
    from simrig import history

    filed: list[Any] = []
    with store.writing():
        job_id, unit = _job(store, arguments, now, filed)
        needs_profile = unit is not None and (_sees(arguments) or arguments.repair is not None)
        profile = _profile(unit.machine, context) if needs_profile else None
        if unit is not None:
            _facts(store, unit.id, arguments, now, filed)
        if job_id is not None:
            _work(store, job_id, profile, arguments, now, filed)
        elif _needs_job(arguments):
            raise wrong("--job", "found no job; open one with --complaint, or name it with --job")
        _orders(store, job_id, arguments, now, filed)
        _left_open(store, arguments, now, filed)
        if job_id is not None and arguments.close:
            filed.append(history.close_job(store, job_id, now=now))
        if not filed:
            raise wrong("add", "found nothing to file; say at least --complaint, --fact or --order")
    if job_id is not None:
        return history_text.tell_job(store, job_id, context)
    if context.json:
        context.answer({"entries": [history_text.plain_record(entry) for entry in filed]})
    else:
        for entry in filed:
            context.say(f"Filed: {entry.TABLE.replace('_', ' ')} {entry.id}.")
    return 0


def read_text(path: Path) -> str:
    """Return the text of a file; raises InputError where it cannot be read."""
    try:
        return path.read_bytes().decode("utf-8")
    except OSError as error:
        message = (
            f"found that it cannot be read ({error.strerror}); wanted a file that can; name another"
        )
    except UnicodeDecodeError:
        message = "found bytes that are no UTF-8 text; wanted a text file in UTF-8; save it so"
    raise InputError([Problem(file=str(path), where="file", message=message)])


def _job(
    store: Store, arguments: argparse.Namespace, now: datetime.datetime, filed: list[Any]
) -> tuple[int | None, Any]:
    """Return the number of the job, if there is one, and the unit."""
    from simrig import history

    if arguments.job is not None:
        if arguments.reopen:
            filed.append(history.reopen_job(store, arguments.job))
        job = store.get(history.Job, arguments.job)
        return arguments.job, store.get(history.Unit, job.unit_id)
    if arguments.unit is None:
        if arguments.complaint is not None or arguments.fact or arguments.no_fact:
            raise wrong("--unit", "found no unit; name it with --machine ID --unit SERIAL")
        return None, None
    machine = arguments.machine
    if machine is None:
        known = store.find(history.Unit, "serial = ?", (arguments.unit.strip(),))
        if len(known) != 1:
            found = "no unit" if not known else "units of several models"
            raise wrong(
                "--machine", f"found {found} {arguments.unit}; name the model: --machine ID"
            )
        machine = known[0].machine
    if arguments.complaint is None and not arguments.complaint_id:
        unit = history.ensure_unit(store, machine, arguments.unit, place=arguments.place)
        filed.append(unit)
        return None, unit
    opened = history.open_job(
        store, machine, arguments.unit, complaint=arguments.complaint or "",
        complaint_ids=arguments.complaint_id, place=arguments.place, now=now, who=arguments.who,
    )  # fmt: skip
    filed.append(opened)
    return opened.id, store.get(history.Unit, opened.unit_id)


def _profile(machine: str, context: Context) -> Profile | None:
    try:
        return context.profile(machine)
    except SimrigError:
        return None


def _facts(
    store: Store, unit_id: int, arguments: argparse.Namespace, now: datetime.datetime,
    filed: list[Any],
) -> None:  # fmt: skip
    from simrig import history

    for pair in arguments.fact:
        key, value = _pair(pair, "--fact", "KEY=VALUE")
        try:
            read = json.loads(value)
        except ValueError:
            read = value
        filed.append(history.set_fact(store, unit_id, key, read, now=now, who=arguments.who))
    for key in arguments.no_fact:
        history.remove_fact(store, unit_id, key)


def _sees(arguments: argparse.Namespace) -> bool:
    named = any(getattr(arguments, name) is not None for name in observed.LISTS)
    return named or bool(arguments.sheet or arguments.others)


def _needs_job(arguments: argparse.Namespace) -> bool:
    options = (arguments.check, arguments.explanation, arguments.repair, arguments.close)
    return _sees(arguments) or any(options)


def _work(
    store: Store, job_id: int, profile: Profile | None, arguments: argparse.Namespace,
    now: datetime.datetime, filed: list[Any],
) -> None:  # fmt: skip
    from simrig import history

    who = arguments.who
    if _sees(arguments):
        if profile is None:
            raise wrong("readings", "found no profile of this machine; name its folder: --profiles")
        conditions = stated.conditions(profile, arguments)
        for sheet in observed.seen(profile, arguments, conditions):
            filed.append(
                history.file_seen(
                    store, job_id, sheet.observation, sheet.conditions, now=now, who=who
                )
            )
    for pair in arguments.check:
        check, said = _pair(pair, "--check", "CHECK=RESULT[,MINUTES]")
        result, comma, minutes = said.rpartition(",")
        number = _number(minutes) if comma else None
        filed.append(
            history.add_check(
                store, job_id, check=check, result=said if number is None else result,
                minutes=number, now=now, who=who,
            )
        )  # fmt: skip
    if arguments.explanation is not None:
        filed.append(history.explain(store, job_id, arguments.explanation))
    if arguments.repair is not None:
        filed.append(_repair(store, job_id, profile, arguments, now))
    elif arguments.part or arguments.temporary or arguments.due:
        raise wrong("--repair", "found a part without what was done to it; say it with --repair")


def _repair(
    store: Store, job_id: int, profile: Profile | None, arguments: argparse.Namespace,
    now: datetime.datetime,
) -> Any:  # fmt: skip
    from simrig import history

    kind, _, part = (arguments.part or "").partition(":")
    if not (kind and part):
        found = "no part" if not arguments.part else f'"{arguments.part}"'
        raise wrong("--part", f"found {found}; wanted KIND:PART, such as resistor:trough-3")
    fault = _fault(kind, profile)
    return history.add_repair(
        store, job_id, part_kind=fault.part if fault else kind, part=part,
        fault=kind if fault else "", what=arguments.repair,
        beside_kicker=arguments.beside_kicker or _is_beside(profile, part),
        lasting=not arguments.temporary, due=arguments.due, follows=arguments.follows,
        minutes=arguments.minutes, proven=_PROOFS[arguments.proven],
        balls_aboard=arguments.balls_aboard, now=now, who=arguments.who,
    )  # fmt: skip


def _fault(name: str, profile: Profile | None) -> Any:
    """Return the kind of fault of this name, if it is one and not a kind of part."""
    from simrig.faults.modes import FAULT_KINDS

    brought = () if profile is None else profile.brought.get("simrig_fault_kinds", ())
    return next((kind for kind in (*FAULT_KINDS, *brought) if kind.id == name), None)


def _is_beside(profile: Profile | None, part: str) -> bool:
    from simrig.profile.keys import NONE

    sensor = None if profile is None else profile.row("sensor", part)
    return sensor is not None and sensor.beside not in (None, NONE)


def _orders(
    store: Store, job_id: int | None, arguments: argparse.Namespace, now: datetime.datetime,
    filed: list[Any],
) -> None:  # fmt: skip
    from simrig import history

    for text in arguments.order:
        value, package, quantity = (text + ",,").split(",")[:3]
        number = 1 if not quantity.strip() else _number(quantity)
        if number is None or number != int(number):
            raise wrong("--order", f'found the quantity "{quantity}"; wanted a whole number')
        filed.append(
            history.order_part(
                store, value=value, package=package, quantity=int(number), job_id=job_id,
                minimum_stock=arguments.minimum_stock, van=arguments.van, now=now,
                who=arguments.who,
            )
        )  # fmt: skip


def _left_open(
    store: Store, arguments: argparse.Namespace, now: datetime.datetime, filed: list[Any]
) -> None:
    from simrig import history

    if arguments.prove is not None:
        number, how = _pair(arguments.prove, "--prove", "REPAIR=HOW")
        if how not in _PROOFS:
            raise wrong("--prove", f'found "{how}"; wanted one of {", ".join(_PROOFS)}')
        filed.append(
            history.prove(
                store, _whole(number, "--prove"), _PROOFS[how],
                balls_aboard=arguments.balls_aboard, now=now,
            )
        )  # fmt: skip
    if arguments.settle is not None:
        filed.append(history.settle(store, arguments.settle, now=now))
    if arguments.ordered is not None:
        number, _, reference = arguments.ordered.partition("=")
        order = _whole(number, "--ordered")
        filed.append(history.mark_ordered(store, order, reference=reference, now=now))
    if arguments.received is not None:
        filed.append(history.mark_received(store, arguments.received, now=now))


def _pair(text: str, option: str, wanted: str) -> tuple[str, str]:
    name, equals, value = text.partition("=")
    if not (name.strip() and equals):
        raise wrong(option, f'found "{text}"; wanted {wanted}')
    return name.strip(), value.strip()


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _whole(text: str, option: str) -> int:
    number = _number(text)
    if number is None or number != int(number) or number < 1:
        raise wrong(option, f'found "{text}"; wanted the number of an entry')
    return int(number)
