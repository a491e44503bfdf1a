"""The files of an archive, each under the SHA-256 of its bytes: in a folder, or in object storage by URL.

A file that `put` has returned from is on the disk. In a folder it is written under a name of its own first,
forced to the disk and then renamed; object storage takes an object whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import uuid
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.evidence.writing import printable_name

__all__ = ["PART_BYTES", "Store", "StoredFile", "address", "sha256_of"]

PART_BYTES = 1 << 20
# Several files are forced to the disk at once: the system then does it in one go.
_WRITERS = 8
_BINARY = getattr(os, "O_BINARY", 0)
_UNFINISHED = re.compile(r"\.incoming-[0-9a-f]{32}")


@dataclass(frozen=True, kw_only=True)
class StoredFile:
    """A file found in the store: its place from the store's root, and its size."""

    place: str
    byte_count: int

    @property
    def unfinished(self) -> bool:
        """Whether it was being written when the program was killed."""
        return _UNFINISHED.fullmatch(self.place.rpartition("/")[2]) is not None


def sha256_of(content: bytes) -> str:
    """The SHA-256 (FIPS 180-4) in hexadecimal digits."""
    return hashlib.sha256(content).hexdigest()


def address(sha256: str) -> str:
    """Where a file lies in the store: `ab/abcdef...`."""
    return f"{sha256[:2]}/{sha256}"


class Store:
    """All files of an archive."""

    def __init__(self, url: str) -> None:
        """Look at nothing yet; UsageError where the kind of URL is not known or its library is missing."""
        import fsspec

        self.url = url
        try:
            if "://" in url:
                system, root = fsspec.core.url_to_fs(url, use_listings_cache=False)
            else:  # a folder, whatever signs are in its name
                system, root = fsspec.filesystem("file"), str(Path(url).absolute())
        except (ImportError, ValueError, TypeError) as error:
            raise UsageError(
                f"files cannot be kept at {printable_name(url)[:100]}: {_reason(error)}; "
                "name a folder, or install what this kind of URL needs."
            ) from None
        self._system: Any = system
        self._root = str(root).rstrip("/")
        self._local = "file" in _protocols(system)

    def put_all(self, contents: dict[str, bytes]) -> None:
        """Keep all files, digest to content; those that lie there already are compared and not written.

        Raises
        ------
        StorageError
            When one cannot be written, or what lies under its digest is something else.
        """
        if len(contents) == 1:
            self._put(*next(iter(contents.items())))
            return
        with ThreadPoolExecutor(_WRITERS) as pool:
            list(pool.map(self._put, contents, contents.values()))

    def put_file(self, sha256: str, path: Path) -> None:
        """Keep a file that is too large to be held in memory; its digest is found anew while it is copied.

        Raises
        ------
        StorageError
            When it is another file, it cannot be read or kept, or what lies there is something else.
        """
        with self._faults(sha256, "written"):
            if self._system.exists(self._path(sha256)):
                _read_through(_checked(self.parts(address(sha256)), sha256, _altered(sha256)))
            elif self._local:
                _write_through(Path(self._path(sha256)), _checked(_file_parts(path), sha256, _CHANGED))
            else:
                _read_through(_checked(_file_parts(path), sha256, _CHANGED))
                self._system.put_file(str(path), self._path(sha256))

    def read(self, sha256: str) -> bytes:
        """The bytes of a file, checked against their digest; StorageError when they are not those."""
        with self._faults(sha256, "read"):
            content = bytes(self._system.cat_file(self._path(sha256)))
        if sha256_of(content) != sha256:
            raise StorageError(
                f"the file {sha256[:12]} of the archive was altered: `fitup archive verify` tells of all."
            )
        return content

    def parts(self, place: str) -> Iterator[bytes]:
        """The bytes of the file at a place in parts; StorageError when it cannot be read."""
        with self._faults(place, "read"):
            path = f"{self._root}/{place}"
            if self._local:
                handle = os.open(path, os.O_RDONLY | _BINARY)
                try:
                    while part := os.read(handle, PART_BYTES):
                        yield part
                finally:
                    os.close(handle)
            else:
                with self._system.open(path, "rb", block_size=8 * PART_BYTES) as file:
                    while part := file.read(PART_BYTES):
                        yield part

    def files(self) -> dict[str, StoredFile]:
        """All files that lie in the store, by their place; StorageError when it cannot be listed."""
        with self._faults("", "listed"):
            if self._local:
                return {one.place: one for one in _local_files(self._root)}
            self._system.invalidate_cache()
            found = self._system.find(self._root, detail=True)
        cut = len(self._root) + 1
        return {
            path[cut:]: StoredFile(place=path[cut:], byte_count=int(info["size"] or 0))
            for path, info in found.items()
        }

    def where(self, sha256: str) -> str:
        """The file's place as a person needs it: a path, or a URL."""
        path = self._path(sha256)
        return path if self._local else str(self._system.unstrip_protocol(path))

    def _path(self, sha256: str) -> str:
        return f"{self._root}/{address(sha256)}"

    def _put(self, sha256: str, content: bytes) -> None:
        with self._faults(sha256, "written"):
            there = self._there(sha256, len(content))
            if there is None:
                if self._local:
                    _write_through(Path(self._path(sha256)), (content,))
                else:
                    self._system.pipe_file(self._path(sha256), content)
                return
        if not there:
            raise StorageError(_altered(sha256))

    def _there(self, sha256: str, byte_count: int) -> bool | None:
        """Whether the very file lies there; None when nothing does."""
        try:
            info = self._system.info(self._path(sha256))
        except FileNotFoundError:
            return None
        if int(info["size"]) != byte_count:
            return False
        return sha256_of(bytes(self._system.cat_file(self._path(sha256)))) == sha256

    @contextlib.contextmanager
    def _faults(self, what: str, done: str) -> Iterator[None]:
        """Faults of a file system, whatever its library raises, as one sentence."""
        try:
            yield
        except StorageError:
            raise
        except Exception as error:
            if done == "read" and isinstance(error, FileNotFoundError):
                raise StorageError(_missing(what)) from None
            raise StorageError(
                f"the archive's files at {printable_name(self.url)} cannot be {done}: {_reason(error)}."
            ) from None


