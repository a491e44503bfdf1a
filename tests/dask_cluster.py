"""A real Dask scheduler and workers, as programs of their own on this computer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from distributed import Client

from fitup.matrix_threads import MATRIX_THREADS

ROOT = Path(__file__).parents[1]
_PATIENCE_S = 60


@dataclass(frozen=True, kw_only=True)
class DaskCluster:
    """Programs of a cluster: none of them is started again when it is killed."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: tuple[subprocess.Popen[bytes], ...]


@contextmanager
def dask_cluster(folder: Path, workers: int) -> Iterator[DaskCluster]:
    """Start a scheduler with workers of one thread each, all of them there; end them all afterwards."""
    file = folder / "scheduler.json"
    started = [_start("scheduler", folder, "--host", "127.0.0.1", "--port", "0", "--scheduler-file", file)]
    try:
        address = _address(file)
        arguments = ("--nthreads", "1", "--no-nanny", "--local-directory", folder)
        started += [_start("worker", folder, address, *arguments) for _ in range(workers)]
        with Client(address, timeout=_PATIENCE_S, set_as_default=False) as client:
            client.wait_for_workers(workers, timeout=_PATIENCE_S)
        yield DaskCluster(address=address, scheduler=started[0], workers=tuple(started[1:]))
    finally:
        for process in reversed(started):
            process.kill()
            process.wait()


def _start(kind: str, folder: Path, *arguments: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", "--no-dashboard"]
    one_thread = dict.fromkeys((MATRIX_THREADS, "OMP_NUM_THREADS"), "1")  # what a nanny would see to
    with (folder / f"{kind}.log").open("ab") as log:
        return subprocess.Popen(
            [*command, *map(str, arguments)], cwd=ROOT, stdout=log, stderr=log, env=os.environ | one_thread
        )


def _address(file: Path) -> str:
    """Where the scheduler is, once it has said so."""
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        try:
            return str(json.loads(file.read_text())["address"])
        except (OSError, ValueError):
            time.sleep(0.05)
    raise TimeoutError("the scheduler did not start")
