"""Saving a comparison: data and picture in one folder, all of it or nothing."""

from __future__ import annotations

import os
from pathlib import Path

from fitup.errors import StorageError
from fitup.evidence.comparison_building import Compared
from fitup.evidence.comparison_plot import comparison_png
from fitup.evidence.comparison_record import COMPARISON_SCHEMA_VERSION, ComparedEntry, ComparisonRecord
from fitup.evidence.record_file import model_from_json, model_to_json, read_text
from fitup.evidence.writing import printable_name, safe_stem, write_folder

__all__ = ["COMPARISON_NAME", "COMPARISON_PICTURE_NAME", "read_comparison", "save_comparison"]

COMPARISON_NAME = "comparison.json"
COMPARISON_PICTURE_NAME = "comparison.png"


def save_comparison(compared: Compared, out: str | os.PathLike[str]) -> Path:
    """Write `out/<joint or photo>-compared/` and return it; a folder of the same two records is replaced.

    Raises
    ------
    StorageError
        When it cannot be written.
    """
    record = compared.record
    files = {
        COMPARISON_NAME: model_to_json(record).encode("utf-8"),
        COMPARISON_PICTURE_NAME: comparison_png(compared, _caption(record)),
    }
    name = record.after.filing.joint or Path(record.after.photos[0]).stem

    def same(folder: Path) -> bool:
        try:
            earlier = read_comparison(folder / COMPARISON_NAME)
        except StorageError:
            return False
        return _identity(earlier) == _identity(record)

    return write_folder(Path(out), safe_stem(f"{name}-compared.folder"), files, same)


def read_comparison(path: Path) -> ComparisonRecord:
    """Read a comparison file; StorageError when that fails, with the file's name."""
    text, name = read_text(path), printable_name(path.name)
    return model_from_json(ComparisonRecord, COMPARISON_SCHEMA_VERSION, text, name)


def _identity(record: ComparisonRecord) -> tuple[str, str]:
    return record.before.record.sha256, record.after.record.sha256


def _caption(record: ComparisonRecord) -> str:
    named = [f"joint {record.after.filing.joint}"] if record.after.filing.joint else []
    return " · ".join([*named, f"before: {_which(record.before)}", f"after: {_which(record.after)}"])


def _which(one: ComparedEntry) -> str:
    photos = one.photos[0] if len(one.photos) == 1 else f"{len(one.photos)} photos"
    return f"{photos}, {one.filing.filed_at_utc:%Y-%m-%d %H:%M} UTC"
