"""Archived photos measured by the present program, and what would change. Nothing in the archive is touched.

A worker is given an entry and the place of the archive's files; it reads record and photos from there by
their digests. So little travels, workers on other computers need no database and no password of it, and a
photo that was altered is never measured.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, TypeAlias

import cv2

from fitup import __version__
from fitup.changes import Change, change_between
from fitup.errors import FitupError, RetakeError, UsageError
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.entry import Entry, entry_from_json, entry_to_json
from fitup.evidence.archive.reading import contents_of, record_in
from fitup.evidence.archive.store import Store
from fitup.evidence.building import program_entry
from fitup.evidence.judged_record import AnyRecord
from fitup.repeating import measured_again

__all__ = ["Again", "Each", "Remeasured", "ResultWord", "Task", "measure_task", "remeasure"]

ResultWord = Literal["same", "close", "changed", "retake", "error", "no photo"]


@dataclass(frozen=True, kw_only=True)
class Task:
    """What a worker is given: an entry as JSON, where the archive's files are, which program it must run."""

    entry: str
    files: str
    version: str


@dataclass(frozen=True, kw_only=True)
class Again:
    """What came of measuring an entry's photos again.

    `same`: every number, to the last bit. `close`: verdict, limit and spots are the same, and no gap moved by
    more than its stated uncertainty. `changed`: something of these did. `retake` and `error`: it cannot be
    measured any more, and `sentence` says why. `no photo`: it was archived without.
    """

    result: ResultWord
    sentence: str = ""
    reason: str = ""
    change: Change | None = None
    program: dict[str, str] | None = None
    seconds: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Remeasured:
    """An entry, and what came of measuring it again."""

    stored: Stored
    again: Again


Each: TypeAlias = Callable[[Callable[[Task], Again], Sequence[Task]], Iterator[tuple[int, Again | Exception]]]
"""How work is done on many tasks: (index, result) for every one of them, in any order."""


def remeasure(
    archive: Archive, entries: Sequence[Stored], each: Each, told: Callable[[int], None] = lambda done: None
) -> list[Remeasured]:
    """Measure the photos of these entries again, and compare; in the entries' order, each exactly once.

    `told` hears how many are done. Raises only what `each` does; whatever is wrong with an entry is told in
    its place.
    """
    files = archive.store.url if "://" in archive.store.url else os.path.abspath(archive.store.url)  # noqa: PTH100
    tasks = [Task(entry=entry_to_json(one.entry), files=files, version=__version__) for one in entries]
    done: dict[int, Again] = {}
    for index, result in each(measure_task, tasks):
        done[index] = _failed(result) if isinstance(result, Exception) else result
        told(len(done))
    return [Remeasured(stored=one, again=done[index]) for index, one in enumerate(entries)]


def measure_task(task: Task) -> Again:
    """Measure one entry's photos again, on a worker; never raises."""
    cv2.setNumThreads(1)  # the other cores have entries of their own
    start = time.perf_counter()
    try:
        again = _measured(task)
    except Exception as error:
        again = _failed(error)
    seconds = time.perf_counter() - start
    return replace(again, seconds=seconds, program=program_entry().model_dump())


def _measured(task: Task) -> Again:
    if task.version != __version__:
        raise UsageError(
            f"a worker runs fitup {__version__} and not {task.version}: install the same on all workers."
        )
    entry, store = entry_from_json(task.entry), Store(task.files)
    if entry is None:
        raise UsageError("a worker was given no entry: install the same fitup on all workers.")
    record = record_in(store, entry)
    photos = tuple(one for one in entry.files if one.role == "photo")
    if record is None or not photos:
        return Again(result="no photo", sentence="it was archived without photo.")
    with tempfile.TemporaryDirectory(prefix="fitup-") as folder:
        return _compared(record, _written(store, entry.model_copy(update={"files": photos}), Path(folder)))


def _written(store: Store, entry: Entry, folder: Path) -> list[str]:
    paths = []
    for name, content in contents_of(store, entry).items():
        (folder / name).write_bytes(content)
        paths.append(str(folder / name))
    return paths


def _compared(record: AnyRecord, photos: Sequence[str]) -> Again:
    """Compared in every way that the record may have been made, until one tells of no change."""
    best: Change | None = None
    try:
        for again in measured_again(record, photos, workers=1):
            change = change_between(record, again)
            if best is None or not change.what:
                best = change
            if not change.what:
                break
    except RetakeError:
        if best is None:
            raise
    if best is None:
        raise UsageError("nothing was measured: look at its photo.")
    word: ResultWord = "changed" if best.what else "close" if best.differing else "same"
    return Again(result=word, change=best)


def _failed(error: Exception) -> Again:
    if isinstance(error, RetakeError):
        return Again(result="retake", sentence=str(error), reason=error.reason)
    said = (
        str(error)
        if isinstance(error, FitupError)
        else f"the program failed ({type(error).__name__}: {error})"
    )
    return Again(result="error", sentence=" ".join(said.split()))
