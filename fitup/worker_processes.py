"""The same work on many things, in processes of this computer: a process that dies takes nothing with it."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, ProcessPoolExecutor, wait
from typing import TypeVar

from fitup.errors import StorageError
from fitup.matrix_threads import one_matrix_thread

__all__ = ["each_in_processes", "worker_died"]

T = TypeVar("T")
R = TypeVar("R")


def each_in_processes(
    work: Callable[[T], R], tasks: Sequence[T], workers: int
) -> Iterator[tuple[int, R | Exception]]:
    """Give (index, result) of `work` for every task, each exactly once, as they are done.

    An error takes the result's place. Where a process dies, whatever was being done in that moment is done
    again, one at a time: what kills its process once more is told of and given up.
    """
    left = dict(enumerate(tasks))
    while left:
        suspects = yield from _until_one_dies(work, left, workers)
        for index in suspects:
            alone = {index: left.pop(index)}
            if (yield from _until_one_dies(work, alone, 1)):
                yield index, worker_died()


def worker_died() -> Exception:
    """What is told of a task whose process died each time it was tried."""
    return StorageError(
        "the process that worked on it died each time: give it more memory, with fewer --workers."
    )


def _until_one_dies(
    work: Callable[[T], R], left: dict[int, T], workers: int
) -> Generator[tuple[int, R | Exception], None, list[int]]:
    """Take what is done out of `left`; give the indices that were being worked on when a process died."""
    context = multiprocessing.get_context("spawn")  # a fork would copy locks that threads of ours hold
    running: dict[Future[R], int] = {}
    waiting = iter(list(left))
    pool = ProcessPoolExecutor(min(workers, len(left)), mp_context=context, initializer=one_matrix_thread)
    with pool:
        try:
            while True:
                # No more than are worked on: so it is known which were, when one dies.
                while len(running) < workers and (index := next(waiting, None)) is not None:
                    running[pool.submit(work, left[index])] = index
                if not running:
                    return []
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    error = future.exception()
                    if isinstance(error, BrokenExecutor):
                        continue
                    index = running.pop(future)
                    del left[index]
                    yield index, future.result() if error is None else _as_exception(error)
                if any(future in running for future in done):
                    return list(running.values())
        except BrokenExecutor:  # the pool broke between two submissions
            return list(running.values())
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _as_exception(error: BaseException) -> Exception:
    return error if isinstance(error, Exception) else RuntimeError(str(error))
