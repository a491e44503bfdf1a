"""The same work on many things, on a Dask cluster: one of this computer's processes, or one by address.

A worker that dies is no loss: its work goes to another one.
"""

from __future__ import annotations

import contextlib
import logging
import re
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import CancelledError
from typing import Any, TypeVar

from fitup.errors import StorageError, UsageError
from fitup.worker_processes import worker_died

__all__ = ["LOCAL_CLUSTER", "each_on_cluster"]

T = TypeVar("T")
R = TypeVar("R")

LOCAL_CLUSTER = "local"
"""As an address: a cluster of this computer's processes, for this work alone."""

_PATIENCE_S = 10
_STARTING_S = 30  # a worker that died is started anew, which takes long on a busy machine
_LOST = "the cluster was lost before it was done: look at its scheduler and workers, and measure it again."
_LOOK_S = 0.02
_ADDRESS = re.compile(r"(tcp|tls)://[^\s/]+:\d{1,5}")


def each_on_cluster(
    work: Callable[[T], R], tasks: Sequence[T], address: str, workers: int
) -> Iterator[tuple[int, R | Exception]]:
    """Give (index, result) of `work` for every task, each exactly once, as they are done.

    An error takes the result's place. What a worker died of too often is tried once more when all else is
    done, alone: the library blames all that lay in that worker's queue. `workers` is the size of a local
    cluster; one by address has its own.

    Raises
    ------
    UsageError
        When Dask is not installed, or there is no cluster with workers at the address.
    """
    if address != LOCAL_CLUSTER and _ADDRESS.fullmatch(address) is None:
        raise UsageError("--cluster must be tcp://HOST:PORT of a Dask scheduler, or local.")
    try:
        import distributed
    except ImportError:
        raise UsageError(
            "a cluster needs the library Dask: install fitup[cluster], or leave --cluster out."
        ) from None
    # Lost workers are made up for; what the library tells of them would stand between our lines.
    logging.getLogger("distributed").setLevel(logging.CRITICAL + 1)
    with contextlib.ExitStack() as stack:
        client = _client(distributed, stack, address, workers)
        suspects = yield from _each(distributed, client, work, dict(enumerate(tasks)))
        for index in suspects:
            if (yield from _each(distributed, client, work, {index: tasks[index]})):
                yield index, worker_died()


def _each(
    distributed: Any, client: Any, work: Callable[[T], R], tasks: dict[int, T]
) -> Generator[tuple[int, R | Exception], None, list[int]]:
    """As above; give the indices of those that workers died of, or of others that lay in the same queue."""
    futures = client.map(work, list(tasks.values()), pure=False)
    left = dict(zip((future.key for future in futures), tasks, strict=True))
    suspects = []
    for future in _as_completed(distributed, client, futures):
        index, result = left.pop(future.key), _result(client, future)
        if type(result).__name__ == "KilledWorker":
            suspects.append(index)
        else:
            yield index, result
        future.release()
    for index in left.values():
        yield index, StorageError(_LOST)
    return suspects


def _client(distributed: Any, stack: contextlib.ExitStack, address: str, workers: int) -> Any:
    if address == LOCAL_CLUSTER:
        cluster = distributed.LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            silence_logs=logging.CRITICAL,
        )
        return stack.enter_context(distributed.Client(stack.enter_context(cluster), set_as_default=False))
    try:
        client = distributed.Client(address, timeout=_PATIENCE_S, set_as_default=False)
    except TypeError:
        raise UsageError(
            f"{address} needs certificates: name them in Dask's own configuration (distributed.comm.tls)."
        ) from None
    except (OSError, TimeoutError, ValueError, OverflowError):
        raise UsageError(
            f"no Dask scheduler answers at {address}: start one, or look at the address."
        ) from None
    stack.enter_context(client)
    try:
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    except (OSError, TimeoutError):
        raise UsageError(f"the Dask scheduler at {address} has no worker: start some beside it.") from None
    return client


def _as_completed(distributed: Any, client: Any, futures: Sequence[Any]) -> Iterator[Any]:
    """Futures as they are done; ends before that where nothing comes any more and no worker is left."""
    waiting = distributed.as_completed(futures, loop=client.loop)
    seen = time.monotonic()
    while not waiting.is_empty():
        batch = waiting.next_batch(block=False)
        yield from batch
        if batch:
            seen = time.monotonic()
            continue
        time.sleep(_LOOK_S)
        if time.monotonic() - seen > _STARTING_S:
            if not _has_workers(client):
                return
            seen = time.monotonic()


def _has_workers(client: Any) -> bool:
    try:
        return bool(client.nthreads())
    except Exception:  # whatever a lost connection raises
        return False


def _result(client: Any, future: Any) -> Any:
    """What came of it, or the error.

    A result that was lost with its worker is worked out anew while it is fetched, if there are workers.
    """
    while True:
        try:
            error = future.exception(_STARTING_S)
            if error is None:
                return future.result(_STARTING_S)
            return error
        except TimeoutError:
            if not _has_workers(client):
                return StorageError(_LOST)
        except (OSError, CancelledError):  # of the connection: the work's own errors are `error`
            return StorageError(_LOST)
