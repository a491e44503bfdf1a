"""The files of an archive, read again: every byte of every one, and what lies there besides."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from itertools import islice

from fitup.errors import StorageError
from fitup.evidence.archive.entry import ArchivedFile
from fitup.evidence.archive.faults import Fault, FaultWord
from fitup.evidence.archive.store import Store, StoredFile, address
from fitup.evidence.writing import printable_name

__all__ = ["check_files"]

_READERS = 4
_BATCH = 64  # files handed to a reader at once: small ones are quicker read than handed over
_ADDRESS = re.compile(r"[0-9a-f]{2}/([0-9a-f]{64})")


def check_files(
    store: Store,
    named: Mapping[str, tuple[int, ArchivedFile]],
    told: Callable[[int], None] = lambda _: None,
) -> tuple[list[Fault], int, int]:
    """Compare all files with their digests: what is wrong, how many bytes were read, how many are left over.

    `named` are the files that entries name by digest, each with an entry's number. `told` hears how many
    files were read since the last time.

    Raises
    ------
    StorageError
        When the store cannot be listed at all.
    """
    there = store.files()
    faults: list[Fault] = []
    read = 0
    with ThreadPoolExecutor(_READERS) as pool:
        for batch in pool.map(lambda part: _digests(store, there, part), _batches(list(named))):
            for sha256, found, count in batch:
                fault = _judged(sha256, found, there.get(address(sha256)), named)
                faults += [] if fault is None else [fault]
                read += count
            told(len(batch))
    besides = {place: file for place, file in there.items() if not _is_named(place, named)}
    extra = [fault for file in besides.values() if (fault := _extra(store, file)) is not None]
    return [*faults, *extra], read, len(besides) - len(extra)


def _batches(digests: list[str]) -> Iterator[list[str]]:
    rest = iter(digests)
    while batch := list(islice(rest, _BATCH)):
        yield batch


def _digests(store: Store, there: Mapping[str, StoredFile], wanted: list[str]) -> list[tuple[str, str, int]]:
    """The true digest of every file, and its size; without digest where it is missing or cannot be read."""
    return [
        (sha256, *_hashed(store, address(sha256))) if address(sha256) in there else (sha256, "", 0)
        for sha256 in wanted
    ]


def _hashed(store: Store, place: str) -> tuple[str, int]:
    digest, count = hashlib.sha256(), 0
    try:
        for part in store.parts(place):
            digest.update(part)
            count += len(part)
    except StorageError:
        return "", count
    return digest.hexdigest(), count


def _judged(
    sha256: str, found: str, file: StoredFile | None, named: Mapping[str, tuple[int, ArchivedFile]]
) -> Fault | None:
    if found == sha256:
        return None
    number, entry = named[sha256]
    word, sentence = _told(found, file, entry, named)
    return Fault(
        word=word, where=f"{entry.role} {entry.name} of entry {number} ({sha256[:12]})", sentence=sentence
    )


def _told(
    found: str, file: StoredFile | None, entry: ArchivedFile, named: Mapping[str, tuple[int, ArchivedFile]]
) -> tuple[FaultWord, str]:
    if file is None:
        return "missing", "the file is not there"
    if not found:
        return "damaged", "the file cannot be read"
    if found in named:
        number, other = named[found]
        return "swapped", f"what lies there is {other.role} {other.name} of entry {number}"
    if file.byte_count < entry.byte_count:
        return "truncated", f"it has {file.byte_count} bytes and was {entry.byte_count}"
    if file.byte_count > entry.byte_count:
        return "altered", f"it has {file.byte_count} bytes and was {entry.byte_count}"
    return "altered", "its bytes are not those that were added"


def _is_named(place: str, named: Mapping[str, object]) -> bool:
    match = _ADDRESS.fullmatch(place)
    return match is not None and place == address(match[1]) and match[1] in named


def _extra(store: Store, file: StoredFile) -> Fault | None:
    """A file that no entry names; None where it is what an add that was cut off leaves behind."""
    match = _ADDRESS.fullmatch(file.place)
    if file.unfinished or (match is not None and _hashed(store, file.place)[0] == match[1]):
        return None
    return Fault(word="extra", where=f"file {printable_name(file.place)}", sentence="no entry names it")
