"""Work on a real Dask scheduler with two workers, one of which is killed on the way."""

from __future__ import annotations

import os
import signal
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fitup import cluster as cluster_module
from fitup.cluster import each_on_cluster
from fitup.errors import StorageError, UsageError
from fitup.evidence import Filing, build_record
from fitup.evidence.archive.archive import Archive, Stored, open_archive
from fitup.evidence.archive.finding import Query
from fitup.remeasuring import Remeasured, remeasure
from tests.conftest import Drawn
from tests.dask_cluster import dask_cluster
from tests.dying_work import ALWAYS, dying
from tests.test_remeasuring import inspection_draft

ENTRIES = 16


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory, drawn: Callable[[str], Drawn]) -> Archive:
    scene = drawn("opening")
    photo = scene.path.read_bytes()
    archive = open_archive(str(tmp_path_factory.mktemp("many") / "a"), create=True)
    for number in range(ENTRIES):
        record = build_record(scene.inspection, Filing(joint=f"J{number}"))
        archive.add([inspection_draft(record, photo, f"J{number}")])
    return archive


def pids(address: str) -> dict[str, int]:
    """Process of every worker, by its address."""
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
        return dict(client.run(os.getpid))


def busy(address: str) -> list[str]:
    """Workers that work on something now."""
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        return [worker for worker, tasks in client.processing().items() if tasks]


def test_a_worker_killed_on_the_way_loses_nothing(archive: Archive, tmp_path: Path) -> None:
    found: list[Stored] = archive.search(Query())
    yielded: Counter[int] = Counter()

    def counted(work: Any, tasks: Any) -> Any:
        for index, result in each_on_cluster(work, tasks, running.address, 0):
            yielded[index] += 1
            yield index, result

    killed: list[int] = []

    def kill_one(done: int) -> None:
        if done == 3:
            worker = busy(running.address)[0]
            killed.append(processes[worker])
            os.kill(processes[worker], signal.SIGKILL)

    with dask_cluster(tmp_path, workers=2) as running:
        processes = pids(running.address)
        assert set(processes.values()) == {process.pid for process in running.workers}
        measured: list[Remeasured] = remeasure(archive, found, counted, kill_one)
        dead = [process for process in running.workers if process.poll() == -signal.SIGKILL]
        assert [process.pid for process in dead] == killed
    assert yielded == dict.fromkeys(range(ENTRIES), 1)
    assert [one.stored for one in measured] == found
    assert {one.again.result for one in measured} == {"same"}


def test_what_kills_every_worker_is_told_in_its_place(tmp_path: Path) -> None:
    """A local cluster starts its workers again; what kills them each time is given up."""
    words = ["a", ALWAYS, "fails", "b"]
    results = dict(each_on_cluster(dying, [(str(tmp_path), word) for word in words], "local", 1))
    assert (results[0], results[3]) == ("a", "b")
    assert isinstance(results[1], StorageError)
    assert "died each time" in str(results[1])
    assert isinstance(results[2], ValueError)


def test_a_cluster_without_workers_left_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "_PATIENCE_S", 1)
    monkeypatch.setattr(cluster_module, "_STARTING_S", 1)
    with dask_cluster(tmp_path, workers=1) as running:
        tasks = [(str(tmp_path), word) for word in ("a", ALWAYS, "b")]
        results = dict(each_on_cluster(dying, tasks, running.address, 0))
        assert sorted(results) == [0, 1, 2]
        assert isinstance(results[1], StorageError)
        with pytest.raises(UsageError, match="has no worker"):
            list(each_on_cluster(dying, tasks, running.address, 0))


def test_a_lost_scheduler_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "_PATIENCE_S", 1)
    monkeypatch.setattr(cluster_module, "_STARTING_S", 1)
    with dask_cluster(tmp_path, workers=1) as running:
        each = each_on_cluster(dying, [(str(tmp_path), str(k)) for k in range(2000)], running.address, 0)
        first = next(each)
        running.scheduler.kill()
        results = dict([first, *each])
    assert sorted(results) == list(range(2000))
    lost = [result for result in results.values() if isinstance(result, Exception)]
    assert lost
    assert {str(error).split(":")[0] for error in lost} == {"the cluster was lost before it was done"}


@pytest.mark.parametrize(
    "address", ["127.0.0.1:8786", "http://127.0.0.1:80", "tcp://", "tcp://[", "tcp://here", ""]
)
def test_addresses_that_are_none(address: str) -> None:
    with pytest.raises(UsageError, match="tcp://HOST:PORT"):
        list(each_on_cluster(dying, [], address, 1))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "tcp://127.0.0.1:99999"])
def test_nobody_there(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "_PATIENCE_S", 1)
    with pytest.raises(UsageError, match="no Dask scheduler answers"):
        list(each_on_cluster(dying, [], address, 1))


def test_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"install fitup\[cluster\]"):
        list(each_on_cluster(dying, [], "local", 1))
