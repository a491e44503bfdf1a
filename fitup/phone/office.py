"""What is made of archived results when somebody asks, by one worker of its own, and kept once made."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fitup.errors import StorageError
from fitup.phone.housekeeping import tidy
from fitup.phone.office_work import warm_up
from fitup.phone.phone_settings import PhoneSettings
from fitup.phone.worker import Worker

__all__ = ["Office"]

_LIMIT_S = 180.0
_MOST_BYTES = 2_000_000_000
_TIDY_EVERY = 200


class Office:
    """One worker beside those that measure: pictures, reports and bags wait for each other."""

    def __init__(self, settings: PhoneSettings) -> None:
        """Start nothing yet."""
        self._worker = Worker(settings.worker_bytes_max, warm_up)
        self._made = 0
        self._lock = threading.Lock()
        self.folder = settings.state_folder / "made"

    def start(self) -> None:
        """Start the worker, so that nobody waits for it, and make room where much was kept."""
        tidy(self.folder, _MOST_BYTES)
        threading.Thread(target=self._start, name="fitup-office", daemon=True).start()

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
                self._made += 1
                if self._made % _TIDY_EVERY == 0:
                    tidy(self.folder, _MOST_BYTES)
        return out

    def check(self, function: Callable[..., None], *arguments: Any) -> None:
        """Call a function that makes nothing; raises as `Worker.call`."""
        with self._lock:
            self._worker.call(function, *arguments, limit_s=_LIMIT_S)

    def _start(self) -> None:
        with self._lock, contextlib.suppress(StorageError):
            self._worker.start()

    def stop(self) -> None:
        """End the worker."""
        self._worker.end()
        with self._lock:
            self._worker.stop()
