"""Entries out of an archive: to a bag that can be proved, imported and measured again, or to one table.

A selection takes with it what belongs together: what entries refer to, and what was added to them since. A
wrong entry never travels without its correction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fitup import __version__
from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.bag_entries import (
    ENTRY_NAME,
    INDEX_NAME,
    PROFILES_CSV,
    PROFILES_JSONL,
    BagIndex,
    EntryMark,
    entry_folder,
)
from fitup.evidence.archive.bags import BagWriter, name_in_bag
from fitup.evidence.archive.entry import MEASURED_KINDS, entry_to_json
from fitup.evidence.archive.finding import Query
from fitup.evidence.archive.profile_rows import EntryProfile, csv_parts, entry_profile, jsonl_parts
from fitup.evidence.archive.reading import record_of
from fitup.evidence.archive.store import address
from fitup.evidence.record_file import model_to_json
from fitup.evidence.writing import filling_new_file, filling_new_folder

__all__ = ["TABLE_ENDINGS", "Exported", "export_bag", "export_table", "selected"]

TABLE_ENDINGS = {".csv": csv_parts, ".jsonl": jsonl_parts}
Told = Callable[[str, int, int], None]


@dataclass(frozen=True, kw_only=True)
class Exported:
    """What was written; `digest` is the SHA-256 of a bag's tag manifest, which stands for all of it."""

    entries: tuple[int, ...]
    profiles: int
    unreadable: tuple[int, ...]
    """Measured entries whose record this version cannot read: no table has them, a bag does."""
    without_photo: tuple[int, ...]
    """Measured entries that no bag lets measure again: they were added without their photo."""
    digest: str | None = None


def selected(archive: Archive, numbers: Sequence[int] = (), query: Query | None = None) -> list[Stored]:
    """Entries by number or by what a query finds, with all that belongs to them, in the archive's order.

    Raises
    ------
    UsageError
        When there is no entry of a number, or none at all.
    StorageError
        When the archive cannot be read or was altered.
    """
    waiting = [archive.entry(number) for number in numbers] if query is None else archive.search(query)
    found: dict[int, Stored] = {}
    while waiting:
        one = waiting.pop()
        if one.entry.number in found:
            continue
        found[one.entry.number] = one
        waiting += archive.later(one.entry.number)
        waiting += [archive.entry(reference.number) for reference in one.entry.refers_to]
    if not found:
        raise UsageError("no entry fits: `fitup archive list` shows what there is.")
    return [found[number] for number in sorted(found)]


def export_bag(
    archive: Archive,
    entries: Sequence[Stored],
    target: Path,
    told: Told = lambda what, done, of: None,
) -> Exported:
    """Write entries with all their files as the bag `target`, all of it or nothing.

    Raises
    ------
    UsageError
        When `target` is there already.
    StorageError
        When it cannot be written, or a file of the archive is missing or was altered.
    """
    head = archive.head()
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    index = BagIndex(
        archive=archive.name,
        head=_mark(entries[-1] if head is None else head),
        exported_at_utc=now,
        program=f"fitup {__version__}",
        entries=tuple(_mark(one) for one in entries),
    )
    with filling_new_folder(target) as folder:
        bag = BagWriter(folder)
        for done, one in enumerate(entries, start=1):
            _put(bag, archive, one)
            told("entries", done, len(entries))
        bag.add(INDEX_NAME, [model_to_json(index).encode()])
        reading = _Profiles(archive, entries)
        bag.add(PROFILES_CSV, csv_parts(reading))
        bag.add(PROFILES_JSONL, jsonl_parts(reading))
        info = {
            "Bag-Software-Agent": index.program,
            "Bagging-Date": now[:10],
            "External-Identifier": f"{archive.name}/{index.head.number}",
            "External-Description": f"{len(entries)} entries of a fitup archive",
        }
        digest = bag.finish(info)
    return _exported(entries, reading, digest)


def export_table(archive: Archive, entries: Sequence[Stored], target: Path) -> Exported:
    """Write the profiles of entries as one table, CSV or JSON Lines by the ending; errors as a bag's."""
    parts = TABLE_ENDINGS[target.suffix.lower()]
    reading = _Profiles(archive, entries)
    with filling_new_file(target) as file:
        file.writelines(parts(reading))
    return _exported(entries, reading, None)


class _Profiles(Iterable[EntryProfile]):
    """Profiles of the measured entries, read anew whenever they are gone through."""

    def __init__(self, archive: Archive, entries: Sequence[Stored]) -> None:
        self._archive = archive
        self._entries = [one for one in entries if one.entry.kind in MEASURED_KINDS]
        self.unreadable: dict[int, None] = {}
        self.count = 0

    def __iter__(self) -> Iterator[EntryProfile]:
        self.count = 0
        for one in self._entries:
            file = one.entry.file("record")
            if file is not None:
                self._archive.store.read(file.sha256)  # an altered one must not pass for an unreadable one
            try:
                record = record_of(self._archive, one.entry)
            except StorageError:
                record = None
            if record is None:
                self.unreadable[one.entry.number] = None
                continue
            self.count += 1
            yield entry_profile(one, self._archive.later(one.entry.number), record)


def _put(bag: BagWriter, archive: Archive, stored: Stored) -> None:
    folder = entry_folder(stored.entry.number)
    bag.add(f"{folder}/{ENTRY_NAME}", [entry_to_json(stored.entry).encode()], stored.digest)
    for number, file in enumerate(stored.entry.files, start=1):
        place = f"{folder}/{number}-{name_in_bag(file.name)}"
        bag.add(place, archive.store.parts(address(file.sha256)), file.sha256)


def _exported(entries: Sequence[Stored], reading: _Profiles, digest: str | None) -> Exported:
    measured = [one.entry for one in entries if one.entry.kind in MEASURED_KINDS]
    return Exported(
        entries=tuple(one.entry.number for one in entries),
        profiles=reading.count,
        unreadable=tuple(reading.unreadable),
        without_photo=tuple(entry.number for entry in measured if entry.file("photo") is None),
        digest=digest,
    )


def _mark(stored: Stored) -> EntryMark:
    return EntryMark(number=stored.entry.number, digest=stored.digest)
