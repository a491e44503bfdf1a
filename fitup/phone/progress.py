"""Who waits for news of a shot hears of it at once: threads tell, requests wait without holding a thread."""

from __future__ import annotations

import asyncio
import contextlib

__all__ = ["Progress"]


class Progress:
    """News of shots by their id. Made, and waited on, in the server's event loop; `tell` from any thread."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._waiting: dict[str, set[asyncio.Event]] = {}

    def tell(self, shot_id: str) -> None:
        """Wake everybody who waits for news of this shot."""
        with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits any more
            self._loop.call_soon_threadsafe(self._wake, shot_id)

    def listen(self, shot_id: str) -> asyncio.Event:
        """An event that is set with the next news; to be given back to `forget`."""
        event = asyncio.Event()
        self._waiting.setdefault(shot_id, set()).add(event)
        return event

    def forget(self, shot_id: str, event: asyncio.Event) -> None:
        """Hear no more."""
        listeners = self._waiting.get(shot_id, set())
        listeners.discard(event)
        if not listeners:
            self._waiting.pop(shot_id, None)

    async def wait(self, event: asyncio.Event, seconds: float) -> None:
        """Wait for news, at most so long."""
        with contextlib.suppress(asyncio.TimeoutError):
            await asyncio.wait_for(event.wait(), seconds)

    def _wake(self, shot_id: str) -> None:
        for event in self._waiting.get(shot_id, ()):
            event.set()
