"""How the benches measure: ours and a peer in turn, in one process, medians of ratios.

On a machine that others use too, times wander by half from one minute to the next, so
only ratios of times taken side by side count: each round measures ours, then the peer;
the figure is the median of the rounds' ratios.  Times are of the processor unless a
process is waited for.  pyperf and pytest-benchmark were considered: both measure one
piece of work to its end before the next, in processes or rounds of its own, and
compare what was measured at different times; neither compares the answers.  What they
would add here, calibration, is a few lines.
"""

from __future__ import annotations

import gc
import statistics
import sys
import time
from collections.abc import Callable, Iterable
from math import ceil
from pathlib import Path
from typing import Any, TypeVar

import attrs

Work = Callable[[], object]
Clock = Callable[[], float]
T = TypeVar("T")

SHORTEST = 0.02
"""Seconds that one measurement takes at least: shorter work is repeated."""


class FailedError(Exception):
    """A bench cannot say anything; says why."""


class UnequalError(FailedError):
    """Ours and a peer's answer differ, so that no time of theirs can be compared."""


@attrs.frozen(kw_only=True)
class Effort:
    """How much to measure: ``quick`` proves that a bench works, and measures next to nothing.

    ``installed`` is a command ``simrig`` that is installed, for what must start it.
    """

    quick: bool = False
    installed: Path | None = None

    def of(self, full: T, quick: T) -> T:
        """Return how many, how long or how large."""
        return quick if self.quick else full


@attrs.frozen(kw_only=True)
class Timed:
    """What some rounds gave: medians in seconds, and the median and quartiles of ``ratios``.

    A ratio is the peer's time over ours.
    """

    ours: float
    peer: float
    ratios: tuple[float, ...]

    @property
    def faster(self) -> float:
        """How many times as long the peer takes."""
        return statistics.median(self.ratios)

    @property
    def longer(self) -> float:
        """How many times as long as the peer ours takes."""
        return statistics.median(1 / one for one in self.ratios)

    @property
    def details(self) -> dict[str, Any]:
        """What stands behind the figure."""
        return {
            "ours_s": self.ours,
            "peer_s": self.peer,
            "rounds": len(self.ratios),
            "least": min(self.ratios),
            "most": max(self.ratios),
        }


def tell(text: str) -> None:
    """Say on stderr what is being done."""
    print(text, file=sys.stderr, flush=True)


def equal(what: str, *answers: object) -> None:
    """Raise UnequalError unless all answers are the same."""
    if any(one != answers[0] for one in answers[1:]):
        raise UnequalError(f"{what}: the answers differ, so nothing was timed")


def once(work: Callable[[], T], clock: Clock = time.process_time) -> tuple[float, T]:
    """Return the seconds of one call, and its answer."""
    gc.collect()
    start = clock()
    answer = work()
    return clock() - start, answer


def _mean(work: Work, calls: int, clock: Clock) -> float:
    def all_of_them() -> None:
        for _ in range(calls):
            work()

    return once(all_of_them, clock)[0] / calls


def paired(pairs: Iterable[tuple[float, float]]) -> Timed:
    """Return what pairs of times give, each ours and the peer's at the same piece of work."""
    ours, peer = zip(*pairs, strict=True)
    return Timed(
        ours=statistics.median(ours),
        peer=statistics.median(peer),
        ratios=tuple(b / a for a, b in zip(ours, peer, strict=True)),
    )


def alternating(ours: Work, peer: Work, *, rounds: int, clock: Clock = time.process_time) -> Timed:
    """Measure two pieces of work in turn; short ones are called often enough to be timed."""
    # The first call of each is left out: it may fill what is worked out once.
    calls = [max(1, ceil(SHORTEST / max(once(work, clock)[0], 1e-6))) for work in (ours, peer)]
    return paired(
        (_mean(ours, calls[0], clock), _mean(peer, calls[1], clock)) for _ in range(rounds)
    )


def fastest(work: Work, times: int = 4, clock: Clock = time.process_time) -> float:
    """Return the seconds of the fastest of some calls: what is worked out once is left out."""
    return min(once(work, clock)[0] for _ in range(times))
