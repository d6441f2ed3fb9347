"""``simrig history``: the shop's record."""

from __future__ import annotations

import argparse
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from simrig.cli import history_add, history_text
from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.history import Store

_LISTED_AT_ONCE: Final = 15
_KINDS_AT_ONCE: Final = 6


def day(text: str) -> datetime.date:
    """Return the date that an option states."""
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        message = f'found "{text}"; wanted a date such as 2026-01-31'
        raise argparse.ArgumentTypeError(message) from None


def count(text: str) -> int:
    """Return the whole number of 1 or more that an option states."""
    try:
        number = int(text)
    except ValueError:
        number = 0
    if number < 1:
        raise argparse.ArgumentTypeError(f'found "{text}"; wanted a whole number of 1 or more')
    return number


def configure(parser: argparse.ArgumentParser) -> None:
    """Add what can be done with the record, and the options of each."""
    actions = parser.add_subparsers(
        dest="action", required=True, metavar="WHAT", title="what to do"
    )
    made = {}
    for name, says in _SAYS.items():
        made[name] = actions.add_parser(
            name, help=says, description=says[0].upper() + says[1:] + ".", allow_abbrev=False
        )
        made[name].add_argument(
            "--store", type=Path, metavar="FILE", help="the record, where it is not the usual one"
        )
        # The common options are taken before and behind the name of what is done.
        for option in ("--json", "--quiet", "--strict-plugins"):
            made[name].add_argument(
                option, action="store_true", default=argparse.SUPPRESS, help=argparse.SUPPRESS
            )
        made[name].add_argument(
            "--profiles", action="append", default=argparse.SUPPRESS, help=argparse.SUPPRESS
        )
    history_add.configure(made["add"], day, count)
    listing = made["list"]
    listing.add_argument("--job", type=count, metavar="N", help="one job with all that it holds")
    listing.add_argument("--machine", metavar="ID", help="units of this model")
    listing.add_argument("--unit", metavar="SERIAL", help="one unit, with what differs on it")
    listing.add_argument("--place", help="where the machine stood")
    listing.add_argument("--state", choices=("open", "closed"), help="open or closed jobs")
    listing.add_argument("--kind", metavar="KIND", help="jobs that mended this kind of part")
    listing.add_argument("--part", metavar="ID", help="jobs that mended this part")
    listing.add_argument("--text", help="words of the complaint or of what was wrong")
    listing.add_argument("--limit", type=count, metavar="N", help="only the newest so many")
    listing.add_argument("--all", action="store_true", help="all of them")
    made["due"].add_argument(
        "--ahead", type=count, default=0, metavar="DAYS", help="what falls due until then, too"
    )
    for name in ("list", "repeats", "rates"):
        made[name].add_argument("--since", type=day, metavar="DATE", help="not before this day")
        made[name].add_argument("--until", type=day, metavar="DATE", help="not after this day")
    for name in ("repeats", "rates"):
        made[name].add_argument("--machine", metavar="ID", help="one model")
    made["repeats"].add_argument(
        "--least", type=count, default=2, metavar="N", help="so many times or more (2)"
    )
    made["rates"].add_argument("--plot", type=Path, metavar="FILE", help="draw them (SVG)")
    made["rates"].add_argument("--all", action="store_true", help="every kind of part")
    made["check"].add_argument(
        "--rescue", type=Path, metavar="NEW", help="copy what can still be read into a new record"
    )
    made["backup"].add_argument("target", type=Path, metavar="FILE", help="the copy to write")
    made["export"].add_argument("-o", "--output", type=Path, metavar="FILE", help="not to stdout")
    made["export"].add_argument(
        "--format", choices=("json", "csv"), help="by the name of the file, else JSON"
    )
    made["import"].add_argument("source", type=Path, metavar="FILE", help="an export to take in")
    made["forget"].add_argument("name", metavar="NAME", help="initials or a name")


def run(
    arguments: argparse.Namespace, context: Context, now: datetime.datetime | None = None
) -> int:
    """Do one thing with the record; 1 when its verification finds something."""
    from simrig.history import open_store

    now = now or datetime.datetime.now(datetime.UTC)
    if arguments.action == "check" and arguments.rescue:
        return _rescue(arguments, context)
    writes = arguments.action in ("add", "import", "forget")
    with open_store(arguments.store, write=writes) as store:
        return _ACTIONS[arguments.action](store, arguments, context, now)


