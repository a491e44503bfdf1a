"""Room on the disk: what was made for phones and can be made again goes, the oldest first."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path

__all__ = ["drop_old", "tidy"]

_DAY_S = 86_400


def tidy(folder: Path, most_bytes: int) -> None:
    """Remove the oldest files below a folder until all together have at most so many bytes."""
    files = _files(folder)
    total = sum(size for _, size, _ in files)
    for _, size, path in sorted(files, key=lambda one: one[0]):
        if total <= most_bytes:
            return
        with contextlib.suppress(OSError):
            path.unlink()
            total -= size


def drop_old(folder: Path, days: float, keep: frozenset[str]) -> None:
    """Remove files below a folder that are older than so many days, but for names to `keep`."""
    before = time.time() - days * _DAY_S
    for written, _, path in _files(folder):
        if written < before and path.name not in keep:
            with contextlib.suppress(OSError):
                path.unlink()


def _files(folder: Path) -> list[tuple[float, int, Path]]:
    """Time of writing, bytes and path of every file; what is gone meanwhile is left out."""
    found = []
    for path in folder.rglob("*"):
        with contextlib.suppress(OSError):
            status = path.stat()
            if path.is_file():
                found.append((status.st_mtime, status.st_size, path))
    return found
