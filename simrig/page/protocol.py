"""The server's side of a connection: how many there may be, and how long one may say nothing."""

from __future__ import annotations

import asyncio
from typing import Any, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_CONNECTIONS: Final = 256
FIRST_REQUEST_SECONDS: Final = 10.0


class GuardedProtocol(H11Protocol):
    """HTTP over one connection, closed when no whole request head comes in time.

    Beyond the most connections a newcomer is closed at once, so that those who
    are in stay in.
    """

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Take a connection, or close it where there are too many."""
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            transport.close()
            return
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take bytes; once a request has begun, its own limits hold."""
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before and self._late is not None:
            self._late.cancel()
            self._late = None
        elif self._late is None and (self.cycle is None or self.cycle.response_complete):
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        if self._late is not None:
            self._late.cancel()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._late = self.loop.call_later(FIRST_REQUEST_SECONDS, self._too_late)

    def _too_late(self) -> None:
        self._late = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()
