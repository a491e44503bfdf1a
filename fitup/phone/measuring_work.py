"""What a worker does with one photo: measure it, say the verdict, draw it, put it into the archive.

The record is filed at the time of receiving, and the same photo gives the same numbers: who is cut off and
begins again adds nothing twice.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.errors import RetakeError, UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Archive
    from fitup.evidence.subject import Filing
    from fitup.inspection import Inspection
    from fitup.job import JobJoint
    from fitup.listed import ListedInspection
    from fitup.phone.shot import Points
    from fitup.phone.worker import Told

__all__ = ["Measured", "MeasuringTask", "Stage", "VerdictSaid", "measure", "second_name", "warm_up"]


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuringTask:
    """A photo at `photo`, called `name`, of one joint; `folder` is the task's own, and gone afterwards."""

    photo: Path
    name: str
    joint: JobJoint
    points: Points
    filing: Filing
    folder: Path
    view: Path
    archive: str
    serial: str


@dataclass(frozen=True, kw_only=True)
class Stage:
    """What is being done now."""

    word: str


@dataclass(frozen=True, kw_only=True)
class VerdictSaid:
    """The verdict, known before it is drawn and archived, and the upright photo's size."""

    word: str
    sentence: str
    photo_px: tuple[int, int] | None = None


@dataclass(frozen=True, kw_only=True)
class Measured:
    """The archive's entry of it."""

    entry: int


def warm_up() -> None:
    """Load what measuring needs, so that the first photo does not wait for it."""
    import fitup.evidence.archive.gathering
    import fitup.evidence.saving
    import fitup.listed
    import fitup.phone.photo_view  # noqa: F401


def measure(told: Told, task: MeasuringTask) -> Measured:
    """Measure one photo of one joint.

    Raises
    ------
    PhotoError, UsageError
        When it is no photo, or its strips do not tell which joint is which.
    RetakeError
        When the joint cannot be measured in it; nothing is archived then.
    StorageError
        When the results cannot be kept.
    """
    from fitup.evidence.archive.gathering import PhotoBox, drafts_of
    from fitup.evidence.saving import save_inspection
    from fitup.listed import inspect_listed
    from fitup.phone.photo_view import save_view

    with _own_folder(task) as photo:
        told(Stage(word="measuring"))
        try:
            inspection = _one(inspect_listed(photo, [_joint(task)]))
        except RetakeError as error:
            size = save_view(photo, task.view)
            told(VerdictSaid(word="retake", sentence=error.message, photo_px=size))
            raise
        verdict, size = inspection.verdict, (inspection.photo.width_px, inspection.photo.height_px)
        told(VerdictSaid(word=verdict.word.value, sentence=verdict.sentence, photo_px=size))
        told(Stage(word="drawing"))
        save_view(photo, task.view)
        saved = save_inspection(inspection, task.folder / "results", photo_path=photo, filing=task.filing)
        told(Stage(word="archiving"))
        added = _archive(task.archive).add(drafts_of(saved.folder, PhotoBox([photo]), serial=task.serial))
        return Measured(entry=added[0].entry.number)


def second_name(photo: Path, named: Path) -> None:
    """The same file under another name; a copy where the file system knows no second names."""
    try:
        os.link(photo, named)
    except OSError:
        shutil.copyfile(photo, named)


@contextlib.contextmanager
def _own_folder(task: MeasuringTask) -> Iterator[Path]:
    """The photo under its own name, in a folder that is gone afterwards; its bytes are not copied."""
    shutil.rmtree(task.folder, ignore_errors=True)
    photo = task.folder / "photo" / task.name
    photo.parent.mkdir(parents=True)
    second_name(task.photo, photo)
    try:
        yield photo
    finally:
        shutil.rmtree(task.folder, ignore_errors=True)


def _joint(task: MeasuringTask) -> JobJoint:
    """The joint as its list tells it, with the points that a person tapped."""
    joint = task.joint
    if joint.end_to_end:
        raise UsageError(
            f"joint {joint.name} has strips end to end, so that its photos are measured together: on the "
            "shop computer, with fitup seam."
        )
    if not task.points:
        return joint
    import numpy as np

    return replace(joint, settings=replace(joint.settings, points_px=np.array(task.points)))


def _one(found: Sequence[ListedInspection]) -> Inspection:
    """The joint's inspection; UsageError where the photo shows several, and which is meant is not known."""
    measured = [one for one in found if one.inspection is not None]
    if len(measured) > 1:
        names = " and ".join(one.name for one in measured[:2])
        raise UsageError(
            f"the photo shows several joints ({names}): take it with only this joint's strip in view, or "
            "write its strip's number into the joint list."
        )
    if not measured:
        raise next(one.fault for one in found if one.fault is not None)
    assert measured[0].inspection is not None
    return measured[0].inspection


@lru_cache(maxsize=1)
def _archive(place: str) -> Archive:
    from fitup.evidence.archive.archive import open_archive

    return open_archive(place)
