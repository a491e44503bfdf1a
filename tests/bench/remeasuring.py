"""The benchmark's figures of measuring archived photos again: two workers against one."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from fitup.cluster import each_on_cluster
from fitup.evidence import Filing, build_record, record_to_json
from fitup.evidence.archive.archive import Archive, Stored, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About
from fitup.evidence.archive.finding import Query
from fitup.inspection import inspect
from fitup.remeasuring import Each, remeasure
from tests.bench.accuracy import settings_of
from tests.bench.truth import Truth
from tests.dask_cluster import dask_cluster

__all__ = ["remeasuring_figures"]

ENTRIES = 48  # so many that the last one, which has no other beside it, counts for little
PHOTOS = 6
RUNS = 5
HASHES = 120  # about as long as a photo takes


def remeasuring_figures(folder: Path, truths: list[Truth]) -> dict[str, Any]:
    """The same entries on one worker and on two, which run already; runs interleaved, least times.

    Dask's workers, since its scheduler keeps them: so starting Python is in neither time. Each has one thread
    of the numeric libraries, the single one too. Plain hashing on the same workers tells what this machine
    gives two programs at once.
    """
    archive = _archive(folder / "archive", truths)
    found = archive.search(Query())
    measuring: dict[int, list[float]] = {1: [], 2: []}
    hashing: dict[int, list[float]] = {1: [], 2: []}
    for count in measuring:
        (folder / str(count)).mkdir()
    with dask_cluster(folder / "1", workers=1) as one, dask_cluster(folder / "2", workers=2) as two:
        for run in range(RUNS + 1):
            for count, cluster in ((1, one), (2, two)):
                each = partial(each_on_cluster, address=cluster.address, workers=0)
                taken = _seconds(partial(_remeasured, archive, found, each))
                plain = _seconds(lambda each=each: list(each(hashed, [HASHES] * ENTRIES)))
                if run:  # the first one is for loading
                    measuring[count].append(taken)
                    hashing[count].append(plain)
    return {
        "remeasure_speedup_2": min(measuring[1]) / min(measuring[2]),
        "hashing_speedup_2": min(hashing[1]) / min(hashing[2]),
        "remeasured_per_s": {str(count): ENTRIES / min(taken) for count, taken in measuring.items()},
    }


def hashed(times: int) -> str:
    """Work that needs nothing but a core."""
    content = bytes(1_000_000)
    for _ in range(times):
        digest = hashlib.sha256(content).hexdigest()
    return digest


def _archive(place: Path, truths: list[Truth]) -> Archive:
    """Demo photos, each filed as several joints."""
    archive = open_archive(str(place), create=True)
    fit = [truth for truth in truths if truth.data.get("expected_verdict") != "retake"][:PHOTOS]
    inspected = [(truth, inspect(truth.photo, settings_of(truth))) for truth in fit]
    for number in range(ENTRIES):
        truth, inspection = inspected[number % len(fit)]
        record = build_record(inspection, Filing(joint=f"J{number}"))
        files = (
            DraftFile.of("record", "record.json", record_to_json(record).encode()),
            DraftFile.of("photo", truth.photo.name, truth.photo.read_bytes()),
        )
        about = About(job="RT-40", joint=f"J{number}", day="2026-11-25", verdict=record.verdict.word)
        archive.add([Draft(kind="inspection", about=about, files=files)])
    return archive


def _remeasured(archive: Archive, found: list[Stored], each: Each) -> None:
    measured = remeasure(archive, found, each)
    wrong = [one.again for one in measured if one.again.result != "same"]
    assert not wrong, wrong[:2]


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
