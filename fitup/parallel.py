"""The same work on several photos at once, in threads: results are those of one after the other.

Decoders, picture library and large array operations let other threads work meanwhile: two threads take two
thirds of the time of one. Processes would take longer to start than the few photos of a joint take.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from typing import TypeVar

__all__ = ["each_photo", "usable_cores", "usual_workers"]

T = TypeVar("T")

MOST_WORKERS = 4  # more would mostly wait for the interpreter's lock (from memory)


def usual_workers(photos: int) -> int:
    """One thread a core that this program may use, few, and no more than there are photos."""
    return max(1, min(usable_cores(), photos, MOST_WORKERS))


def usable_cores() -> int:
    """Cores that this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def each_photo(
    work: Callable[[str], T], paths: Sequence[str], workers: int
) -> Iterator[tuple[int, T | Exception]]:
    """Give (index, result) of `work` for every path, as they are done; an error takes the result's place.

    With one worker they are done in order.
    """
    if workers <= 1 or len(paths) <= 1:
        for index, path in enumerate(paths):
            yield index, _tried(work, path)
        return
    with ThreadPoolExecutor(workers) as pool:
        waiting = {pool.submit(_tried, work, path): k for k, path in enumerate(paths)}
        try:
            for done in as_completed(waiting):
                yield waiting[done], done.result()
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _tried(work: Callable[[str], T], path: str) -> T | Exception:
    try:
        return work(path)
    except Exception as error:
        return error