def _list(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig import history

    if arguments.job is not None:
        return history_text.tell_job(store, arguments.job, context)
    limit = arguments.limit
    if limit is None and not (arguments.all or context.json):
        limit = _LISTED_AT_ONCE
    with store.reading():
        jobs = history.listed(
            store, machine=arguments.machine, serial=arguments.unit, place=arguments.place,
            state=arguments.state, part_kind=arguments.kind, part=arguments.part,
            since=arguments.since, until=arguments.until, text=arguments.text,
            limit=None if limit is None else limit + 1,
        )  # fmt: skip
        more = limit is not None and len(jobs) > limit
        jobs = jobs[:limit]
        units = _units(store, arguments) if arguments.unit else []
    if context.json:
        context.answer(
            {
                "entries": [history_text.plain_listed(job) for job in jobs],
                "units": [history_text.plain_unit(state) for state in units],
            }
        )
        return 0
    history_text.tell_units(units, context)
    history_text.tell_list(jobs, more and not arguments.limit, context)
    return 0


def _units(store: Store, arguments: argparse.Namespace) -> list[Any]:
    from simrig import history

    found = store.find(history.Unit, "serial = ?", (arguments.unit,))
    states = [
        history.unit_state(store, unit.machine, unit.serial)
        for unit in found
        if arguments.machine in (None, unit.machine)
    ]
    return [state for state in states if state is not None]


def _due(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig import history

    found = history.due(store, today=now.astimezone().date(), ahead_days=arguments.ahead)
    if context.json:
        context.answer({"entries": [history_text.plain(row) for row in found]})
    else:
        history_text.tell_due(found, context)
    return 0


def _repeats(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig import history

    found = history.repeats(
        store, since=arguments.since, until=arguments.until, machine=arguments.machine,
        least=arguments.least,
    )  # fmt: skip
    if context.json:
        context.answer({"entries": [history_text.plain(row) for row in found]})
    else:
        history_text.tell_repeats(found, context)
    return 0


def _rates(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig import history

    bounds = {"since": arguments.since, "until": arguments.until, "machine": arguments.machine}
    with store.reading():
        seen = history.seen(store, **bounds)
        failures = history.by_month(store, **bounds) if arguments.plot else ()
    sides = {}
    for beside in (True, False):
        prior, source = _prior(context, arguments.machine, beside)
        sides[beside] = history.shares(prior, history.counts(seen, beside_kicker=beside))
    if arguments.plot:
        from simrig.history.dates import months_between
        from simrig.reports.rates_plot import rates_plot

        months = months_between(failures[0][0], failures[-1][0]) if failures else []
        title = f"What failed: {arguments.machine or 'all machines'}"
        _write(arguments.plot, rates_plot(failures, months, title=title))
    if context.json:
        context.answer({"entries": history_text.plain_rates(sides, arguments.machine, source)})
        return 0
    limit = None if arguments.all else _KINDS_AT_ONCE
    history_text.tell_rates(sides, arguments.machine, source, limit, context)
    if arguments.plot:
        context.say(f"Drawn in {arguments.plot}.")
    return 0


def _prior(context: Context, machine: str | None, beside: bool) -> tuple[dict[str, float], str]:
    """Return the documented weights as counts, of the machine if its profile is at hand."""
    from simrig.errors import SimrigError
    from simrig.history import priors

    if machine is not None:
        try:
            profile = context.profile(machine)
        except SimrigError:
            pass
        else:
            return priors.prior_of_machine(profile, beside_kicker=beside), profile.id
    return priors.prior_of_kinds(beside_kicker=beside), "one part of each kind"


def _check(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig.history import verify

    verdict = verify(store)
    history_text.tell_verdict(verdict, store.path, "entries, all whole.", context)
    return 1 if verdict.problems else 0


def _rescue(arguments: argparse.Namespace, context: Context) -> int:
    from simrig.history import default_store, rescue

    verdict = rescue(arguments.store or default_store(), arguments.rescue)
    history_text.tell_verdict(verdict, arguments.rescue, "entries kept.", context)
    return 1 if verdict.problems else 0


def _backup(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig.history import backup

    backup(store, arguments.target)
    _done(context, {"file": str(arguments.target)}, f"Copied to {arguments.target}.")
    return 0


def _export(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig.history import export_csv, export_json

    form = arguments.format
    if form is None:
        named = arguments.output is not None and arguments.output.suffix.lower() == ".csv"
        form = "csv" if named else "json"
    if arguments.output is None:
        if context.json and form == "csv":
            raise wrong("--json", "found it with --format csv and no file; name a file with -o")
        context.out.write(export_csv(store) if form == "csv" else export_json(store))
        return 0
    _write(arguments.output, export_csv(store) if form == "csv" else export_json(store))
    _done(context, {"file": str(arguments.output)}, f"Exported to {arguments.output}.")
    return 0


def _import(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig.history import import_text

    text = history_add.read_text(arguments.source)
    new, known = import_text(store, text, file=str(arguments.source))
    said = f"{new} entries filed." + (f" {known} were there already." if known else "")
    _done(context, {"filed": new, "known": known}, said)
    return 0


def _forget(
    store: Store, arguments: argparse.Namespace, context: Context, now: datetime.datetime
) -> int:
    from simrig.history import forget

    done = forget(store, arguments.name)
    if context.json:
        context.answer({"entries": [history_text.plain(done)]})
        return 0
    context.say(f"Removed from {done.entries} entries; {done.answers} answers of a trainee gone.")
    context.say("Copies made earlier (backups, exports) still hold the name: see to them too.")
    for where in done.left:
        context.say(f"Left, as it may name a part or a machine: {where}")
    return 0


def _done(context: Context, entry: dict[str, Any], said: str) -> None:
    if context.json:
        context.answer({"entries": [entry]})
    else:
        context.say(said)


def _write(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    partial = path.with_name(path.name + ".partial")
    try:
        partial.write_text(text, encoding="utf-8", newline="")
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise wrong(
            str(path),
            f"found that the file cannot be written ({error.strerror}); wanted a place where it "
            "can. Name another",
        ) from None


_SAYS: Final = {
    "add": "file a job, what was seen, checked, done and proven, parts to order",
    "list": "the jobs, newest first",
    "due": "temporary repairs past their date, parts to order, repairs never proven",
    "repeats": "the same part again, and the same kind of part on several machines",
    "rates": "what fails how often: documented weights and this shop's own records",
    "check": "verify the record",
    "backup": "copy the record while it is in use",
    "export": "write the whole record as JSON or CSV",
    "import": "file the entries of an export",
    "forget": "remove a person from the record",
}
_ACTIONS: Final[
    dict[str, Callable[[Store, argparse.Namespace, Context, datetime.datetime], int]]
] = {
    "add": history_add.run,
    "list": _list,
    "due": _due,
    "repeats": _repeats,
    "rates": _rates,
    "check": _check,
    "backup": _backup,
    "export": _export,
    "import": _import,
    "forget": _forget,
}
