"""Start-up against peers, interleaved in one run: whole processes, medians of ratios."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROUNDS = 15
BARE = [sys.executable, "-c", "pass"]
PYTEST = [sys.executable, "-m", "pytest", "--version"]
CASES = (
    ("simrig --version / bare interpreter", ["--version"], BARE, 1.5),
    ("simrig expect tidal-clockwork / pytest --version",
     ["expect", "tidal-clockwork"], PYTEST, 0.9),
)  # fmt: skip


def _seconds(command: list[str]) -> float:
    began = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - began


def main() -> None:
    """Print the median ratio of each case, and its goal."""
    for title, words, peer, goal in CASES:
        ours = [str(Path(sys.executable).with_name("simrig")), *words]
        _seconds(ours), _seconds(peer)
        ratios = [_seconds(ours) / _seconds(peer) for _ in range(ROUNDS)]
        print(f"{title:50} {statistics.median(ratios):.2f}  (goal at most {goal})")


if __name__ == "__main__":
    main()
