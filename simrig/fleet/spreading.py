"""Work spread over an executor, the loss of a worker borne.

When a worker process ends in the middle of its work, nobody can say which of the pieces
that were under way ended it: all of them are suspects.  Each is done again with no other
beside it; one that loses its worker then too, :data:`ALONE` times, is named as lost.  All
else is done once, or again.
"""

from __future__ import annotations

import sys
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager
from typing import Final, Protocol, TypeVar

import attrs

ALONE: Final = 2
"""So many workers may a piece of work lose while no other is under way."""

Piece = TypeVar("Piece")
Done = TypeVar("Done")


@attrs.frozen
class Lost:
    """What stands for the result of a piece of work that loses its worker each time."""


class Workers(Protocol):
    """Who does the work."""

    def opened(self) -> AbstractContextManager[Executor]:
        """Return an executor that is ready; a fresh one where the last one broke.

        Raises BrokenExecutor where there is no fresh one.
        """

    def at_once(self) -> int:
        """Return how many pieces to hand over before the first is done."""


def spread(
    work: Callable[[Piece], Done], take: Callable[[], Piece | None], workers: Workers
) -> Iterator[tuple[Piece, Done | Lost]]:
    """Yield each piece with its result, as they are done.

    ``take`` gives the next piece, or None while there is none; it is asked again after each
    result, as a result can bring new pieces.  What ``work`` raises is raised here.
    """
    suspects: deque[tuple[Piece, int]] = deque()
    while True:
        with workers.opened() as executor:
            broken = yield from _while_whole(work, take, workers, executor, suspects)
        if not broken:
            return


def _while_whole(
    work: Callable[[Piece], Done],
    take: Callable[[], Piece | None],
    workers: Workers,
    executor: Executor,
    suspects: deque[tuple[Piece, int]],
) -> Generator[tuple[Piece, Done | Lost], None, bool]:
    """Work until nothing is left, or until the executor is broken: then return True.

    ``suspects`` are pieces with the number of workers that each lost alone.
    """
    under_way: dict[Future[Done], tuple[Piece, int]] = {}
    whole, alone, begun = True, False, 0
    while True:
        while whole and not alone:
            if suspects:
                if under_way:
                    break
                piece, losses = suspects.popleft()
                alone = True
            else:
                taken = take() if len(under_way) < workers.at_once() else None
                if taken is None:
                    break
                piece, losses = taken, 0
            try:
                under_way[executor.submit(work, piece)] = (piece, losses)
                begun += 1
            except BrokenExecutor:
                if not begun:
                    raise
                suspects.append((piece, losses))
                whole = False
        if not under_way:
            return not whole
        finished = wait(under_way, return_when=FIRST_COMPLETED).done
        for future in [one for one in under_way if one in finished]:
            piece, losses = under_way.pop(future)
            try:
                result = future.result()
            except _signs_of_loss() as error:
                whole = whole and not isinstance(error, BrokenExecutor)
                losses += alone
                if losses < ALONE:
                    suspects.append((piece, losses))
                else:
                    yield piece, Lost()
            else:
                yield piece, result
        alone = alone and bool(under_way)


def _signs_of_loss() -> tuple[type[BaseException], ...]:
    """Return what an executor raises when a worker is lost.

    Dask's says so in its own way, after trying on a few workers; it can have said so only
    where it is loaded.
    """
    scheduler = sys.modules.get("distributed.scheduler")
    return (BrokenExecutor,) if scheduler is None else (BrokenExecutor, scheduler.KilledWorker)
