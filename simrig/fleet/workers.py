"""Who does the work: this process, processes of our own, or an executor that somebody hands over."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import Connection, wait
from typing import Any, Final

import attrs

MOST_IN_ADVANCE: Final = 512


class Immediate(Executor):
    """An executor that does each piece in this process, at once."""

    def submit(self, work: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Do it, and return its result as a future."""
        future: Future[Any] = Future()
        try:
            future.set_result(work(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@attrs.frozen
class Here:
    """This process."""

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        """Return an executor that does each piece at once."""
        yield Immediate()

    def at_once(self) -> int:
        """One: the next is begun when it is done."""
        return 1


@attrs.frozen
class Processes:
    """So many processes of our own."""

    count: int

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        """Return a fresh pool; left by an error, its processes end at once."""
        # What is imported before the processes are made need not be imported by each of them.
        from simrig.fleet.work import warm

        warm()
        stopped, stop = multiprocessing.Pipe(duplex=False)
        with stopped, stop:
            pool = ProcessPoolExecutor(self.count, initializer=_begin, initargs=(stopped,))
            try:
                yield pool
            except BaseException:
                stop.send_bytes(b"stop")
                raise
            finally:
                pool.shutdown(cancel_futures=True)

    def at_once(self) -> int:
        """Two for each process, so that none waits."""
        return 2 * self.count


@attrs.define
class Given:
    """An executor that somebody hands over: any of :mod:`concurrent.futures`."""

    executor: Executor
    _used: bool = attrs.field(default=False, init=False)

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        """Return it; a second time it is broken, and only its owner can make another."""
        if self._used:
            raise BrokenExecutor("the executor lost a worker and takes no more work; make another")
        self._used = True
        yield self.executor

    def at_once(self) -> int:
        """As many as can be under way in any executor of today."""
        return MOST_IN_ADVANCE


def _begin(stopped: Connection) -> None:
    """Make a worker process ready: to end when it is told to, and with its parent."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    parent = multiprocessing.parent_process()
    ends = [stopped] if parent is None else [stopped, parent.sentinel]
    threading.Thread(target=_end_at, args=(ends,), daemon=True).start()
    from simrig.fleet.work import warm

    warm()


def _end_at(ends: list[Connection | int]) -> None:
    # A parent that is killed cannot tell its workers; they would wait for work for ever.  What it
    # sends is left in the pipe, for each of them to see.
    wait(ends)
    os._exit(1)
