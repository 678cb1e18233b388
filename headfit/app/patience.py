"""Connections that say nothing, or half of something, are closed after a while."""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

SILENCE_S = 10.0


class PatientProtocol(H11Protocol):
    """The HTTP of uvicorn, which by itself waits for the head of a request for ever.

    Every request has `SILENCE_S` seconds from the first byte, or from the connection, for its head;
    the guard gives its body as long.
    """

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait."""
        super().connection_made(transport)
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Stop waiting when a whole head has come."""
        super().data_received(data)
        cycle: RequestResponseCycle | None = self.cycle
        if cycle is not None and not cycle.response_complete:
            self._stop_waiting()
        else:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing more to wait for."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self._waiting is None:
            self._waiting = self.loop.call_later(SILENCE_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _give_up(self) -> None:
        self._waiting = None
        if not self.transport.is_closing():
            self.transport.close()
