"""What results of several photos have in common: overlays of each, entries carried over, identity."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, Protocol

from fitup.errors import StorageError
from fitup.evidence import record as entry
from fitup.evidence.overlay import overlay_jpeg
from fitup.evidence.record import FilingEntry, PhotoEntry
from fitup.evidence.record_file import read_text
from fitup.evidence.subject import Subject
from fitup.evidence.writing import safe_stem

__all__ = ["Pictured", "identity", "overlay_names", "overlays", "record_kind", "values_of"]


class Pictured(Protocol):
    """A photo with what is to be drawn on it."""

    @property
    def path(self) -> str: ...  # noqa: D102
    @property
    def subject(self) -> Subject: ...  # noqa: D102


def record_kind(path: Path) -> str | None:
    """What a file says that it is a record of, "seam" or "sides"; None for one photo or no record at all."""
    try:
        data = json.loads(read_text(path))
    except (ValueError, RecursionError, StorageError):
        return None
    kind = data.get("kind") if isinstance(data, dict) else None
    return kind if isinstance(kind, str) else None


def overlay_names(photos: Sequence[str]) -> tuple[str, ...]:
    """File name of every photo's overlay, numbered in the record's order."""
    digits = len(str(len(photos)))
    return tuple(
        f"overlay-{number:0{digits}d}-{safe_stem(name)}.jpg" for number, name in enumerate(photos, start=1)
    )


def overlays(shares: Sequence[Pictured], captions: Sequence[str], workers: int) -> list[bytes]:
    """Every photo's overlay; in threads, since the picture libraries let others work while they do."""

    def drawn(index: int) -> bytes:
        return overlay_jpeg(shares[index].subject, shares[index].path, captions[index])

    with ThreadPoolExecutor(max(1, workers)) as pool:
        return list(pool.map(drawn, range(len(shares))))


def identity(photos: Sequence[PhotoEntry], filing: FilingEntry) -> tuple[tuple[str, ...], str, str, str]:
    """What makes two records those of the same photos, job, part and joint."""
    return tuple(sorted(photo.sha256 for photo in photos)), filing.job, filing.part, filing.joint


def values_of(model: entry.StationEntry | entry.SpotEntry | entry.VerdictEntry) -> dict[str, Any]:
    """Fields of an entry, to be carried over into a larger one."""
    return {name: getattr(model, name) for name in type(model).model_fields}
