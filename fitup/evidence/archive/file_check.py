"""The files of an archive, read again: every byte of every one, and what lies there besides."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Mapping, Set
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeAlias

from fitup.errors import StorageError
from fitup.evidence.archive.faults import Fault, FaultWord
from fitup.evidence.archive.local_files import is_unfinished
from fitup.evidence.archive.store import Store, address
from fitup.evidence.writing import printable_name

__all__ = ["NamedFile", "check_files"]

_READERS = 4
_SMALL = 1 << 17  # smaller ones are quicker read here than handed to a reader
_SMALL_BATCH = 256
_LARGE_BATCH = 8
_ADDRESS = re.compile(r"([0-9a-f]{2})/(\1[0-9a-f]{62})")


class NamedFile(NamedTuple):
    """A file that an entry names: an archive has many, so no more than a tuple each."""

    number: int
    role: str
    name: str
    byte_count: int


class _Found(NamedTuple):
    """What lies under a digest: its true digest, empty where it cannot be read, and how much there is."""

    digest: str
    byte_count: int


_Looked: TypeAlias = tuple[str, _Found | None]


def check_files(
    store: Store, named: Mapping[str, NamedFile], told: Callable[[int], None] = lambda _: None
) -> tuple[list[Fault], int, int]:
    """Compare all files with their digests: what is wrong, how many bytes were read, how many are left over.

    `named` are the files that entries name, by digest. `told` hears how many files were read since the last
    time.

    Raises
    ------
    StorageError
        When the store cannot be listed at all.
    """
    there = store.places()
    faults: list[Fault] = []
    read = 0
    for batch in _found(store, there, named):
        for sha256, found in batch:
            read += 0 if found is None else found.byte_count
            if found is None or found.digest != sha256:
                faults.append(_judged(sha256, found, named))
        told(len(batch))
    besides = there.difference(map(address, named))
    extra = [fault for place in sorted(besides) if (fault := _extra(store, place)) is not None]
    return [*faults, *extra], read, len(besides) - len(extra)


def _found(store: Store, there: Set[str], named: Mapping[str, NamedFile]) -> Iterator[list[_Looked]]:
    """What lies under every digest, None where nothing does; large files are read by others meanwhile."""

    def looked(batch: list[str], hashed: Callable[[Store, str, int], _Found]) -> list[_Looked]:
        return [
            (sha256, hashed(store, place, named[sha256].byte_count) if place in there else None)
            for sha256, place in zip(batch, map(address, batch), strict=True)
        ]

    small: list[str] = []
    large: list[str] = []
    for sha256, file in named.items():
        (small if file.byte_count < _SMALL and store.is_local else large).append(sha256)
    with ThreadPoolExecutor(_READERS) as pool:
        reading = pool.map(lambda batch: looked(batch, _hashed), _batches(large, _LARGE_BATCH))
        for batch in _batches(small, _SMALL_BATCH):
            yield looked(batch, _hashed_at_once)
        yield from reading


def _batches(digests: list[str], size: int) -> Iterator[list[str]]:
    return (digests[start : start + size] for start in range(0, len(digests), size))


def _hashed(store: Store, place: str, _: int = 0) -> _Found:
    digest, count = hashlib.sha256(), 0
    try:
        for part in store.parts(place):
            digest.update(part)
            count += len(part)
    except StorageError:
        return _Found("", count)
    return _Found(digest.hexdigest(), count)


def _hashed_at_once(store: Store, place: str, byte_count: int) -> _Found:
    try:
        content = store.content(place, byte_count)
    except StorageError:
        return _Found("", 0)
    return _Found(hashlib.sha256(content).hexdigest(), len(content))


def _judged(sha256: str, found: _Found | None, named: Mapping[str, NamedFile]) -> Fault:
    file = named[sha256]
    word, sentence = _told(found, file, named)
    return Fault(
        word=word, where=f"{file.role} {file.name} of entry {file.number} ({sha256[:12]})", sentence=sentence
    )


def _told(found: _Found | None, file: NamedFile, named: Mapping[str, NamedFile]) -> tuple[FaultWord, str]:
    if found is None:
        return "missing", "the file is not there"
    if not found.digest:
        return "damaged", "the file cannot be read"
    if found.digest in named:
        other = named[found.digest]
        return "swapped", f"what lies there is {other.role} {other.name} of entry {other.number}"
    if found.byte_count < file.byte_count:
        return "truncated", f"it has {found.byte_count} bytes and was {file.byte_count}"
    if found.byte_count > file.byte_count:
        return "altered", f"it has {found.byte_count} bytes and was {file.byte_count}"
    return "altered", "its bytes are not those that were added"


def _extra(store: Store, place: str) -> Fault | None:
    """A file that no entry names; None where it is what an add that was cut off leaves behind."""
    match = _ADDRESS.fullmatch(place)
    if is_unfinished(place) or (match is not None and _hashed(store, place).digest == match[2]):
        return None
    return Fault(word="extra", where=f"file {printable_name(place)}", sentence="no entry names it")
