"""The same work on many things, on a Dask cluster: one of this computer's processes, or one by address.

A worker that dies is no loss: its work goes to another one.
"""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

from fitup.errors import StorageError, UsageError
from fitup.worker_processes import worker_died

__all__ = ["LOCAL_CLUSTER", "each_on_cluster"]

T = TypeVar("T")
R = TypeVar("R")

LOCAL_CLUSTER = "local"
"""As an address: a cluster of this computer's processes, for this work alone."""

_PATIENCE_S = 10
_LOST = "the cluster was lost before it was done: look at its scheduler and workers, and measure it again."
_LOOK_S = 0.02
_SCHEMES = ("tcp://", "tls://")


def each_on_cluster(
    work: Callable[[T], R], tasks: Sequence[T], address: str, workers: int
) -> Iterator[tuple[int, R | Exception]]:
    """Give (index, result) of `work` for every task, each exactly once, as they are done.

    An error takes the result's place. `workers` is the size of a local cluster; one by address has its own.

    Raises
    ------
    UsageError
        When Dask is not installed, or there is no cluster with workers at the address.
    """
    if address != LOCAL_CLUSTER and not address.startswith(_SCHEMES):
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
        futures = client.map(work, tasks, pure=False)
        left = {future.key: index for index, future in enumerate(futures)}
        for future in _as_completed(distributed, client, futures):
            yield left.pop(future.key), _result(future)
            future.release()
        for index in left.values():
            yield index, StorageError(_LOST)


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
    except (OSError, TimeoutError, ValueError):
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
        if time.monotonic() - seen > _PATIENCE_S:
            if not _has_workers(client):
                return
            seen = time.monotonic()


def _has_workers(client: Any) -> bool:
    try:
        return bool(client.nthreads())
    except Exception:  # whatever a lost connection raises
        return False


def _result(future: Any) -> Any:
    """What came of it, or the error."""
    if future.status == "cancelled":
        return StorageError(_LOST)
    error = future.exception()
    if error is None:
        return future.result()
    return worker_died() if type(error).__name__ == "KilledWorker" else error
