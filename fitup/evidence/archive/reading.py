"""Taking things out of the archive again: records, and an entry's files under their own names."""

from __future__ import annotations

from pathlib import Path

from fitup.errors import UsageError
from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.entry import Entry
from fitup.evidence.archive.store import Store
from fitup.evidence.judged_record import AnyRecord
from fitup.evidence.record_file import model_from_json, record_from_json
from fitup.evidence.seam_record import SEAM_SCHEMA_VERSION, SeamRecord
from fitup.evidence.sides_record import SIDES_SCHEMA_VERSION, SidesRecord
from fitup.evidence.writing import safe_stem, write_folder

__all__ = ["contents_of", "files_of", "record_from", "record_in", "record_of", "write_out"]


def record_of(archive: Archive, entry: Entry) -> AnyRecord | None:
    """The record of a measured joint, read from the archive; None for entries of other kinds.

    Raises
    ------
    StorageError
        When it is missing or was altered.
    """
    return record_in(archive.store, entry)


def record_in(store: Store, entry: Entry) -> AnyRecord | None:
    """The same from the archive's files alone."""
    file = entry.file("record")
    return None if file is None else record_from(store.read(file.sha256), entry)


def record_from(content: bytes, entry: Entry) -> AnyRecord:
    """The same from the bytes of the entry's record; StorageError where this version cannot read them."""
    name = f"the record of entry {entry.number}"
    if entry.kind == "seam":
        return model_from_json(SeamRecord, SEAM_SCHEMA_VERSION, content, name)
    if entry.kind == "sides":
        return model_from_json(SidesRecord, SIDES_SCHEMA_VERSION, content, name)
    return record_from_json(content, name)


def files_of(archive: Archive, entry: Entry) -> dict[str, bytes]:
    """All files of an entry, by names that every file system takes and none twice; errors as `record_of`."""
    return contents_of(archive.store, entry)


def contents_of(store: Store, entry: Entry) -> dict[str, bytes]:
    """The same from the archive's files alone."""
    files: dict[str, bytes] = {}
    for number, file in enumerate(entry.files, start=1):
        name = safe_stem(f"{Path(file.name).stem}.x") + Path(safe_stem(f"{file.name}.x")).suffix
        files[f"{number}-{name}" if name in files else name] = store.read(file.sha256)
    return files


def write_out(archive: Archive, entry: Entry, out: Path) -> Path:
    """Write an entry's files to `out/entry-NUMBER`, never over anything; give the folder.

    Raises
    ------
    UsageError
        When the entry has no files.
    StorageError
        When a file is missing or was altered, or nothing can be written.
    """
    if not entry.files:
        raise UsageError(f"entry {entry.number} has no files.")
    return write_folder(out, f"entry-{entry.number}", files_of(archive, entry), lambda _: False)
