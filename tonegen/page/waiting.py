"""Connections that have not asked anything yet, or not all of it: how long, and how many of them may wait.

This comes before anything that they say is looked at: who holds no link can open connections as well.
"""

import asyncio
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_CONNECTIONS: Final = 400  # of all kinds: 64 pages with their sound, and what they fetch
MOST_WAITING: Final = 100
HEAD_SECONDS: Final = 10.0
BODY_SECONDS: Final = 60.0  # a song of 20 MB over a poor network
_ALLOWED: Final[dict[type, float]] = {h11.IDLE: HEAD_SECONDS, h11.SEND_BODY: BODY_SECONDS}


class ImpatientProtocol(H11Protocol):
    """HTTP whose requests must come in time. Of too many that wait, the one with least time left goes."""

    _awaited: type | None = None  # the part of a request that is to come, as h11 names it
    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Take a connection; drop it where there are too many of all kinds."""
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            transport.abort()
            return
        self._await(h11.IDLE)
        waiting = [one for one in self.connections if isinstance(one, ImpatientProtocol) and one._timer]
        if len(waiting) > MOST_WAITING:
            min(waiting, key=ImpatientProtocol._until).drop()

    def data_received(self, data: bytes) -> None:
        """Take what comes, and see which part is to come now."""
        super().data_received(data)
        self._await(self._part_to_come())

    def on_response_complete(self) -> None:
        """Whoever was answered may ask again, and waits like everybody else."""
        super().on_response_complete()
        self._await(self._part_to_come())

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing more."""
        self._await(None)
        super().connection_lost(exc)

    def drop(self) -> None:
        """End it, with nothing said."""
        self._await(None)
        self.transport.abort()

    def _part_to_come(self) -> type | None:
        if self.transport.is_closing() or self.transport.get_protocol() is not self:  # a WebSocket's by now
            return None
        state = self.conn.their_state
        return state if state in _ALLOWED else None

    def _await(self, part: type | None) -> None:
        if part is self._awaited:
            return  # a byte now and then wins no time
        self._awaited = part
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self.loop.call_later(_ALLOWED[part], self.drop) if part else None

    def _until(self) -> float:
        return self._timer.when() if self._timer else 0.0
