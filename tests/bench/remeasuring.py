"""The benchmark's figures of measuring archived photos again: two workers against one."""

from __future__ import annotations

import time
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

from fitup.cluster import each_on_cluster
from fitup.evidence import Filing, build_record, record_to_json
from fitup.evidence.archive.archive import Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About
from fitup.evidence.archive.finding import Query
from fitup.inspection import inspect
from fitup.remeasuring import remeasure
from tests.bench.accuracy import settings_of
from tests.bench.truth import Truth
from tests.dask_cluster import dask_cluster

__all__ = ["remeasuring_figures"]

ENTRIES = 24
PHOTOS = 6
RUNS = 5


def remeasuring_figures(folder: Path, truths: list[Truth]) -> dict[str, Any]:
    """The same entries on one worker and on two, which run already; runs interleaved, least times.

    Dask's workers, since its scheduler keeps them: so starting Python is in neither time.
    """
    archive = _archive(folder / "archive", truths)
    times: dict[int, list[float]] = {1: [], 2: []}
    places = {count: folder / f"workers-{count}" for count in times}
    for place in places.values():
        place.mkdir()
    with dask_cluster(places[1], workers=1) as one, dask_cluster(places[2], workers=2) as two:
        for run in range(RUNS + 1):
            for count, cluster in ((1, one), (2, two)):
                seconds = _seconds(archive, cluster.address)
                if run:  # the first one is for loading
                    times[count].append(seconds)
    return {
        "remeasure_speedup_2": min(times[1]) / min(times[2]),
        "remeasured_per_s": {str(count): ENTRIES / min(taken) for count, taken in times.items()},
    }


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


def _seconds(archive: Archive, address: str) -> float:
    entries = archive.search(Query())
    start = time.perf_counter()
    measured = remeasure(archive, entries, partial(each_on_cluster, address=address, workers=0))
    seconds = time.perf_counter() - start
    wrong = [one.again for one in measured if one.again.result != "same"]
    assert not wrong, list(islice(wrong, 2))
    return seconds
