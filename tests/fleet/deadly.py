"""Work for the tests of spreading: plain, deadly to the worker, deadly at first only."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path


def tripled(number: int) -> int:
    """Thrice the number."""
    return 3 * number


def deadly(piece: tuple[int, str]) -> int:
    """Thrice the number; ``always`` kills the worker, each path once: while no file is there."""
    number, way = piece
    if way == "always":
        os.kill(os.getpid(), signal.SIGKILL)
    for path in map(Path, way.split(":") if way else ()):
        if not path.exists():
            path.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    return 3 * number


def slow(number: int) -> int:
    """Thrice the number, the later ones sooner."""
    time.sleep(0.002 * (10 - number))
    return 3 * number
