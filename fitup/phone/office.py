"""What is made of archived results when somebody asks, by one worker of its own, and kept once made."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.worker import Worker

__all__ = ["Office"]

_LIMIT_S = 180.0


class Office:
    """One worker beside those that measure: pictures, reports and bags wait for each other."""

    def __init__(self, settings: PhoneSettings) -> None:
        """Start nothing yet."""
        self._worker = Worker(settings.worker_bytes_max)
        self._lock = threading.Lock()
        self.folder = settings.state_folder / "made"

    def made(self, name: str, function: Callable[..., None], *arguments: Any) -> Path:
        """The file of this name, written by `function(told, *arguments, out)` where it is not there yet.

        `name` tells all that the file depends on. Raises as `Worker.call`.
        """
        out = self.folder / name
        if out.is_file():
            return out
        out.parent.mkdir(parents=True, exist_ok=True)
        with self._lock:
            if not out.is_file():
                self._worker.call(function, *arguments, out, limit_s=_LIMIT_S)
        return out

    def check(self, function: Callable[..., None], *arguments: Any) -> None:
        """Call a function that makes nothing; raises as `Worker.call`."""
        with self._lock:
            self._worker.call(function, *arguments, limit_s=_LIMIT_S)

    def stop(self) -> None:
        """End the worker."""
        self._worker.end()
        with self._lock:
            self._worker.stop()
