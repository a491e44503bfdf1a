"""Saving a joint of several photos: record, plot and table of the whole, and an overlay picture per photo."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitup.errors import StorageError
from fitup.evidence.plot import plot_png
from fitup.evidence.record_file import model_from_json, model_to_json, read_text
from fitup.evidence.saving import PLOT_NAME, RECORD_NAME, TABLE_NAME, filed_as
from fitup.evidence.seam_building import build_seam_record
from fitup.evidence.seam_record import SEAM_SCHEMA_VERSION, SeamRecord
from fitup.evidence.seam_subject import SeamSubject
from fitup.evidence.several import identity, overlay_names, overlays, record_kind
from fitup.evidence.subject import Filing
from fitup.evidence.table import profile_csv
from fitup.evidence.words import from_to
from fitup.evidence.writing import printable_name, safe_stem, write_folder

__all__ = [
    "SEAM_SCHEMA_FILE",
    "SavedSeam",
    "is_seam_record",
    "read_seam_record",
    "save_seam",
    "seam_schema_text",
]

SEAM_SCHEMA_FILE = Path(__file__).with_name("seam_record.schema.json")
"""The published schema; a test proves that it is what `seam_schema_text` gives."""


@dataclass(frozen=True, kw_only=True)
class SavedSeam:
    """What was written."""

    folder: Path
    record: SeamRecord


def save_seam(
    seam: SeamSubject, out: str | os.PathLike[str], *, filing: Filing | None = None, workers: int = 1
) -> SavedSeam:
    """Write one folder in `out` with record, plot, table and one overlay per photo: all of them or nothing.

    The folder has the joint's name where one is filed, else that of the first photo along the joint. Earlier
    results of the same photos, job, part and joint are replaced.

    Raises
    ------
    StorageError
        When it cannot be written.
    """
    record = build_seam_record(seam, filing or Filing())
    caption = _caption(record)
    names = overlay_names([one.photo.name for one in record.photos])
    stretches = [(one.photo.name, one.start_mm, one.end_mm) for one in record.photos]
    files = {
        RECORD_NAME: model_to_json(record).encode("utf-8"),
        PLOT_NAME: plot_png(seam, caption, stretches),
        TABLE_NAME: profile_csv(seam, _columns(record)),
        **dict(zip(names, overlays(seam.photos, _captions(record), workers), strict=True)),
    }
    name = record.filing.joint or f"{Path(record.photos[0].photo.name).stem}-seam"
    folder = write_folder(Path(out), safe_stem(f"{name}.folder"), files, _same_seam(record))
    return SavedSeam(folder=folder, record=record)


def read_seam_record(path: Path) -> SeamRecord:
    """Read a record of several photos; StorageError when that fails, with the file's name."""
    return model_from_json(SeamRecord, SEAM_SCHEMA_VERSION, read_text(path), printable_name(path.name))


def is_seam_record(path: Path) -> bool:
    """Whether a file says of itself that it is a record of several photos along a joint."""
    return record_kind(path) == "seam"


def seam_schema_text() -> str:
    """The JSON Schema (draft 2020-12) of such a record, as the text of the published file."""
    schema: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:fitup:seam-record:{SEAM_SCHEMA_VERSION}",
        **SeamRecord.model_json_schema(mode="validation"),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _caption(record: SeamRecord, photo: str = "") -> str:
    count = len(record.photos)
    return " · ".join([photo or f"{count} photo{'s' if count > 1 else ''}", *filed_as(record.filing)])


def _columns(record: SeamRecord) -> dict[str, Sequence[str]]:
    stations = record.profile.stations
    names = [one.photo.name for one in record.photos]
    return {
        "u_station_mm": [f"{station.u_station_mm:.4f}" for station in stations],
        "strip_number": [str(station.strip_number) for station in stations],
        "on_strip_mm": [f"{station.on_strip_mm + 0.0:.4f}" for station in stations],
        "photos": [" + ".join(names[index] for index in station.photos) for station in stations],
    }


def _captions(record: SeamRecord) -> list[str]:
    count = len(record.photos)
    return [
        _caption(record, f"{one.photo.name}, {number} of {count}: {from_to(one.start_mm, one.end_mm)}")
        for number, one in enumerate(record.photos, start=1)
    ]


def _same_seam(record: SeamRecord) -> Callable[[Path], bool]:
    """Whether an existing folder holds earlier results of these very photos and this joint."""

    def holds(folder: Path) -> bool:
        try:
            earlier = read_seam_record(folder / RECORD_NAME)
        except StorageError:
            return False
        return _identity(earlier) == _identity(record)

    return holds


def _identity(record: SeamRecord) -> tuple[tuple[str, ...], str, str, str]:
    return identity([one.photo for one in record.photos], record.filing)
