"""How long the shop's record takes to answer, beside a plain reading of its tables.

A year of 40 machines and three technicians, filled to about 50,000 entries.  The peer is
sqlite3 alone, fetching every row of the tables that the questions stand on, from the same
file: not the answer, but the least that reading it all without an index costs.  The goal
is a second a question; a person waits for it.
"""

from __future__ import annotations

import datetime
import random
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from simrig import history
from simrig.history.store import Store
from tests.bench.measuring import Effort, alternating, equal, fastest, once, tell
from tests.bench.program import alone
from tests.bench.rows import SQLITE, Claim, Curve, Found
from tests.history import shop

TITLE = "The shop's record: 50,000 entries of a year"
_beside = partial(Claim, peer="sqlite3 scan", package=SQLITE, measure="longer")
QUESTIONS: dict[str, Callable[[Store], object]] = {
    "what is due": lambda store: history.due(store, today=datetime.date(2026, 3, 2)),
    "repeats": history.repeats,
    "rates": lambda store: [
        history.shares(
            dict.fromkeys("abcdef", 1.0),
            history.counts(history.seen(store), beside_kicker=beside),
        )
        for beside in (True, False)
    ],
    "the 15 newest jobs": lambda store: history.listed(store, limit=15),
    "all jobs": history.listed,
    "by month": history.by_month,
}
ROWS = tuple(_beside(done=question) for question in QUESTIONS)
SLOWEST = Claim(done="the slowest of these", peer="absolute", measure="seconds", goal=1)
CLAIMS = (*ROWS, SLOWEST)
SIZES = (1_000, 4_000, 16_000, 50_000)
ENTRIES_A_JOB = 5.1
"""About: what fills the record files a job with so many entries."""


def every_row(store: Store) -> int:
    """Fetch all of the tables that the questions stand on, and count the rows."""
    tables = ("unit", "job", "repair")
    return sum(len(store.connection.execute(f"SELECT * FROM {one}").fetchall()) for one in tables)


def filled(path: Path, entries: int) -> int:
    """Fill a record to about so many entries, and return how many there are."""
    with history.open_store(path, write=True) as store:
        return shop.fill(store, jobs=round(entries / ENTRIES_A_JOB))


def questions(path: Path, effort: Effort) -> Iterator[Found]:
    """Each question beside a plain reading of the tables."""
    slowest = 0.0
    with history.open_store(path) as store:
        equal("jobs on record", len(history.listed(store)), len(store.find(history.Job)))
        for claim, question in zip(ROWS, QUESTIONS.values(), strict=True):
            ours, peer = partial(question, store), partial(every_row, store)
            slowest = max(slowest, once(ours)[0])
            timed = alternating(ours, peer, rounds=effort.of(7, 1))
            yield claim.row(timed.longer, **timed.details)
    yield SLOWEST.row(slowest)


def growth(paths: dict[int, Path], effort: Effort) -> Iterator[Found]:
    """What a job more, what is due and the list cost on ever longer records."""
    costs: dict[str, list[float]] = {"a job filed": [], "what is due": [], "all jobs": []}
    for path in paths.values():
        with history.open_store(path, write=True) as store:
            unit = history.ensure_unit(store, "tidal-clockwork", "1000")

            def file(store: Store = store, unit: object = unit) -> None:
                for number in range(10):
                    shop._job(store, random.Random(number), unit, shop.START)

            costs["a job filed"].append(fastest(file, effort.of(5, 1)))
            for name in ("what is due", "all jobs"):
                question = partial(QUESTIONS[name], store)
                costs[name].append(fastest(question, effort.of(3, 1)))
    for done, seconds in costs.items():
        times = [one / seconds[0] for one in seconds]
        yield Curve(done=done, size="entries", sizes=tuple(paths), times=times)


def run(effort: Effort) -> Iterator[Found]:
    """Fill records of growing length; ask the longest; then file some more in each."""
    with tempfile.TemporaryDirectory() as folder:
        paths = {}
        for size in effort.of(SIZES, (200, 400)):
            tell(f"  filling a record with {size} entries")
            path = Path(folder) / f"{size}.sqlite"
            paths[filled(path, size)] = path
        yield from questions(path, effort)
        yield from growth(paths, effort)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
