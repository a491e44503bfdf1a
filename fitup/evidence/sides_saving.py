"""Saving a joint from both sides: record, plot and table of the whole, and an overlay picture per photo."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitup.errors import StorageError
from fitup.evidence.plot import Beside, plot_png
from fitup.evidence.record_file import model_from_json, model_to_json, read_text
from fitup.evidence.saving import PLOT_NAME, RECORD_NAME, TABLE_NAME, filed_as
from fitup.evidence.several import identity, overlay_names, overlays
from fitup.evidence.sides_building import build_sides_record
from fitup.evidence.sides_record import SIDES_SCHEMA_VERSION, SidesPhotoEntry, SidesRecord
from fitup.evidence.sides_subject import SidesSubject
from fitup.evidence.subject import Filing
from fitup.evidence.table import profile_csv
from fitup.evidence.writing import printable_name, safe_stem, write_folder

__all__ = ["SIDES_SCHEMA_FILE", "SavedSides", "read_sides_record", "save_sides", "sides_schema_text"]

SIDES_SCHEMA_FILE = Path(__file__).with_name("sides_record.schema.json")
"""The published schema; a test proves that it is what `sides_schema_text` gives."""


@dataclass(frozen=True, kw_only=True)
class SavedSides:
    """What was written."""

    folder: Path
    record: SidesRecord


def save_sides(
    sides: SidesSubject, out: str | os.PathLike[str], *, filing: Filing | None = None, workers: int = 1
) -> SavedSides:
    """Write one folder in `out` with record, plot, table and one overlay per photo: all of them or nothing.

    The folder has the joint's name where one is filed, else that of the first photo. Earlier results of the
    same photos, job, part and joint are replaced.

    Raises
    ------
    StorageError
        When it cannot be written.
    """
    record = build_sides_record(sides, filing or Filing())
    names = [one.photo.name for one in record.photos]
    pictures = overlays(sides.photos, [_caption(record, one) for one in record.photos], workers)
    files = {
        RECORD_NAME: model_to_json(record).encode("utf-8"),
        PLOT_NAME: plot_png(sides, _caption(record), beside=_beside(sides, record)),
        TABLE_NAME: profile_csv(sides, _columns(record)),
        **dict(zip(overlay_names(names), pictures, strict=True)),
    }
    name = record.filing.joint or f"{Path(names[0]).stem}-sides"
    folder = write_folder(Path(out), safe_stem(f"{name}.folder"), files, _same_sides(record))
    return SavedSides(folder=folder, record=record)


def read_sides_record(path: Path) -> SidesRecord:
    """Read a record of both sides; StorageError when that fails, with the file's name."""
    return model_from_json(SidesRecord, SIDES_SCHEMA_VERSION, read_text(path), printable_name(path.name))


def sides_schema_text() -> str:
    """The JSON Schema (draft 2020-12) of such a record, as the text of the published file."""
    schema: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:fitup:sides-record:{SIDES_SCHEMA_VERSION}",
        **SidesRecord.model_json_schema(mode="validation"),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _caption(record: SidesRecord, one: SidesPhotoEntry | None = None) -> str:
    if one is None:
        said = " and ".join(photo.photo.name for photo in record.photos)
    else:
        said = f"{one.photo.name}, from {one.camera_side}, {abs(one.view_deg):.0f}° aside"
    return " · ".join([said, *filed_as(record.filing)])


def _beside(sides: SidesSubject, record: SidesRecord) -> Beside:
    """Both apparent gaps, and the step where it was told."""
    told = sides.separated
    return Beside(
        lines={
            f"apparent, from {one.camera_side}": gap
            for one, gap in zip(record.photos, sides.apparent.apparent_mm, strict=True)
        },
        step_mm=None if told is None else told.step_mm,
        u_step_mm=None if told is None else told.u_step_mm,
    )


def _columns(record: SidesRecord) -> dict[str, Sequence[str]]:
    stations = record.profile.stations
    columns: dict[str, Sequence[str]] = {
        "step_mm": [_text(station.step_mm) for station in stations],
        "u_step_mm": [_text(station.u_step_mm) for station in stations],
    }
    for k in range(2):
        columns[f"apparent_gap_{k + 1}_mm"] = [_text(station.apparent_gap_mm[k]) for station in stations]
        columns[f"u_apparent_gap_{k + 1}_mm"] = [_text(station.u_apparent_gap_mm[k]) for station in stations]
        columns[f"view_tangent_{k + 1}"] = [_text(station.view_tangent[k]) for station in stations]
    return columns


def _text(value: float | None) -> str:
    return "" if value is None else f"{round(value, 4) + 0.0:.4f}"


def _same_sides(record: SidesRecord) -> Callable[[Path], bool]:
    """Whether an existing folder holds earlier results of these very photos and this joint."""

    def holds(folder: Path) -> bool:
        try:
            earlier = read_sides_record(folder / RECORD_NAME)
        except StorageError:
            return False
        return _identity(earlier) == _identity(record)

    return holds


def _identity(record: SidesRecord) -> tuple[tuple[str, ...], str, str, str]:
    return identity([one.photo for one in record.photos], record.filing)
