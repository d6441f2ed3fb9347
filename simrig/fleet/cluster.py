"""The workers of a running cluster: Dask's scheduler, by its address.

``distributed`` (extra ``[cluster]``) is imported here only, and only when it is asked for.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator
from concurrent.futures import CancelledError, Executor
from contextlib import contextmanager
from importlib import import_module
from typing import Any, Final

import attrs

from simrig.errors import InputError, Problem
from simrig.fleet.work import warm
from simrig.host.extra import need

SECONDS: Final = 10
"""How long to wait for the scheduler to answer."""


@attrs.define
class Cluster:
    """The workers of the scheduler at an address such as ``tcp://host:8786``."""

    address: str
    _client: Any = attrs.field(default=None, init=False, repr=False)

    @contextmanager
    def opened(self) -> Iterator[Executor]:
        """Return an executor of the cluster.

        Raises InputError where the extra is missing, nobody answers, there is no worker or no
        simrig, or the scheduler goes away.
        """
        need("--cluster", "distributed", extra="cluster")
        distributed: Any = import_module("distributed")
        # What it has to say is told in our words; it would print its inner workings.
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        try:
            client = distributed.Client(self.address, timeout=SECONDS, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            words = " ".join(str(error).split()) or type(error).__name__
            message = f"no scheduler answers ({words}); start one, or mend the address"
            raise self._problem(message) from None
        with client:
            self._client = client
            self._greet()
            try:
                yield client.get_executor(pure=False)
            except CancelledError:
                message = "the scheduler is gone; with --keep the same command goes on from here"
                raise self._problem(message) from None

    def at_once(self) -> int:
        """Two for each thread of its workers, so that none waits; the cluster can grow."""
        threads: int = sum(self._client.nthreads().values())
        return 2 * max(1, threads)

    def _greet(self) -> None:
        """Have every worker that is there import what it will need."""
        if not self._client.nthreads():
            message = f"it has no worker; start some: dask worker {self.address} --nthreads 1"
            raise self._problem(message)
        try:
            self._client.run(warm)
            # What is submitted is read by the scheduler too.
            self._client.submit(warm, pure=False).result()
        except Exception as error:
            words = " ".join(str(error).split())
            message = f"it cannot do the work ({words}); install this simrig where it runs"
            raise self._problem(message) from None

    def _problem(self, message: str) -> InputError:
        where = f"--cluster {self.address}"
        return InputError([Problem(file="command line", where=where, message=message)])
