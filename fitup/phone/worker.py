"""One warm process that calls functions for the server: it may die or hang, and a new one takes its place.

A function gets `told` first, by which it says how far it is, then its arguments; all of them travel, so that
functions are named at a module's top.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from fitup.errors import FitupError, StorageError
from fitup.phone.worker_limits import limit_worker, one_thread

__all__ = ["Told", "Worker"]

Told = Callable[[Any], None]
_DONE, _RAISED, _TOLD, _READY = "done", "raised", "told", "ready"
_START_S = 60.0


def _hear_nothing(_: Any) -> None:
    """For callers who do not want to know how far it is."""


class Worker:
    """One process, started when first needed; to be used by one thread at a time."""

    def __init__(self, memory_bytes: int, warm: Callable[[], None] | None = None) -> None:
        """Start nothing yet; `warm` is called in the process when it starts, to load what it will need."""
        self._memory_bytes, self._warm = memory_bytes, warm
        self._process: Any = None
        self._line: Connection | None = None

    def start(self) -> None:
        """Start the process where none runs, and wait until it is warm; StorageError when it stays cold."""
        if self._process is not None and self._process.is_alive():
            return
        self.stop()
        context = multiprocessing.get_context("spawn")  # a fork would copy locks that threads of ours hold
        self._line, far = context.Pipe()
        self._process = context.Process(
            target=_serve, args=(far, self._memory_bytes, self._warm), name="fitup-worker", daemon=True
        )
        self._process.start()
        far.close()
        if self._hear(time.monotonic() + _START_S) != (_READY, None):
            self.stop()
            raise StorageError("no worker can be started: give the shop computer more memory.")

    @property
    def pid(self) -> int | None:
        """The process, where one runs."""
        return None if self._process is None else self._process.pid

    def call(
        self, function: Callable[..., Any], *arguments: Any, limit_s: float, told: Told = _hear_nothing
    ) -> Any:
        """What `function(told, *arguments)` gives, called in the process.

        Raises
        ------
        StorageError
            When the process died over it, or took longer than `limit_s`; it is ended then.
        FitupError
            Whatever the function raises of this family; any other error is told as a StorageError.
        """
        self.start()
        assert self._line is not None
        end = time.monotonic() + limit_s
        try:
            self._line.send((function, arguments))
        except OSError:
            self.stop()
            raise _died() from None
        while True:
            heard = self._hear(end)
            if heard is None:
                late = time.monotonic() >= end
                self.stop()
                raise _too_long(limit_s) if late else _died()
            kind, value = heard
            if kind == _TOLD:
                told(value)
            elif kind == _RAISED:
                raise value
            else:
                return value

    def end(self) -> None:
        """Kill the process from another thread; the one that waits for it then hears that it died."""
        process = self._process
        if process is not None:
            with contextlib.suppress(ValueError):  # let go of in this moment
                process.kill()

    def stop(self) -> None:
        """End the process, whatever it is doing, and let go of it."""
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
        self._process = self._line = None

    def _hear(self, end: float) -> tuple[str, Any] | None:
        """What the process says next; None where it is silent until `end`, or gone."""
        assert self._line is not None
        with contextlib.suppress(EOFError, OSError):
            if self._line.poll(max(0.0, end - time.monotonic())):
                heard: tuple[str, Any] = self._line.recv()
                return heard
        return None


def _died() -> StorageError:
    return StorageError(
        "the worker that had the photo ended over it, out of memory or broken: take the photo again."
    )


def _too_long(limit_s: float) -> StorageError:
    return StorageError(f"the work took longer than {limit_s:.0f} s and was ended: take the photo again.")


def _serve(line: Connection, memory_bytes: int, warm: Callable[[], None] | None) -> None:
    """The process: calls what it is sent, until its server has gone."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    one_thread()
    limit_worker(memory_bytes)
    _be_quiet()
    if warm is not None:
        warm()
    line.send((_READY, None))
    while True:
        try:
            function, arguments = line.recv()
        except (EOFError, OSError):
            return
        try:
            answer = (_DONE, function(lambda value: line.send((_TOLD, value)), *arguments))
        except FitupError as error:
            answer = (_RAISED, error)
        except MemoryError:
            answer = (_RAISED, _died())
        except Exception as error:
            answer = (
                _RAISED,
                StorageError(f"the program failed ({type(error).__name__}): please report this."),
            )
        line.send(answer)


def _end_with_parent() -> None:
    """No worker outlives its server, even one that was killed."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _be_quiet() -> None:
    """A library's warnings are for programmers; Ctrl-C at the terminal is the server's business."""
    import signal
    import warnings

    warnings.simplefilter("ignore")
    signal.signal(signal.SIGINT, signal.SIG_IGN)
