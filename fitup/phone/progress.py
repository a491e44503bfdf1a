"""Who waits for news of a shot hears of it at once: threads tell, requests wait without holding a thread."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator

__all__ = ["Progress"]


class Progress:
    """News of shots by their id."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: dict[str, set[tuple[asyncio.AbstractEventLoop, asyncio.Event]]] = {}

    def tell(self, shot_id: str) -> None:
        """Wake everybody who waits for news of this shot; from any thread."""
        with self._lock:
            waiting = list(self._waiting.get(shot_id, ()))
        for loop, event in waiting:
            with contextlib.suppress(RuntimeError):  # the loop has ended: nobody waits any more
                loop.call_soon_threadsafe(event.set)

    @contextlib.contextmanager
    def news(self, shot_id: str) -> Iterator[asyncio.Event]:
        """An event that is set with the next news."""
        one = (asyncio.get_running_loop(), asyncio.Event())
        with self._lock:
            self._waiting.setdefault(shot_id, set()).add(one)
        try:
            yield one[1]
        finally:
            with self._lock:
                self._waiting[shot_id].discard(one)
                if not self._waiting[shot_id]:
                    del self._waiting[shot_id]
