"""A bag into an archive: nothing is taken before all was read and held, what is there is not added again.

The entries get their place at the end of the archive's own chain. What they were before - archive, number,
digest - stays named (`imported`), and the former entry itself is kept as a file, so that its digest can be
worked out again.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.archive import Added, Archive, Stored
from fitup.evidence.archive.bag_check import Bag, bag_error, check_bag
from fitup.evidence.archive.bag_entries import BagIndex, bag_entries
from fitup.evidence.archive.draft import Draft, DraftFile, main_file
from fitup.evidence.archive.entry import MEASURED_KINDS, ArchivedFile, Entry, Origin
from fitup.evidence.archive.faults import Fault
from fitup.evidence.archive.gathering import found_in
from fitup.evidence.archive.reading import record_from
from fitup.evidence.writing import printable_name

__all__ = ["CheckedBag", "Imported", "import_bag", "read_bag"]

Told = Callable[[str, int, int], None]


@dataclass(frozen=True, kw_only=True)
class CheckedBag:
    """A bag that was read and holds: its entries as they were in their archive, in that order."""

    bag: Bag
    index: BagIndex
    entries: tuple[Stored, ...]


@dataclass(frozen=True, kw_only=True)
class Imported:
    """What an entry of the bag was, and what it is now."""

    was: Stored
    now: Added


def read_bag(folder: Path, told: Told = lambda what, done, of: None) -> CheckedBag:
    """Read and verify a bag: by RFC 8493 twice, by ourselves and by the library, and its entries.

    Raises
    ------
    UsageError
        When it is no bag.
    StorageError
        When anything in it is not as it was exported, or it cannot be read.
    """
    bag = check_bag(folder, told)
    _second_opinion(bag)
    index, entries = bag_entries(bag)
    places = {sha256: bag.folder / place for place, sha256 in bag.sha256.items()}
    if faults := [fault for one in entries if (fault := _against_record(one.entry, places)) is not None]:
        raise bag_error(bag.name, faults)
    return CheckedBag(bag=bag, index=index, entries=tuple(entries))


def import_bag(
    archive: Archive, checked: CheckedBag, told: Told = lambda what, done, of: None
) -> list[Imported]:
    """Add the entries of a bag, all of them or none, behind what is in the archive.

    Raises
    ------
    StorageError
        When something cannot be read or written, or the bag was changed meanwhile. No entry was added then.
    """
    places = {digest: checked.bag.folder / place for place, digest in checked.bag.sha256.items()}
    fresh = [one for one in checked.entries if not _is_known(archive, one)]
    wanted = {one.digest for one in fresh} | {file.sha256 for one in fresh for file in one.entry.files}
    for done, sha256 in enumerate(sorted(wanted), start=1):
        archive.store.put_file(sha256, places[sha256])
        told("files", done, len(wanted))
    keys = {one.entry.number: _key(one) for one in checked.entries}
    sizes = {checked.bag.sha256[place]: count for place, count in checked.bag.byte_count.items()}
    drafts = [_draft(one, keys, sizes[one.digest]) for one in checked.entries]
    added = archive.add(drafts)
    return [Imported(was=was, now=now) for was, now in zip(checked.entries, added, strict=True)]


def _second_opinion(bag: Bag) -> None:
    """What the library says of structure and completeness; digests were worked out already."""
    import bagit

    logging.getLogger("bagit").setLevel(logging.CRITICAL)  # what it has to say comes back as an error
    try:
        bagit.Bag(str(bag.folder)).validate(completeness_only=True)
    except (bagit.BagError, OSError, ValueError) as error:
        sentence = f"the BagIt library says: {printable_name(str(error))[:160]}"
        raise bag_error(bag.name, [Fault(word="damaged", where="bag", sentence=sentence)]) from None


def _against_record(entry: Entry, places: Mapping[str, Path]) -> Fault | None:
    """Where an entry says that something else was found than its record says.

    An entry may say less, and records of newer versions cannot be read.
    """
    file = entry.file("record")
    if entry.kind not in MEASURED_KINDS or file is None:
        return None
    try:
        found = found_in(record_from(places[file.sha256].read_bytes(), entry))
    except (StorageError, UsageError, OSError):
        return None
    said = {name: getattr(entry.about, name) for name in found}
    wrong = [name for name, value in said.items() if value not in (None, "", found[name])]
    if not wrong:
        return None
    sentence = f"it tells of another {wrong[0].removesuffix('_um').replace('_', ' ')} than its record"
    return Fault(word="altered", where=f"entry {entry.number}", sentence=sentence)


def _is_known(archive: Archive, stored: Stored) -> bool:
    return archive.find(_key(stored)) is not None or archive.find(_origin(stored).digest) is not None


def _key(stored: Stored) -> str:
    """What an entry is known by in every archive: the file that it is of, or the entry that it was first."""
    return main_file(stored.entry) or stored.digest


def _origin(stored: Stored) -> Origin:
    entry = stored.entry
    if entry.imported is not None:
        return entry.imported
    return Origin(archive=entry.archive, number=entry.number, digest=stored.digest)


def _draft(stored: Stored, keys: Mapping[int, str], byte_count: int) -> Draft:
    entry = stored.entry
    former = ArchivedFile(role="entry", name=_former_name(entry), sha256=stored.digest, byte_count=byte_count)
    return Draft(
        kind=entry.kind,
        about=entry.about,
        files=tuple(DraftFile(entry=file, content=None) for file in (*entry.files, former)),
        refers_to_files=tuple(keys[one.number] for one in entry.refers_to),
        outcome=entry.outcome,
        correction=entry.correction,
        note=entry.note,
        imported=_origin(stored),
    )


def _former_name(entry: Entry) -> str:
    return f"entry-{entry.number}-of-{entry.archive[:8]}.json"
