"""A fleet of made machines, vetted and campaigned: two workers against one.

Run by hand, on a quiet machine with two cores or more::

    python tests/bench/bench_fleet.py                 # 500 machines, 40 of them with one worker too
    python tests/bench/bench_fleet.py --count 6 --compared 6

Machines are of usual size (7 to 10 balls, 40 to 60 switches).  Those that are compared are
done in slices, with one worker and with two in turn, so that a machine that grows slower
or quicker meanwhile does so for both; the answers must be equal byte for byte.  Then
all are done with two workers.  What is printed is a ratio of the same run; absolute
times are the computer's.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fleet import make

ROOT = Path(__file__).parents[2]
SLICE = 20


def run(files: Sequence[Path], singles: int, workers: int) -> tuple[float, float, bytes]:
    """Return the seconds that a campaign takes, by the clock and of the processors, and what it says.

    The start of its processes is in both.
    """
    words = [*map(str, files), "--singles", str(singles), "--workers", str(workers), "--json"]
    path = os.pathsep.join((str(ROOT), os.environ.get("PYTHONPATH", "")))
    begun, worked = time.perf_counter(), processors()
    ended = subprocess.run(
        [sys.executable, "-m", "simrig", "campaign", *words, "--quiet"],
        stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip
    spent = time.perf_counter() - begun
    # 1 is an answer too: something is wrong with a machine, and what it is stands in it.
    assert ended.returncode in (0, 1), f"the campaign ended with {ended.returncode}"
    return spent, processors() - worked, ended.stdout


def processors() -> float:
    """Return the seconds that processes started from here have used the processors."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def compare(files: Sequence[Path], singles: int) -> None:
    """Print how much sooner two workers are done than one."""
    ratios, one_worker, two_workers = [], 0.0, 0.0
    used = {1: 0.0, 2: 0.0}
    for number, begin in enumerate(range(0, len(files), SLICE)):
        some = files[begin : begin + SLICE]
        spent: dict[int, float] = {}
        said = set()
        for workers in (1, 2) if number % 2 == 0 else (2, 1):
            spent[workers], work, answer = run(some, singles, workers)
            used[workers] += work
            said.add(answer)
        assert len(said) == 1, "the answers differ"
        ratios.append(spent[1] / spent[2])
        one_worker, two_workers = one_worker + spent[1], two_workers + spent[2]
        print(f"  {len(some)} machines: {spent[1]:.1f} s, {spent[2]:.1f} s", flush=True)
    print(
        f"two workers: {one_worker / two_workers:.2f} times as fast as one, over {len(files)} "
        f"machines (slices {min(ratios):.2f} to {max(ratios):.2f}, median "
        f"{statistics.median(ratios):.2f}); same bytes; processors busy {used[1]:.0f} s for one, "
        f"{used[2]:.0f} s for two",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=500, help="machines in all (500)")
    parser.add_argument("--compared", type=int, default=40, help="with one worker too (40)")
    parser.add_argument("--singles", type=int, default=4, help="faults injected into each (4)")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        files = list(make.write(Path(folder), chosen.count, chosen.seed, small=False))
        print(f"{len(files)} machines from seed {chosen.seed}, {chosen.singles} singles each")
        compare(files[: chosen.compared], chosen.singles)
        if chosen.count > chosen.compared:
            spent, worked, answer = run(files, chosen.singles, 2)
            found = json.loads(answer)
            print(
                f"all {len(files)} with two workers: {spent / 60:.1f} min, "
                f"{worked / len(files):.2f} s of processor a machine; of {found['faults']} faults "
                f"{found['tried']} were isolated as far as checks go, {found['held']} of these kept; "
                f"vetting finds {found['levels']}"
            )


if __name__ == "__main__":
    main()
