"""One bench as a program: python -m tests.bench.bench_NAME."""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from types import ModuleType

from tests.bench import registry, report
from tests.bench.documents import document
from tests.bench.measuring import Effort, FailedError, tell
from tests.bench.rows import Found, Outcome


def options(parser: argparse.ArgumentParser) -> None:
    """Add what one bench and all of them have in common."""
    parser.add_argument("--quick", action="store_true", help="few repetitions: does it work?")
    parser.add_argument("--json", type=Path, metavar="FILE", help="keep what was found there too")
    parser.add_argument(
        "--installed", type=Path, metavar="PATH",
        help="an installed command simrig to start, with the python and pytest beside it,"
        " instead of a copy installed for the run",
    )  # fmt: skip


def measured(name: str, effort: Effort) -> Outcome:
    """Run a bench in this process.

    Where answers differ or a peer is missing, the outcome says so; what was found until
    then stays.
    """
    start = time.monotonic()
    found: list[Found] = []
    failure = None
    title = name
    try:
        bench: ModuleType = registry.module(name)
        title = bench.TITLE
        for one in bench.run(effort):
            found.append(one)
            tell(f"  {report.said(one)}")
    except FailedError as error:
        failure = str(error)
    except ModuleNotFoundError as error:
        failure = f"{error.name} is not installed: pip install '.[bench]'"
    return Outcome(
        name=name,
        title=title,
        found=tuple(found),
        failure=failure,
        quick=effort.quick,
        seconds=round(time.monotonic() - start, 1),
    )


def alone(file: str, about: str | None, words: list[str] | None = None) -> int:
    """Run the bench in ``file``, print what it found; 1 where it failed."""
    parser = argparse.ArgumentParser(description=(about or "").partition("\n")[0])
    options(parser)
    chosen = parser.parse_args(words)
    name = Path(file).stem.removeprefix("bench_")
    outcome = measured(name, Effort(quick=chosen.quick, installed=chosen.installed))
    print(report.text([outcome]))
    if chosen.json is not None:
        chosen.json.write_text(json.dumps(document([outcome]), indent=1), encoding="utf-8")
    return 1 if outcome.failure else 0
