"""A photo arrives: counted and digested while it streams to the disk, and acknowledged only once it is there.

Nothing is looked at but its bytes' number and digest; it is opened by a worker.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote

from anyio.to_thread import run_sync

from fitup.errors import StorageError, UsageError
from fitup.evidence.writing import printable_name

__all__ = ["Arrived", "photo_name", "receive"]

_STEM_BYTES, _ENDING_BYTES = 112, 8


@dataclass(frozen=True, kw_only=True)
class Arrived:
    """A file that is on the disk as a whole: where, and its SHA-256."""

    path: Path
    digest: str
    byte_count: int

    def discard(self) -> None:
        """Remove it, where it was not moved on."""
        self.path.unlink(missing_ok=True)


async def receive(parts: AsyncIterator[bytes], path: Path, *, most_bytes: int, digest: str = "") -> Arrived:
    """Write what streams in to `path` and force it to the disk; nothing stays where it is not all there.

    Raises
    ------
    UsageError
        When it is empty, too large, or its bytes are not those of `digest`.
    StorageError
        When it cannot be written.
    """
    try:
        return await _receive(parts, path, most_bytes, digest.strip().lower())
    except OSError as error:
        path.unlink(missing_ok=True)
        reason = (error.strerror or str(error)).lower()
        raise StorageError(
            f"the shop computer cannot keep the photo: {reason}; tell who looks after it."
        ) from None
    except BaseException:  # also when the phone has gone
        path.unlink(missing_ok=True)
        raise


async def _receive(parts: AsyncIterator[bytes], path: Path, most_bytes: int, wanted: str) -> Arrived:
    found, count = hashlib.sha256(), 0
    with path.open("xb") as file:
        async for part in parts:
            count += len(part)
            if count > most_bytes:
                raise UsageError(
                    f"the photo has more than {most_bytes / 1e6:.0f} MB: take it with the camera's standard "
                    "settings."
                )
            found.update(part)
            file.write(part)
        if count == 0:
            raise UsageError("the photo is empty: take it again.")
        if wanted and found.hexdigest() != wanted:
            raise UsageError("the photo arrived changed, its digest does not fit: send it again.")
        file.flush()
        await run_sync(os.fsync, file.fileno())
    return Arrived(path=path, digest=found.hexdigest(), byte_count=count)


def photo_name(written: str) -> str:
    """A photo's file name as a header has it, percent-encoded, without folders or signs nobody can show."""
    name = printable_name(unquote(written, errors="replace")).replace("\\", "/").rpartition("/")[2]
    name = name.replace("\ufffd", "_").strip(" .")
    stem, dot, ending = name.rpartition(".")
    if not dot:
        stem, ending = name, ""
    return (_cut(stem, _STEM_BYTES) or "photo") + (dot + _cut(ending, _ENDING_BYTES) if ending else "")


def _cut(text: str, most_bytes: int) -> str:
    """As much of it as a file system takes, which counts bytes; letters whole."""
    return text.encode("utf-8")[:most_bytes].decode("utf-8", "ignore")
