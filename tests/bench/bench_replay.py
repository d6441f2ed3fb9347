"""A recorded log: its rows read and checked, against csv alone, and the whole judged.

csv gives the words of each row by column, and the time is made a number; simrig checks
each word and the order of time, and tells the line of what is wrong.  No general tool
judges a log; how long that takes is shown as a curve over its length.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterator

from simrig.expectation.replay import replay
from simrig.interchange.logs import Event, read_log, write_csv
from tests.bench.measuring import Effort, alternating, equal, fastest
from tests.bench.program import alone
from tests.bench.rows import PYTHON, Claim, Curve, Found
from tests.planted_logs import Run

TITLE = "A recorded log: rows read and checked, and judged"
READ = Claim(
    done="rows read and checked", peer="csv, Python", package=PYTHON, measure="longer", goal=3
)
CLAIMS = (READ,)

SIZES = (1_000, 4_000, 16_000, 64_000)
MOVES_A_ROW = 0.33
"""Moves to draw for each row wanted: more than enough, as each gives at least three."""


def run(effort: Effort) -> Iterator[Found]:
    """Read and compare, then judge ever more of one clean log."""
    sizes = effort.of(SIZES, (200, 400))
    drawn = Run(3, machine="tidal-clockwork", length=round(MOVES_A_ROW * sizes[-1]))
    log = drawn.log[: sizes[-1]]
    equal("rows of the log", len(log), sizes[-1])
    data = b"".join(write_csv(log[: effort.of(16_000, 200)]))
    text = data.decode()
    coils = [coil.id for coil in drawn.profile.coil]

    def ours() -> list[Event]:
        return list(read_log([data], file="log.csv", coils=coils))

    def by_csv() -> list[tuple[float, str, str]]:
        rows = csv.DictReader(io.StringIO(text))
        return [(float(row["time"]), row["sensor"], row["reading"]) for row in rows]

    equal("rows", [(one.time_ms, one.signal, one.reading) for one in ours()], by_csv())
    timed = alternating(ours, by_csv, rounds=effort.of(9, 1))
    yield READ.row(timed.longer, **timed.details)

    seconds = []
    for size in sizes:
        some = log[:size]
        judged = replay(drawn.profile, some, sampling=drawn.sampling)
        equal(f"a clean log of {size} rows", (judged.anomalies, judged.events), ((), size))
        seconds.append(
            fastest(
                lambda some=some: replay(drawn.profile, some, sampling=drawn.sampling),
                effort.of(2, 1),
            )
        )
    times = [one / seconds[0] for one in seconds]
    yield Curve(done="a log judged", size="rows", sizes=sizes, times=times)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
