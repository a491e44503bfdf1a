"""The files of an archive, each under the SHA-256 of its bytes: in a folder, or in object storage by URL.

A file that `put_all` or `put_file` has returned from is on the disk (`local_files.py`); object storage takes
an object whole or not at all.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.local_files import PART_BYTES, LocalFiles, flush_folder
from fitup.evidence.writing import printable_name

__all__ = ["Store", "address", "flush_folder", "sha256_of"]

# Objects that are sent at the same time.
_SENDERS = 8


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
        self._local = LocalFiles(self._root) if "file" in _protocols(system) else None

    @property
    def is_local(self) -> bool:
        """Whether the files lie in a folder of this computer."""
        return self._local is not None

    def put_all(self, contents: dict[str, bytes]) -> None:
        """Keep all files, digest to content; those that lie there already are compared and not written.

        Raises
        ------
        StorageError
            When one cannot be written, or what lies under its digest is something else.
        """
        by_place = {address(sha256): content for sha256, content in contents.items()}
        with self._faults("", "written"):
            others = self._sent(by_place) if self._local is None else self._local.keep(by_place)
        if others:
            raise StorageError(_altered(others[0].rpartition("/")[2]))

    def put_file(self, sha256: str, path: Path) -> None:
        """Keep a file that is too large to be held in memory; its digest is found anew while it is copied.

        Raises
        ------
        StorageError
            When it is another file, it cannot be read or kept, or what lies there is something else.
        """
        with self._faults(sha256, "written"):
            place = address(sha256)
            if self._system.exists(self._path(sha256)):
                _read_through(_checked(self.parts(place), sha256, _altered(sha256)))
                if self._local is not None:
                    self._local.settle(place)
            elif self._local is not None:
                self._local.keep_parts(place, _checked(_file_parts(path), sha256, _CHANGED))
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
            if self._local is not None:
                yield from self._local.parts(place)
                return
            path = f"{self._root}/{place}"
            with self._system.open(path, "rb", block_size=8 * PART_BYTES) as file:
                while part := file.read(PART_BYTES):
                    yield part

    def content(self, place: str, byte_count: int) -> bytes:
        """The bytes of a small file, whatever they are; `byte_count` is what it should have.

        Raises
        ------
        StorageError
            When it cannot be read.
        """
        try:
            if self._local is not None:
                return self._local.read(place, byte_count)
            return bytes(self._system.cat_file(f"{self._root}/{place}"))
        except Exception:
            with self._faults(place, "read"):
                raise

    def places(self) -> set[str]:
        """Where a file lies in the store, of all; StorageError when it cannot be listed."""
        with self._faults("", "listed"):
            if self._local is not None:
                return set(self._local.places())
            self._system.invalidate_cache()
            cut = len(self._root) + 1
            return {path[cut:] for path in self._system.find(self._root)}

    def where(self, sha256: str) -> str:
        """The file's place as a person needs it: a path, or a URL."""
        path = self._path(sha256)
        return path if self._local is not None else str(self._system.unstrip_protocol(path))

    def _path(self, sha256: str) -> str:
        return f"{self._root}/{address(sha256)}"

    def _sent(self, contents: Mapping[str, bytes]) -> list[str]:
        """Send objects to where there is none; give the places where something else lies."""

        def send(place: str) -> bool:
            path, content = f"{self._root}/{place}", contents[place]
            try:
                info = self._system.info(path)
            except FileNotFoundError:
                self._system.pipe_file(path, content)
                return True
            return int(info["size"]) == len(content) and bytes(self._system.cat_file(path)) == content

        with ThreadPoolExecutor(_SENDERS) as pool:
            return [
                place for place, is_it in zip(contents, pool.map(send, contents), strict=True) if not is_it
            ]

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
