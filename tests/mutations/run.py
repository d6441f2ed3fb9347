"""Mutants by the hundred thousand: python -m tests.mutations.run [COUNT] [SEED] [FORMAT ...]

Every one must be taken, or refused with file and line, within two seconds of work
and a gigabyte of memory.  Prints how many were; what fails is kept in a file.
"""

from __future__ import annotations

import resource
import signal
import sys
import tempfile
import time
import traceback
from pathlib import Path
from random import Random
from types import FrameType

from tests.mutations.formats import FORMATS, Format, judged
from tests.mutations.mutators import mutant

SECONDS = 2.0


class HangError(BaseException):
    """More than two seconds of work on one file."""


def limited(kind: Format, data: bytes, file: str) -> bool:
    """Return whether a file was taken; raise HangError past two seconds of work."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise HangError

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, SECONDS)
    try:
        return not judged(kind, data, file)
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def main(words: list[str]) -> int:
    """Run, print the figures, and return 1 if anything failed."""
    count = int(words[0]) if words else 3_000
    seed = int(words[1]) if len(words) > 1 else 1
    resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
    failed = 0
    for name in words[2:] or list(FORMATS):
        kind = FORMATS[name]
        samples = kind.samples()
        chance = Random(seed)
        taken, longest, start = 0, 0.0, time.process_time()
        for number in range(count):
            data = mutant(chance.choice(samples), chance, samples, kind.rows)
            began = time.process_time()
            try:
                taken += limited(kind, data, f"mutant{kind.suffix}")
            except (Exception, HangError):
                failed += 1
                kept = Path(tempfile.gettempdir()) / f"mutant-{name}-{number}{kind.suffix}"
                kept.write_bytes(data)
                print(f"{kept}: {traceback.format_exc().splitlines()[-1][:200]}", flush=True)
            longest = max(longest, time.process_time() - began)
        seconds = time.process_time() - start
        print(
            f"{name}: {count} mutants, {taken} taken, {count - taken} refused; seed {seed}; "
            f"{seconds:.0f} s of work, the longest {longest * 1e3:.0f} ms",
            flush=True,
        )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
