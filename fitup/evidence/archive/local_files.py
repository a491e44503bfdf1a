"""Files in a folder of this computer: once they are kept they are on the disk, and before that not there.

A file is written under a name of its own, forced to the disk and then renamed. Of several files all are
forced to the disk at once, then all are renamed, then all folders are forced to the disk at once: so adding
waits twice for the disk and not twice for every file.
"""

from __future__ import annotations

import contextlib
import os
import re
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor, wait
from functools import cached_property
from pathlib import Path
from typing import TypeVar

__all__ = ["PART_BYTES", "LocalFiles", "flush_folder", "is_unfinished"]

PART_BYTES = 1 << 20
# Files that are forced to the disk at the same time: the system does it in one go.
_WRITERS = 8
_BINARY = getattr(os, "O_BINARY", 0)
_UNFINISHED = re.compile(r"\.incoming-[0-9a-f]{32}")

T = TypeVar("T")
R = TypeVar("R")


def is_unfinished(place: str) -> bool:
    """Whether a file was being written when the program was killed, by its place."""
    return _UNFINISHED.fullmatch(place.rpartition("/")[2]) is not None


class LocalFiles:
    """Files by their places `folder/name` below a root folder; OSErrors pass through."""

    def __init__(self, root: str) -> None:
        """Look at nothing yet."""
        self._root = root
        self._on_disk: set[str] = set()  # folders whose names we have forced to the disk

    def keep(self, contents: Mapping[str, bytes]) -> list[str]:
        """Keep files, place to content, all of them or none; give the places where something else lies.

        Where the same lies already nothing is written. Nothing is kept where something else lies.
        """
        folders = {place.rpartition("/")[0] for place in contents}
        for folder in folders - self._on_disk:
            self._make(folder)
        fresh: dict[str, Path] = {}

        def write(place: str) -> bool:
            """Whether this file is there, or lies ready."""
            there = self._is_there(place, contents[place])
            if there is None:
                fresh[place] = _written_aside(self._path(place), (contents[place],))
            return there is not False

        try:
            others = [
                place for place, kept in zip(contents, self._each(write, contents), strict=True) if not kept
            ]
            if not others:
                for place, path in fresh.items():
                    path.replace(self._path(place))
                fresh.clear()
        finally:
            for path in fresh.values():
                path.unlink(missing_ok=True)
        if not others:
            self._flush(folders)
        return others

    def keep_parts(self, place: str, parts: Iterable[bytes]) -> None:
        """Keep one file that is too large to be held in memory; errors of `parts` pass through."""
        folder = place.rpartition("/")[0]
        self._make(folder)
        fresh = _written_aside(self._path(place), parts)
        try:
            fresh.replace(self._path(place))
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
        self._flush({folder})

    def settle(self, place: str) -> None:
        """Force the names that lead to a file to the disk, which another program may have given it."""
        self._flush({place.rpartition("/")[0]})

    def parts(self, place: str) -> Iterator[bytes]:
        """The bytes of a file in parts."""
        handle = os.open(f"{self._root}/{place}", os.O_RDONLY | _BINARY)
        try:
            while part := os.read(handle, PART_BYTES):
                yield part
        finally:
            os.close(handle)

    def read(self, place: str, byte_count: int) -> bytes:
        """The bytes of a small file at once; `byte_count` is what it should have, and may be wrong."""
        handle = os.open(f"{self._root}/{place}", os.O_RDONLY | _BINARY)
        try:
            content = os.read(handle, byte_count + 1)
            if len(content) != byte_count:
                while part := os.read(handle, PART_BYTES):
                    content += part
            return content
        finally:
            os.close(handle)

    def places(self) -> Iterator[str]:
        """Every file below the root; links are not followed."""
        waiting = [("", self._root)]
        while waiting:
            place, folder = waiting.pop()
            with contextlib.suppress(FileNotFoundError), os.scandir(folder) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        waiting.append((f"{place}{entry.name}/", entry.path))
                    else:
                        yield place + entry.name

    def _path(self, place: str) -> Path:
        return Path(f"{self._root}/{place}")

    def _make(self, folder: str) -> None:
        """A folder below the root; the root, which is made once, with all above it."""
        root = Path(self._root)
        if not self._on_disk:
            _make_folder(root)
        (root / folder).mkdir(exist_ok=True)

    def _flush(self, folders: set[str]) -> None:
        """Force names to the disk: of the files, and of folders that this or another program made."""
        new = folders - self._on_disk
        wanted = [*(f"{self._root}/{folder}" for folder in folders), *([self._root] if new else [])]
        self._each(flush_folder, [Path(folder) for folder in wanted])
        self._on_disk |= new

    def _is_there(self, place: str, content: bytes) -> bool | None:
        """Whether the very file lies there; None when nothing does."""
        path = self._path(place)
        try:
            return path.stat().st_size == len(content) and path.read_bytes() == content
        except FileNotFoundError:
            return None

    def _each(self, work: Callable[[T], R], things: Iterable[T]) -> list[R]:
        """The same for all, several at once; all have ended when an error of one is raised."""
        futures = [self._pool.submit(work, thing) for thing in things]
        wait(futures)
        return [future.result() for future in futures]

    @cached_property
    def _pool(self) -> ThreadPoolExecutor:
        """Kept, since threads begin slowly on a busy machine; they end with the object."""
        return ThreadPoolExecutor(_WRITERS, thread_name_prefix="fitup-files")


def flush_folder(folder: Path) -> None:
    """Force a folder's names to the disk, where the system can."""
    with contextlib.suppress(PermissionError):  # some systems have no such thing for folders
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _written_aside(path: Path, parts: Iterable[bytes]) -> Path:
    """Written beside its place under a name of its own, and forced to the disk."""
    fresh = path.parent / f".incoming-{uuid.uuid4().hex}"
    # Readable only: nobody changes evidence by mistake.
    handle = os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY | _BINARY, 0o444)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(parts)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise
    return fresh


def _make_folder(folder: Path) -> None:
    """The folder and those above it, each forced to the disk where it was made."""
    if folder.is_dir():
        return
    _make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    flush_folder(folder.parent)
