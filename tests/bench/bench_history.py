"""How long the shop's record takes to answer, beside a plain scan of its tables.

Run it: ``python tests/bench/bench_history.py``.  A year of 40 machines and three
technicians is filled to about 50,000 entries.  The peer is sqlite3 alone, reading
every row of the tables that a question needs, in the same run and on the same file.
The median of alternating rounds counts; the goal is less than a second a question.
"""

from __future__ import annotations

import datetime
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from simrig import history
from tests.history import shop

ENTRIES = 50_000
ROUNDS = 7


def timed(call):
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def compare(question, peer):
    """Return the medians of both, taken alternately."""
    mine, theirs = [], []
    for _ in range(ROUNDS):
        mine.append(timed(question))
        theirs.append(timed(peer))
    return statistics.median(mine), statistics.median(theirs)


def scan(store, *tables):
    for table in tables:
        store.connection.execute(f"SELECT * FROM {table}").fetchall()


def main() -> int:
    """Fill, ask, print; 1 when a question takes a second or more."""
    today = datetime.date(2026, 3, 2)
    slow = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.sqlite"
        with history.open_store(path, write=True) as store:
            entries = shop.fill(store, jobs=ENTRIES * 10 // 51)
        with history.open_store(path) as store:
            questions = {
                "due": lambda: history.due(store, today=today),
                "repeats": lambda: history.repeats(store),
                "rates": lambda: [
                    history.shares(
                        dict.fromkeys("abcdef", 1.0),
                        history.counts(history.seen(store), beside_kicker=beside),
                    )
                    for beside in (True, False)
                ],
                "list, 15 newest": lambda: history.listed(store, limit=15),
                "list, all": lambda: history.listed(store),
                "by month": lambda: history.by_month(store),
            }
            tables = ("unit", "job", "repair")
            print(f"{entries} entries, {len(store.find(history.Job))} jobs")
            print("question           seconds   x plain scan of unit, job and repair")
            for name, question in questions.items():
                mine, theirs = compare(question, lambda: scan(store, *tables))
                slow += mine >= 1
                print(f"{name:17} {mine:8.3f} {mine / theirs:8.2f}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
