"""What a report is made from: a record, what was settled since, and the files that lie beside it, checked.

A record does not know the digests of the files beside it. The table can be checked, since it follows from the
record; a picture cannot, which the report says.
"""

from __future__ import annotations

import csv
import hashlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path

import numpy as np
from PIL import Image, UnidentifiedImageError

from fitup.errors import StorageError
from fitup.evidence.judged_record import AnyRecord, JudgedRecord, photos_of, read_judged
from fitup.evidence.record import InspectionRecord
from fitup.evidence.record_file import read_text
from fitup.evidence.saving import OVERLAY_NAME, TABLE_NAME
from fitup.evidence.settlement_file import Settlements, read_settlements
from fitup.evidence.several import overlay_names
from fitup.evidence.table import PROFILE_COLUMNS, stations_csv
from fitup.verdict.decision import decide

__all__ = ["Overlay", "Source", "read_source"]

_LARGEST_PICTURE_BYTES = 40_000_000
_LARGEST_PICTURE_PX = 60_000_000
_ROUNDING_MM = 1e-9
_QUALITY = 90


@dataclass(frozen=True, kw_only=True, eq=False)
class Overlay:
    """A picture beside the record, as found, and as it goes into the report."""

    name: str
    sha256: str
    shown: bytes
    width_px: int
    height_px: int


@dataclass(frozen=True, kw_only=True, eq=False)
class Source:
    """One record with all that belongs to it; `careful` is what does not fit together, or is missing."""

    settlements: Settlements
    content: bytes
    overlays: tuple[Overlay | None, ...]
    table: bytes
    careful: tuple[str, ...]

    @property
    def judged(self) -> JudgedRecord:
        """The record as it was judged."""
        return self.settlements.judged

    @property
    def record(self) -> AnyRecord:
        """The record."""
        return self.judged.record


def read_source(file: str) -> Source:
    """Read a record file, or that of a folder, and what lies beside it.

    Raises
    ------
    StorageError
        When the record or a settlement cannot be read, is damaged, or was exchanged while it was read.
    UsageError
        When it is a file of another kind.
    """
    judged = read_judged(file)
    settlements = read_settlements(judged)
    content = read_text(judged.path)
    if hashlib.sha256(content).hexdigest() != judged.sha256:
        raise StorageError(f"{judged.name} was changed while it was read: make the report again.")
    overlays, missing = _overlays(judged)
    table, doubts = _table(judged)
    return Source(
        settlements=settlements,
        content=content,
        overlays=overlays,
        table=table,
        careful=(*_contradictions(judged), *doubts, *missing),
    )


def _overlays(judged: JudgedRecord) -> tuple[tuple[Overlay | None, ...], list[str]]:
    record = judged.record
    one = isinstance(record, InspectionRecord)
    names = (OVERLAY_NAME,) if one else overlay_names([photo.name for photo in photos_of(record)])
    found = [_overlay(judged.folder / name) for name in names]
    faults = [
        f"The picture {name} beside the record {fault}: it is not shown."
        for name, fault in zip(names, found, strict=True)
        if isinstance(fault, str)
    ]
    return tuple(None if isinstance(one, str) else one for one in found), faults


def _overlay(path: Path) -> Overlay | str:
    """The picture, or in words why it cannot be used."""
    content = _read(path)
    if isinstance(content, str):
        return content
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a picture of absurd size warns before it is decoded
            picture = Image.open(io.BytesIO(content), formats=("JPEG", "PNG"))
            if picture.width * picture.height > _LARGEST_PICTURE_PX:
                return "is too large"
            picture.load()
            shown = content if _is_plain(picture) else _made_plain(picture)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Warning, Image.DecompressionBombError):
        return "is damaged"
    return Overlay(
        name=path.name,
        sha256=hashlib.sha256(content).hexdigest(),
        shown=shown,
        width_px=picture.width,
        height_px=picture.height,
    )


def _read(path: Path) -> bytes | str:
    """What the file holds, or in words why it cannot be used."""
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_PICTURE_BYTES + 1)
    except FileNotFoundError:
        return "is missing"
    except (OSError, ValueError):
        return "cannot be read"
    return content if len(content) <= _LARGEST_PICTURE_BYTES else "is too large"


def _is_plain(picture: Image.Image) -> bool:
    """Grey or sRGB without data of its own: colours of another kind have no place in an archive PDF."""
    own = {"icc_profile", "exif", "xmp", "photoshop", "comment"} & picture.info.keys()
    return picture.format == "JPEG" and picture.mode in ("L", "RGB") and not own


def _made_plain(picture: Image.Image) -> bytes:
    stream = io.BytesIO()
    picture.convert("RGB").save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()


def _table(judged: JudgedRecord) -> tuple[bytes, list[str]]:
    """The table beside the record where it says what the record says; else one made from the record."""
    own = stations_csv(judged.record.profile.stations, judged.record.limit.limit_mm)
    beside = _read(judged.folder / TABLE_NAME)
    if isinstance(beside, str):
        words = f"The table {TABLE_NAME} beside the record {beside}"
        return own, [f"{words}: the one in this report was made from the record."]
    if _agree(own, beside):
        return beside, []
    return own, [
        f"The table {TABLE_NAME} beside the record says otherwise than the record: one of both was altered. "
        "The table in this report was made from the record."
    ]


def _agree(own: bytes, beside: bytes) -> bool:
    count = len(PROFILE_COLUMNS)
    try:
        nothing: list[str] = []
        pairs = zip_longest(_csv_rows(own), _csv_rows(beside), fillvalue=nothing)
        return all(mine[:count] == other[:count] for mine, other in pairs)
    except (UnicodeDecodeError, csv.Error):
        return False


def _csv_rows(content: bytes) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(content.decode("utf-8"), newline=""), strict=True)


def _contradictions(judged: JudgedRecord) -> list[str]:
    """What a record says that does not follow from its own stations."""
    joint, stated = judged.joint, judged.record.verdict
    careful = []
    if decide(joint.gap_mm, joint.u_gap_mm, joint.limit_mm, joint.decision) != joint.states:
        careful.append(
            "The record contradicts itself: states of its stations do not follow from gap, uncertainty and "
            "limit. It was altered, or written by a program version with other rules."
        )
    largest = float(np.nanmax(joint.gap_mm)) if joint.seen.any() else None
    told = stated.largest_gap_mm
    if (largest is None) != (told is None) or (
        largest is not None and told is not None and abs(largest - told) > _ROUNDING_MM
    ):
        careful.append(
            "The record contradicts itself: its largest gap is not that of its stations. It was altered."
        )
    return careful
