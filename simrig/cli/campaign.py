"""``simrig campaign``: every fault of a machine injected, to see what checks make of it."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from simrig.cli.context import Context, wrong

if TYPE_CHECKING:
    from simrig.diagnosis.campaign import Campaign, Summary, Trial
    from simrig.faults.candidates import Fault
    from simrig.profile.machine import Profile

MOST = 100_000


def configure(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("machine", metavar="MACHINE", help="id of a machine, or a profile file")
    parser.add_argument("--singles", metavar="N", help="so many single faults (all when left out)")
    parser.add_argument("--pairs", metavar="N", default="0", help="and so many pairs, drawn (0)")
    parser.add_argument("--seed", metavar="N", default="0", help="draws other pairs (0)")
    parser.add_argument("--workers", metavar="N", help="processes at work (one for each core)")


def run(arguments: argparse.Namespace, context: Context) -> int:
    """Run the trials; 0 when what was injected was in the final group each time, 1 otherwise."""
    from simrig.diagnosis.campaign import Campaign, Summary

    singles = None if arguments.singles is None else _number("--singles", arguments.singles, 0)
    pairs, seed = (_number(f"--{name}", getattr(arguments, name), 0) for name in ("pairs", "seed"))
    cores = str(os.cpu_count() or 1)
    workers = _number("--workers", arguments.workers or cores, 1, 64)
    campaign = Campaign(profile=context.profile(arguments.machine))
    chosen = campaign.chosen(singles, pairs, seed)
    if not chosen:
        raise wrong("--singles", "nothing is left to inject; ask for one fault at least")
    done: list[Trial] = []
    for trial in _trials(campaign, chosen, workers):
        done.append(trial)
        if not context.quiet:
            end = "\n" if len(done) == len(chosen) or not sys.stderr.isatty() else "\r"
            if end == "\r" or len(done) == len(chosen) or len(done) % 25 == 0:
                print(f"{len(done)} of {len(chosen)} faults", end=end, file=sys.stderr, flush=True)
    summary = Summary.of(done)
    if context.json:
        context.answer(_document(campaign.profile.id, summary, done))
    else:
        for line in _lines(campaign.profile, summary, done):
            context.say(line)
    return 0 if summary.held == summary.tried and not summary.unparted else 1


_campaign: Campaign | None = None
"""In a worker process: what its trials share."""


def _begin(profile: Profile) -> None:
    from simrig.diagnosis.campaign import Campaign

    global _campaign
    _campaign = Campaign(profile=profile)


def _one(faults: tuple[Fault, ...]) -> Trial:
    assert _campaign is not None
    return _campaign.trial(faults)


def _trials(
    campaign: Campaign, chosen: Sequence[tuple[Fault, ...]], workers: int
) -> Iterator[Trial]:
    if workers == 1 or len(chosen) == 1:
        yield from map(campaign.trial, chosen)
        return
    from concurrent.futures import ProcessPoolExecutor

    size = max(1, min(8, len(chosen) // (4 * workers)))
    with ProcessPoolExecutor(workers, initializer=_begin, initargs=(campaign.profile,)) as pool:
        try:
            yield from pool.map(_one, chosen, chunksize=size)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _number(where: str, text: str, low: int, high: int = MOST) -> int:
    if text.isascii() and text.isdigit() and len(text) < 7 and low <= int(text) <= high:
        return int(text)
    raise wrong(where, f'found "{text}"; wanted a whole number from {low} to {high}')


def _document(machine: str, summary: Summary, done: Sequence[Trial]) -> dict[str, Any]:
    return {
        "machine": machine,
        "faults": summary.faults,
        "shown": summary.shown,
        "isolated": summary.isolated,
        "mean_minutes": summary.mean_minutes,
        "groups": [[list(one) for one in group] for group in summary.groups],
        "tried": summary.tried,
        "held": summary.held,
        "unparted": summary.unparted,
        "trials": [
            {
                "faults": list(one.faults),
                "phases": list(one.shown),
                "counts": list(one.counts),
                "minutes": one.minutes,
                "checks": one.checks,
                "left": [list(names) for names in one.left],
                "held": one.held,
                "proven": one.proven,
            }
            for one in done
        ],
    }


def _lines(profile: Profile, summary: Summary, done: Sequence[Trial]) -> Iterator[str]:
    from simrig.reports.isolation_text import folded

    yield f"{summary.faults} faults injected into {profile.name}."
    yield from folded(
        f"{summary.shown} show in the readings of some phase or number of balls; "
        f"{summary.faults - summary.shown} show in none, without working a switch."
    )
    yield from _shares("by phase", done, lambda one: one.shown)
    yield from _shares("by balls in the store", done, lambda one: map(str, one.counts))
    if summary.mean_minutes is not None:
        yield from folded(
            f"{summary.isolated} of {summary.tried} were isolated down to the part, "
            f"{summary.mean_minutes:.1f} minutes on the mean; what was injected was in the final "
            f"group {summary.held} times of {summary.tried}."
        )
    for group in summary.groups[:10]:
        words = " | ".join(" with ".join(one) for one in group[:4])
        more = f" | and {len(group) - 4} more" if len(group) > 4 else ""
        yield from folded(f"No check parts: {words}{more}", "  ")
    if len(summary.groups) > 10:
        yield f"and {len(summary.groups) - 10} more groups: --json"
    for one in [one for one in done if one.minutes is not None and not one.held][:10]:
        yield from folded(f"Lost on the way: {' with '.join(one.faults)}", "  ")


def _shares(title: str, done: Sequence[Trial], where: Callable[[Trial], Any]) -> Iterator[str]:
    from simrig.reports.isolation_text import folded

    found: dict[str, int] = {}
    for one in done:
        for name in where(one):
            found[name] = found.get(name, 0) + 1
    if found:
        text = ", ".join(f"{name} {number}" for name, number in found.items())
        yield from folded(f"  {title}: {text}", "    ")
