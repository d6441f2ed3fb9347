"""``simrig campaign``: every fault of a machine injected, or of many, to see what checks make of it."""

from __future__ import annotations

import argparse
import os
import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.fleet.orders import Options
    from simrig.fleet.running import Run
    from simrig.fleet.spreading import Workers

MOST = 100_000
MOST_WORKERS = 64


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument(
        "machine", metavar="PROFILE|DIR", nargs="+",
        help="id of a machine, a profile file, or a folder of them; each is vetted too; of several, "
        "those that cannot be read stop no other (2 in the end)",
    )  # fmt: skip
    parser.add_argument("--singles", metavar="N", help="so many single faults (all when left out)")
    parser.add_argument("--pairs", metavar="N", default="0", help="and so many pairs, drawn (0)")
    parser.add_argument("--seed", metavar="N", default="0", help="draws other pairs (0)")
    parser.add_argument(
        "--conformance", action="store_true",
        help="hold each against the conformance suite too; needs the extra [test]",
    )  # fmt: skip
    parser.add_argument(
        "--examples", metavar="N", default="50", help="that each check of the suite draws (50)"
    )
    parser.add_argument("--workers", metavar="N", help="processes at work (one for each core)")
    parser.add_argument(
        "--cluster", metavar="ADDRESS",
        help="work on the cluster of the Dask scheduler at tcp://HOST:PORT instead; needs the "
        "extra [cluster]",
    )  # fmt: skip
    parser.add_argument(
        "--keep", metavar="FILE", type=Path,
        help="keep finished work in FILE; the same command, given again, goes on from there",
    )  # fmt: skip
    parser.add_argument("--all", action="store_true", help="of several machines, list every one")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Run the trials; 0 when what was injected was in the final group each time and nothing
    else is wrong, 1 otherwise, 2 when a machine could not be done."""
    options = _options(arguments)
    workers = _workers(arguments)
    from simrig.fleet.machines import named
    from simrig.fleet.running import Run, kept

    machines = named(context.catalogue, arguments.machine)
    keep = arguments.keep
    with nullcontext() if keep is None else kept(keep, machines, options) as keeping:
        if keeping and not context.quiet:
            print(f"{keep} keeps work that is done; going on", file=sys.stderr)
        made = Run(machines, options, strict=context.strict, keeping=keeping)
        _follow(made, workers, context, keep)
    for problem in made.told:
        context.tell(problem)
    if _alone(arguments):
        return _answer_one(made, context)
    return _answer_many(made, context, every=arguments.all)


def _alone(arguments: argparse.Namespace) -> bool:
    named: list[str] = arguments.machine
    return len(named) == 1 and not os.path.isdir(named[0])


def _options(arguments: argparse.Namespace) -> Options:
    from simrig.fleet.orders import Options

    singles = None if arguments.singles is None else _number("--singles", arguments.singles, 0)
    pairs, seed = (_number(f"--{name}", getattr(arguments, name), 0) for name in ("pairs", "seed"))
    if singles == 0 and not pairs:
        raise wrong("--singles", "nothing is left to inject; ask for one fault at least")
    examples = _number("--examples", arguments.examples, 1)
    if arguments.conformance:
        from simrig.host.extra import need

        need("--conformance", "hypothesis", extra="test")
    return Options(
        singles=singles,
        pairs=pairs,
        seed=seed,
        examples=examples if arguments.conformance else None,
    )


def _workers(arguments: argparse.Namespace) -> Workers:
    from simrig.fleet.workers import Here, Processes

    if arguments.cluster is not None:
        if arguments.workers is not None:
            raise wrong("--workers", "a cluster has its own; leave it out, or leave out --cluster")
        from simrig.fleet.cluster import Cluster

        return Cluster(arguments.cluster)
    cores = str(min(os.cpu_count() or 1, MOST_WORKERS))
    count = _number("--workers", arguments.workers or cores, 1, MOST_WORKERS)
    return Here() if count == 1 and _alone(arguments) else Processes(count)


def _number(where: str, text: str, low: int, high: int = MOST) -> int:
    if text.isascii() and text.isdigit() and len(text) < 7 and low <= int(text) <= high:
        return int(text)
    raise wrong(where, f'found "{text}"; wanted a whole number from {low} to {high}')


def _follow(made: Run, workers: Workers, context: Context, keep: Path | None) -> None:
    """Do all of it, and tell how far it is."""
    from simrig.cli.progress import Progress

    progress = Progress(quiet=context.quiet)
    count = len(made.machines)
    try:
        for step in made.steps(workers):
            if count == 1:
                share = step.made / step.trials if step.trials else 1
                progress.tell(f"{step.made} of {step.trials} faults", share)
            else:
                words = f"{step.machines} of {count} machines, {step.made} faults"
                progress.tell(words, step.machines / count)
    except KeyboardInterrupt:
        progress.end()
        if keep is not None:
            print(f"what is done is kept in {keep}: the same command goes on", file=sys.stderr)
        raise
    finally:
        progress.end()


def _answer_one(made: Run, context: Context) -> int:
    from simrig.interchange import campaign_document
    from simrig.reports import campaign_text

    made.raise_failures()
    (one,) = made.done
    if context.json:
        context.answer(campaign_document.machine(one))
    else:
        for line in campaign_text.machine(one):
            context.say(line)
    return made.code


def _answer_many(made: Run, context: Context, *, every: bool) -> int:
    from simrig.interchange import campaign_document
    from simrig.reports import campaign_text

    if context.json:
        context.answer(campaign_document.fleet(made.done, made.problems))
        return made.code
    for problem in made.problems:
        print(problem, file=sys.stderr)
    failed = [made.machines[number].file for number in sorted(made.failures)]
    for line in campaign_text.fleet(made.done, failed, every=every):
        context.say(line)
    return made.code