_CHANGED = "a file was changed while it was read: nothing was added."


def _altered(sha256: str) -> str:
    return (
        f"what lies in the archive under {sha256[:12]} was altered: nothing was added, and "
        "`fitup archive verify` tells of all that was altered."
    )


def _missing(what: str) -> str:
    name = what.rpartition("/")[2][:12]
    return f"the file {name} of the archive is missing: `fitup archive verify` tells of all."


def _protocols(system: Any) -> tuple[str, ...]:
    named = system.protocol
    return (named,) if isinstance(named, str) else tuple(named)


def _reason(error: Exception) -> str:
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return printable_name(" ".join(str(text).split()))[:160].rstrip(".")


def _local_files(folder: str, place: str = "") -> Iterator[StoredFile]:
    """All files below a folder; of a link it is the link itself that is looked at."""
    try:
        entries = list(os.scandir(folder))
    except FileNotFoundError:
        return
    for entry in entries:
        if entry.is_dir(follow_symlinks=False):
            yield from _local_files(entry.path, f"{place}{entry.name}/")
        else:
            size = entry.stat(follow_symlinks=False).st_size
            yield StoredFile(place=place + entry.name, byte_count=size)


def _file_parts(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while part := file.read(PART_BYTES):
            yield part


def _checked(parts: Iterable[bytes], sha256: str, otherwise: str) -> Iterator[bytes]:
    """The parts themselves, and behind the last a StorageError where their digest is another."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(part)
        yield part
    if digest.hexdigest() != sha256:
        raise StorageError(otherwise)


def _read_through(parts: Iterable[bytes]) -> None:
    for _ in parts:
        pass


def _write_through(path: Path, parts: Iterable[bytes]) -> None:
    """Written, forced to the disk, renamed, and the rename forced to the disk."""
    _make_folder(path.parent)
    fresh = path.parent / f".incoming-{uuid.uuid4().hex}"
    # Readable only: nobody changes evidence by mistake.
    handle = os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY | _BINARY, 0o444)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(parts)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
    flush_folder(path.parent)


def _make_folder(folder: Path) -> None:
    """The folder and those above it, each forced to the disk where it was made."""
    if folder.is_dir():
        return
    _make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    flush_folder(folder.parent)


def flush_folder(folder: Path) -> None:
    """Force a folder's names to the disk, where the system can."""
    with contextlib.suppress(PermissionError):  # some systems have no such thing for folders
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
