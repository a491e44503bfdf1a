"""What a worker may take: memory, files, threads; so that no photo harms the shop's computer."""

from __future__ import annotations

import contextlib
import os

from fitup.matrix_threads import MATRIX_THREADS

__all__ = ["limit_worker", "one_thread"]

_LARGEST_FILE_BYTES = 4_000_000_000
_THREAD_SETTINGS = (MATRIX_THREADS, "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")


def limit_worker(memory_bytes: int) -> None:
    """Bound this process for good: its address space, files it writes, no memory left behind when it dies."""
    try:
        import resource
    except ImportError:  # a system without such limits: the time limit holds all the same
        return
    for what, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_FSIZE, _LARGEST_FILE_BYTES),
        (resource.RLIMIT_CORE, 0),
    ):
        with contextlib.suppress(ValueError, OSError):  # the system's own limit is lower
            resource.setrlimit(what, (most, most))


def one_thread() -> None:
    """One thread for each library of this process: the other cores have workers of their own."""
    for name in _THREAD_SETTINGS:
        os.environ[name] = "1"
    import cv2

    cv2.setNumThreads(1)
