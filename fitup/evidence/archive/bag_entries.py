"""The entries in a bag: how they lie in it, and what must hold between them before they are believed.

`data/archive.json` names the archive, its head and every entry by number and digest;
`data/entries/000012/entry.json` is the entry's canonical JSON to the letter, so that its SHA-256 in the
manifest is the entry's digest. The entry's files lie beside it; they are found by digest and not by name.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fitup.evidence.archive.archive import Stored
from fitup.evidence.archive.bag_check import Bag, bag_error
from fitup.evidence.archive.bags import PAYLOAD
from fitup.evidence.archive.entry import BEFORE_THE_FIRST, digest_of, entry_from_json
from fitup.evidence.archive.faults import Fault, FaultWord

__all__ = [
    "BESIDE",
    "ENTRY_NAME",
    "INDEX_NAME",
    "PROFILES_CSV",
    "PROFILES_JSONL",
    "BagIndex",
    "EntryMark",
    "bag_entries",
    "entry_folder",
]

INDEX_NAME = "archive.json"
ENTRY_NAME = "entry.json"
PROFILES_CSV = "profiles.csv"
PROFILES_JSONL = "profiles.jsonl"
BESIDE = frozenset(PAYLOAD + name for name in (INDEX_NAME, PROFILES_CSV, PROFILES_JSONL))
_LARGEST_JSON = 64_000_000


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class EntryMark(_Part):
    """An entry by its number and digest."""

    number: Annotated[int, Field(ge=1, le=2**53 - 1)]
    digest: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class BagIndex(_Part):
    """What `archive.json` says: where the entries come from, and what the archive's head was then."""

    format: Literal[1] = 1
    archive: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    head: EntryMark
    exported_at_utc: str
    program: str
    entries: tuple[EntryMark, ...]


def entry_folder(number: int) -> str:
    """Where an entry lies, below `data/`."""
    return f"entries/{number:06d}"


def bag_entries(bag: Bag) -> tuple[BagIndex, list[Stored]]:
    """The entries of a bag in the order of their archive.

    Raises
    ------
    StorageError
        When they are not what the index, their digests, the chain and their references say; all of it named.
    """
    index = _index(bag)
    check = _Check(bag, index)
    found = [check.entry(mark) for mark in index.entries]
    entries = [one for one in found if one is not None]
    check.stop()
    check.chain(entries)
    check.files(entries)
    check.stop()
    return index, entries


def _index(bag: Bag) -> BagIndex:
    if not bag.sha256:
        sentence = "the payload's SHA-256 are needed"
        raise bag_error(bag.name, [Fault(word="missing", where="manifest-sha256.txt", sentence=sentence)])
    place = PAYLOAD + INDEX_NAME
    if place not in bag.sha256 or bag.byte_count[place] > _LARGEST_JSON:
        fault = Fault(word="missing", where=place, sentence="no archive of fitup was exported to this bag")
        raise bag_error(bag.name, [fault])
    try:
        return BagIndex.model_validate_json((bag.folder / place).read_bytes())
    except (ValidationError, ValueError, RecursionError):
        fault = Fault(word="damaged", where=place, sentence="it is no index that this fitup can read")
        raise bag_error(bag.name, [fault]) from None


class _Check:
    def __init__(self, bag: Bag, index: BagIndex) -> None:
        self._bag = bag
        self._index = index
        self._faults: list[Fault] = []

    def entry(self, mark: EntryMark) -> Stored | None:
        """The entry as its own file has it."""
        place = f"{PAYLOAD}{entry_folder(mark.number)}/{ENTRY_NAME}"
        where = f"entry {mark.number}"
        if place not in self._bag.sha256:
            self._fault("missing", where, f"there is no {place}")
            return None
        if self._bag.byte_count[place] > _LARGEST_JSON:
            self._fault("damaged", where, "it is too large")
            return None
        content = (self._bag.folder / place).read_bytes().decode("utf-8", "replace")
        entry = entry_from_json(content)
        if digest_of(content) != mark.digest:
            self._fault("altered", where, "its content and its digest do not belong together")
        elif entry is None:
            self._fault("altered", where, "its content is not that of an entry that this fitup can read")
        elif entry.archive != self._index.archive:
            self._fault("foreign", where, "it was added to another archive than the bag's")
        elif entry.number != mark.number:
            self._fault("out of order", where, f"what stands there was added as entry {entry.number}")
        else:
            return Stored(entry=entry, digest=mark.digest)
        return None

    def chain(self, entries: Sequence[Stored]) -> None:
        """Order, links between neighbours, references, and the head."""
        numbers = [one.entry.number for one in entries]
        if not entries or numbers != sorted(set(numbers)):
            self._fault("out of order", INDEX_NAME, "it must list entries, each once, in their order")
        digests = {0: BEFORE_THE_FIRST, **{one.entry.number: one.digest for one in entries}}
        for one in entries:
            number = one.entry.number
            if one.entry.previous != digests.get(number - 1, one.entry.previous):
                self._fault("rewritten", f"entry {number}", "it was not added behind the entry before it")
            for reference in one.entry.refers_to:
                if reference.number >= number or digests.get(reference.number) != reference.digest:
                    sentence = f"entry {reference.number}, which it refers to, is another or not in the bag"
                    self._fault("missing", f"entry {number}", sentence)
        head = self._index.head
        if head.number < max(numbers, default=0) or digests.get(head.number, head.digest) != head.digest:
            self._fault("altered", INDEX_NAME, "its head is not that of these entries")

    def files(self, entries: Sequence[Stored]) -> None:
        """Every file that entries name, and none besides."""
        sizes = {self._bag.sha256[place]: count for place, count in self._bag.byte_count.items()}
        named = {one.digest for one in entries}
        for one in entries:
            for file in one.entry.files:
                named.add(file.sha256)
                where = f"{file.role} {file.name} of entry {one.entry.number} ({file.sha256[:12]})"
                if file.sha256 not in sizes:
                    self._fault("missing", where, "no file of the bag has its digest")
                elif sizes[file.sha256] != file.byte_count:
                    self._fault("altered", where, "the entry tells of another size")
            origin = one.entry.imported
            if origin is not None and origin.digest not in {f.sha256 for f in one.entry.files}:
                self._fault(
                    "missing", f"entry {one.entry.number}", "the entry that it was first is not there"
                )
        for place, digest in self._bag.sha256.items():
            if digest not in named and place not in BESIDE:
                self._fault("extra", place, "no entry names it")

    def stop(self) -> None:
        """Raise what was found."""
        if self._faults:
            raise bag_error(self._bag.name, self._faults)

    def _fault(self, word: FaultWord, where: str, sentence: str) -> None:
        self._faults.append(Fault(word=word, where=where, sentence=sentence))
