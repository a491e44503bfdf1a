"""Archived photos measured again: what is told of each, and that nothing in the archive is touched."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import pytest
from PIL import Image

from fitup.changes import change_between
from fitup.errors import StorageError
from fitup.evidence import Filing, InspectionRecord, build_record, record_to_json
from fitup.evidence.archive.archive import Archive, open_archive
from fitup.evidence.archive.draft import Draft, DraftFile
from fitup.evidence.archive.entry import About
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.verify import verify
from fitup.remeasured import row_of, summary_of, would_change
from fitup.remeasuring import Again, Remeasured, Task, measure_task, remeasure
from fitup.worker_processes import each_in_processes
from tests.conftest import Drawn
from tests.dying_work import ALWAYS, ONCE, dying
from tests.evidence.builders import make_inspection


@pytest.fixture(autouse=True)
def threads() -> Iterator[None]:
    """A worker keeps to one core; other tests need not."""
    before = cv2.getNumThreads()
    yield
    cv2.setNumThreads(before)


# ------------------------------------------------------------------------------------------------ comparing


@pytest.fixture(scope="module")
def record() -> InspectionRecord:
    return build_record(make_inspection(), Filing())


def moved(record: InspectionRecord, by_u: float) -> InspectionRecord:
    """The record with one seen gap moved by so many of its standard uncertainties."""
    stations = list(record.profile.stations)
    index = next(k for k, one in enumerate(stations) if one.gap_mm is not None)
    one = stations[index]
    assert one.gap_mm is not None
    assert one.u_gap_mm
    stations[index] = one.model_copy(update={"gap_mm": one.gap_mm + by_u * one.u_gap_mm})
    profile = record.profile.model_copy(update={"stations": tuple(stations)})
    return record.model_copy(update={"profile": profile})


def test_the_same_record_has_no_change(record: InspectionRecord) -> None:
    change = change_between(record, record)
    seen = sum(one.gap_mm is not None for one in record.profile.stations)
    assert (change.differing, change.what) == ((), ())
    assert (change.compared, change.beyond, change.largest_change_mm) == (seen, 0, 0.0)


@pytest.mark.parametrize(("by_u", "what"), [(1.9, ()), (-1.9, ()), (2.1, ("gap",)), (-2.1, ("gap",))])
def test_a_gap_counts_when_it_moved_by_more_than_twice_its_u(
    record: InspectionRecord, by_u: float, what: tuple[str, ...]
) -> None:
    change = change_between(record, moved(record, by_u))
    assert change.what == what
    assert change.differing == ("profile",)
    first = next(one for one in record.profile.stations if one.gap_mm is not None)
    assert first.u_gap_mm
    assert change.largest_change_mm == pytest.approx(abs(by_u) * first.u_gap_mm)
    assert change.largest_at_mm == first.station_mm


def test_stations_seen_once_only_are_counted_and_not_compared(record: InspectionRecord) -> None:
    stations = list(record.profile.stations)
    index = next(k for k, one in enumerate(stations) if one.gap_mm is not None)
    stations[index] = stations[index].model_copy(update={"gap_mm": None, "u_gap_mm": None})
    profile = record.profile.model_copy(update={"stations": tuple(stations)})
    fewer = record.model_copy(update={"profile": profile})
    then, back = change_between(record, fewer), change_between(fewer, record)
    assert (then.lost, then.gained, back.lost, back.gained) == (1, 0, 0, 1)
    assert then.compared == back.compared == change_between(record, record).compared - 1


def test_spots_are_the_same_where_they_overlap(record: InspectionRecord) -> None:
    spot = record.verdict.spots[0]
    beside = spot.model_copy(update={"start_mm": spot.start_mm + 0.5, "end_mm": spot.end_mm + 0.5})
    apart = spot.model_copy(update={"start_mm": spot.end_mm + 50, "end_mm": spot.end_mm + 52})
    others = record.verdict.spots[1:]

    def with_spots(*spots: Any) -> InspectionRecord:
        verdict = record.verdict.model_copy(update={"spots": (*spots, *others)})
        return record.model_copy(update={"verdict": verdict})

    assert "spots" not in change_between(record, with_spots(beside)).what
    gone = change_between(record, with_spots(apart))
    assert (len(gone.spots_gone), len(gone.spots_new), "spots" in gone.what) == (1, 1, True)
    worse = change_between(record, with_spots(spot.model_copy(update={"state": "short land"})))
    assert [text.split(" at")[0][:10] for text in worse.spots_new] == ["short land"]


# ------------------------------------------------------------------------------------------------- archives


def in_turn(work: Callable[[Task], Again], tasks: Sequence[Task]) -> Iterator[tuple[int, Again | Exception]]:
    for index in reversed(range(len(tasks))):  # as they are done, in whatever order
        yield index, work(tasks[index])


def about(record: InspectionRecord, joint: str) -> About:
    return About(job="RT-40", joint=joint, day="2026-11-25", verdict=record.verdict.word)


def inspection_draft(record: InspectionRecord, photo: bytes | None, joint: str) -> Draft:
    files = [DraftFile.of("record", "record.json", record_to_json(record).encode())]
    files += [] if photo is None else [DraftFile.of("photo", "J.jpg", photo)]
    return Draft(kind="inspection", about=about(record, joint), files=tuple(files))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, drawn: Callable[[str], Drawn]) -> Path:
    """An archive: a sound entry, one with an altered gap, one without photo, two with others instead."""
    scene = drawn("opening")
    photo = scene.path.read_bytes()
    record = build_record(scene.inspection, Filing(joint="J1"))
    verdict = record.verdict.model_copy(update={"word": "within"})
    altered = moved(record, -9).model_copy(update={"verdict": verdict})

    folder = tmp_path_factory.mktemp("kept")
    Image.new("RGB", (900, 700), (90, 90, 90)).save(folder / "blank.jpg")
    blank = (folder / "blank.jpg").read_bytes()
    archive = open_archive(str(folder / "a"), create=True)
    archive.add(
        [
            inspection_draft(record, photo, "J1"),
            inspection_draft(altered, photo, "J2"),
            inspection_draft(record.model_copy(update={"cautions": ("other",)}), None, "J3"),
            inspection_draft(record.model_copy(update={"cautions": ()}), blank, "J4"),
            inspection_draft(record.model_copy(update={"cautions": ("more",)}), b"no photo at all", "J5"),
        ]
    )
    return folder / "a"


def entries(archive: Archive) -> list[Any]:
    return archive.search(Query())


def state(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_every_entry_is_told_of_and_nothing_is_touched(kept: Path) -> None:
    archive, before = open_archive(str(kept)), state(kept)
    heard: list[int] = []
    found = entries(archive)
    measured = remeasure(archive, found, in_turn, heard.append)
    assert heard == [1, 2, 3, 4, 5]
    assert [one.stored for one in measured] == found
    again = {one.stored.entry.about.joint: one.again for one in measured}
    assert {joint: one.result for joint, one in again.items()} == {
        "J1": "same",
        "J2": "changed",
        "J3": "no photo",
        "J4": "retake",
        "J5": "error",
    }
    assert again["J4"].reason == "no target"
    assert again["J2"].change is not None
    assert again["J2"].change.what[0] == "verdict"
    assert "gap" in again["J2"].change.what
    assert (again["J2"].change.verdict_then, again["J2"].change.verdict_now) == ("within", "re-fixture")
    assert again["J2"].change.beyond == 1
    assert state(kept) == before
    assert verify(archive).sound
    summary = summary_of(measured, archive.name, 1.0)
    assert summary["results"] == {"changed": 1, "error": 1, "no photo": 1, "retake": 1, "same": 1}
    assert summary["verdicts"] == {"within to re-fixture": 1}
    assert would_change(measured)
    assert not would_change([one for one in measured if one.again.result in ("same", "no photo")])
    assert [json.loads(json.dumps(row_of(one)))["entry"] for one in measured] == [5, 4, 3, 2, 1]


def test_an_altered_photo_is_not_measured(kept: Path, tmp_path: Path) -> None:
    shutil.copytree(kept, tmp_path / "a")
    archive = open_archive(str(tmp_path / "a"))
    first = archive.entry(1)
    file = first.entry.file("photo")
    assert file is not None
    path = Path(archive.store.where(file.sha256))
    path.chmod(0o644)
    path.write_bytes(path.read_bytes() + b"\0")
    (one,) = remeasure(archive, [first], in_turn)
    assert one.again.result == "error"
    assert "was altered" in one.again.sentence


def test_a_worker_with_another_program_measures_nothing(kept: Path) -> None:
    archive = open_archive(str(kept))

    def elsewhere(work: Callable[[Task], Again], tasks: Sequence[Task]) -> Iterator[tuple[int, Again]]:
        yield 0, work(replace(tasks[0], version="0.0.9"))

    (one,) = remeasure(archive, [archive.entry(1)], elsewhere)
    assert one.again.result == "error"
    assert "and not 0.0.9" in one.again.sentence


def test_a_failing_worker_is_told_in_the_entrys_place(kept: Path) -> None:
    archive = open_archive(str(kept))

    def failing(work: object, tasks: Sequence[Task]) -> Iterator[tuple[int, Exception]]:
        yield 0, ZeroDivisionError("a bug\nof ours")

    (one,) = remeasure(archive, [archive.entry(1)], failing)
    assert (one.again.result, one.again.sentence) == (
        "error",
        "the program failed (ZeroDivisionError: a bug of ours)",
    )
    assert isinstance(one, Remeasured)


def test_processes_measure_bit_for_bit(kept: Path) -> None:
    archive = open_archive(str(kept))
    one, two = remeasure(archive, [archive.entry(1), archive.entry(3)], partial(each_in_processes, workers=2))
    assert (one.again.result, two.again.result) == ("same", "no photo")
    assert measure_task.__module__ == "fitup.remeasuring"


# ------------------------------------------------------------------------------------------------ processes


def test_a_process_that_dies_takes_nothing_with_it(tmp_path: Path) -> None:
    words = ["a", "fails", ONCE, "b", ALWAYS, "c", "d"]
    got = list(each_in_processes(dying, [(str(tmp_path), word) for word in words], 2))
    assert sorted(index for index, _ in got) == list(range(len(words)))
    results = dict(got)
    assert [results[k] for k in (0, 2, 3, 5, 6)] == ["a", ONCE, "b", "c", "d"]
    assert isinstance(results[1], ValueError)
    assert isinstance(results[4], StorageError)
    assert "died each time" in str(results[4])


def test_no_task_is_no_work() -> None:
    assert list(each_in_processes(dying, [], 2)) == []
