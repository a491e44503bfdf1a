"""Saving one inspection: record, overlay picture, plot and table into one folder."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fitup.errors import StorageError
from fitup.evidence.building import build_record
from fitup.evidence.kind_words import gap_between
from fitup.evidence.overlay import overlay_jpeg
from fitup.evidence.plot import plot_png
from fitup.evidence.record import FilingEntry, InspectionRecord
from fitup.evidence.record_file import read_record, record_to_json
from fitup.evidence.shape_building import shape_columns
from fitup.evidence.subject import Filing, Subject
from fitup.evidence.table import profile_csv
from fitup.evidence.writing import printable_name, safe_stem, write_folder

__all__ = ["OVERLAY_NAME", "PLOT_NAME", "RECORD_NAME", "TABLE_NAME", "Saved", "filed_as", "save_inspection"]

RECORD_NAME = "record.json"
OVERLAY_NAME = "overlay.jpg"
PLOT_NAME = "profile.png"
TABLE_NAME = "profile.csv"


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What was written."""

    folder: Path
    record: InspectionRecord


def save_inspection(
    inspection: Subject,
    out: str | os.PathLike[str],
    *,
    photo_path: str | os.PathLike[str] | None = None,
    filing: Filing | None = None,
    suffix: str = "",
) -> Saved:
    """Write `out/<photo's name>/` with record, overlay, plot and table: all of them or nothing.

    `suffix` is put behind the photo's name where one photo gives several folders.

    A folder of the same photo bytes, job, part and joint is replaced; any other is kept and the new one
    gets a number. `photo_path` lets the overlay show colours.

    Raises
    ------
    StorageError
        When it cannot be written.
    """
    record = build_record(inspection, filing or Filing())
    caption = caption_of(record)
    files = {
        RECORD_NAME: record_to_json(record).encode("utf-8"),
        OVERLAY_NAME: overlay_jpeg(inspection, photo_path, caption),
        PLOT_NAME: plot_png(inspection, caption, between=gap_between(record.request.joint_kind)),
        TABLE_NAME: profile_csv(inspection, shape_columns(inspection)),
    }
    stem = safe_stem(record.photo.name)
    stem = safe_stem(f"{stem} {printable_name(suffix)}.folder") if suffix else stem
    folder = write_folder(Path(out), stem, files, _same_joint(record))
    return Saved(folder=folder, record=record)


def caption_of(record: InspectionRecord) -> str:
    """Photo, job, part, joint, who and when in one line, without what was not given."""
    return " · ".join([record.photo.name, *filed_as(record.filing)])


def filed_as(filing: FilingEntry) -> list[str]:
    """Job, part, joint, who and when, one phrase each, without what was not given."""
    named = (("job", filing.job), ("part", filing.part), ("joint", filing.joint), ("by", filing.who))
    return [
        *(f"{word} {text}" for word, text in named if text),
        filing.filed_at_utc.strftime("%Y-%m-%d %H:%M UTC"),
    ]


def _same_joint(record: InspectionRecord) -> Callable[[Path], bool]:
    """Whether an existing folder holds earlier results of this very photo and joint."""

    def holds(folder: Path) -> bool:
        try:
            earlier = read_record(folder / RECORD_NAME)
        except StorageError:
            return False
        return _identity(earlier) == _identity(record)

    return holds


def _identity(record: InspectionRecord) -> tuple[str, ...]:
    filing = record.filing
    return record.photo.sha256, filing.job, filing.part, filing.joint
