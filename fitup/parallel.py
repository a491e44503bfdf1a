"""The same work on many photos, on all cores: results are those of one after the other.

Each photo goes to a process of its own, since one that brings its process down must not take the others with
it. Processes are started afresh (not forked): threads of the picture libraries do not survive a fork.
"""

from __future__ import annotations

import os
import signal
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import get_context
from typing import TypeVar

from fitup.matrix_threads import one_matrix_thread

__all__ = ["each_photo", "usual_workers"]

T = TypeVar("T")


def usual_workers(photos: int) -> int:
    """One process a core that this program may use, and no more than there are photos."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(cores, photos))


def each_photo(
    work: Callable[[str], T], paths: Sequence[str], workers: int
) -> Iterator[tuple[int, T | Exception]]:
    """Give (index, result) of `work` for every path, as they are done; an error takes the result's place.

    `work` must be a function of a module or a `functools.partial` of one. With one worker all is done in this
    process, in order.
    """
    if workers <= 1 or len(paths) <= 1:
        for index, path in enumerate(paths):
            yield index, _tried(work, path)
        return
    lost: list[int] = []
    with _pool(workers) as pool:
        waiting: dict[Future[T], int] = {pool.submit(work, path): k for k, path in enumerate(paths)}
        try:
            for done in as_completed(waiting):
                try:
                    yield waiting[done], done.result()
                except BrokenProcessPool:
                    lost.append(waiting[done])
                except Exception as error:
                    yield waiting[done], error
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    # One photo broke its process and all that waited went with it: each of them alone.
    for index in sorted(lost):
        yield index, _tried(partial(_alone, work), paths[index])


def _alone(work: Callable[[str], T], path: str) -> T:
    with _pool(1) as pool:
        return pool.submit(work, path).result()


def _tried(work: Callable[[str], T], path: str) -> T | Exception:
    try:
        return work(path)
    except Exception as error:
        return error


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(workers,)
    )


def _begin(workers: int) -> None:
    """Quiet, deaf to Ctrl-C (the parent ends all), and one thread a process where all cores have one."""
    one_matrix_thread()
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")
    if workers > 1:
        cv2.setNumThreads(1)
