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
from typing import Final, Generic, Protocol, TypeVar

import attrs

ALONE: Final = 2
"""So many workers may a piece of work lose while no other is under way."""

Piece = TypeVar("Piece")
Done = TypeVar("Done")


@attrs.frozen
class Lost:
    """What stands for the result of a piece of work that loses its worker each time."""


@attrs.frozen
class _Suspect(Generic[Piece]):
    """A piece under way when a worker was lost: how often, and how often of these alone."""

    piece: Piece
    tries: int = 0
    losses: int = 0


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
    suspects: deque[_Suspect[Piece]] = deque()
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
    suspects: deque[_Suspect[Piece]],
) -> Generator[tuple[Piece, Done | Lost], None, bool]:
    """Work until nothing is left, or until the executor is broken: then return True."""
    under_way: dict[Future[Done], _Suspect[Piece]] = {}
    whole, alone, begun = True, False, 0
    while True:
        while whole and not alone:
            if suspects:
                if under_way:
                    break
                one = suspects.popleft()
                alone = True
            else:
                piece = take() if len(under_way) < workers.at_once() else None
                if piece is None:
                    break
                one = _Suspect(piece)
            try:
                under_way[executor.submit(_try, work, one.piece, one.tries)] = one
                begun += 1
            except BrokenExecutor:
                if not begun:
                    raise
                suspects.append(one)
                whole = False
        if not under_way:
            return not whole
        finished = wait(under_way, return_when=FIRST_COMPLETED).done
        for future in [one for one in under_way if one in finished]:
            one = under_way.pop(future)
            try:
                result = future.result()
            except _signs_of_loss() as error:
                whole = whole and not isinstance(error, BrokenExecutor)
                one = _Suspect(one.piece, one.tries + 1, one.losses + alone)
                if one.losses < ALONE:
                    suspects.append(one)
                else:
                    yield one.piece, Lost()
            else:
                yield one.piece, result
        alone = alone and bool(under_way)


def _try(work: Callable[[Piece], Done], piece: Piece, tries: int) -> Done:
    """Do a piece of work; by ``tries`` an executor that remembers calls tells them apart."""
    return work(piece)


def _signs_of_loss() -> tuple[type[BaseException], ...]:
    """Return what an executor raises when a worker is lost.

    Dask's says so in its own way, after trying on a few workers; it can have said so only
    where it is loaded.
    """
    scheduler = sys.modules.get("distributed.scheduler")
    return (BrokenExecutor,) if scheduler is None else (BrokenExecutor, scheduler.KilledWorker)
