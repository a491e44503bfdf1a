"""Connections that say nothing, or spell a request out slowly, are closed: they would keep phones out."""

from __future__ import annotations

import asyncio
from typing import ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["PatientProtocol"]


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with a limit on the time that a request's head may take.

    Bodies have limits of their own, at the gate; between requests uvicorn's keep-alive time holds.
    """

    head_s_max: ClassVar[float] = 20.0
    _due: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        super().connection_lost(exc)
        self._unwatch()

    def data_received(self, data: bytes) -> None:
        """Hear a part; a head that is whole ends the waiting."""
        super().data_received(data)
        if self.cycle is None or self.cycle.response_complete:
            self._watch()
        else:
            self._unwatch()

    def _watch(self) -> None:
        if self._due is None:
            self._due = self.loop.call_later(self.head_s_max, self.transport.close)

    def _unwatch(self) -> None:
        if self._due is not None:
            self._due.cancel()
            self._due = None
