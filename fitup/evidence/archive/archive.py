"""The archive: opened, added to, searched. Nothing in it is ever changed.

Adding writes the files first and the entries last, in one transaction: an entry that is there has all its
files, and whoever is cut off at any moment leaves the whole entry or none. Files without an entry may stay
behind then; `verify` tells of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection, insert, select

from fitup import __version__
from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.database import Database
from fitup.evidence.archive.draft import Draft
from fitup.evidence.archive.entry import (
    BEFORE_THE_FIRST,
    Entry,
    Reference,
    digest_of,
    entry_from_json,
    entry_to_json,
)
from fitup.evidence.archive.finding import Query, finding_of, later_entries, links_of, selection
from fitup.evidence.archive.models import EntryRow, FindingRow, LinkRow
from fitup.evidence.archive.place import archive_place
from fitup.evidence.archive.store import Store

__all__ = ["Added", "Archive", "Stored", "open_archive"]


@dataclass(frozen=True, kw_only=True)
class Stored:
    """An entry as it lies in the archive."""

    entry: Entry
    digest: str


@dataclass(frozen=True, kw_only=True)
class Added(Stored):
    """An entry that is in the archive now; not `fresh` where it was there before."""

    fresh: bool


def open_archive(place: str, *, create: bool = False) -> Archive:
    """Open the archive at a folder or URL; with `create`, make it where there is none.

    Raises
    ------
    UsageError
        When the place cannot be understood, or holds no archive and none is to be made.
    StorageError
        When the archive cannot be opened or made.
    """
    where = archive_place(place)
    database = Database(where)
    name = database.open(create=create)
    return Archive(name=name, shown=where.shown, database=database, store=Store(where.files))


@dataclass(frozen=True, kw_only=True, eq=False)
class Archive:
    """An open archive; `name` tells it from all others."""

    name: str
    shown: str
    database: Database
    store: Store

    def add(self, drafts: Sequence[Draft]) -> list[Added]:
        """Add entries, all of them or none, in their order; what is there already is not added again.

        When this returns, all of it is on the disk.

        Raises
        ------
        UsageError
            When an entry refers to one that is not in the archive.
        StorageError
            When something cannot be written. No entry was added then, unless the database's connection was
            lost in the very moment of confirming.
        """
        files = (one for draft in drafts for one in draft.files)
        self.store.put_all({one.entry.sha256: one.content for one in files if one.content is not None})
        with self.database.writing() as connection:
            return [_append(connection, self.name, draft) for draft in drafts]

    def head(self) -> Stored | None:
        """The last entry; None in an empty archive."""
        with self.database.reading() as connection:
            return _head(connection)

    def entry(self, number: int) -> Stored:
        """The entry of this number; UsageError when there is none."""
        with self.database.reading() as connection:
            return _entry(connection, number)

    def later(self, number: int) -> list[Stored]:
        """Entries that refer to one: settlements, comparisons, outcomes, corrections."""
        with self.database.reading() as connection:
            return [_stored(row[0], row[1]) for row in connection.execute(later_entries(number))]

    def search(self, query: Query, most: int | None = None, before: int | None = None) -> list[Stored]:
        """Entries that a query finds, the newest first, at `most` so many, of numbers below `before`."""
        with self.database.reading() as connection:
            return [_stored(row[0], row[1]) for row in connection.execute(selection(query, most, before))]

    def find(self, sha256: str) -> Stored | None:
        """The entry that is of a file, or of a former entry, or has the digest itself."""
        with self.database.reading() as connection:
            return _by_file(connection, sha256) or _by_digest(connection, sha256)

    def find_file(self, main_sha256: str) -> Stored | None:
        """The entry of a record, settlement or comparison, by the digest of its file."""
        with self.database.reading() as connection:
            return _by_file(connection, main_sha256)


def _append(connection: Connection, archive: str, draft: Draft) -> Added:
    """One entry behind the last one, in a transaction that nobody else writes beside."""
    main = draft.main_sha256
    there = None if main is None else _by_file(connection, main)
    if there is None and draft.imported is not None:  # it may be at home here
        there = _by_digest(connection, draft.imported.digest)
    if there is not None:
        return Added(entry=there.entry, digest=there.digest, fresh=False)
    last = connection.execute(
        select(EntryRow.number, EntryRow.digest).order_by(EntryRow.number.desc()).limit(1)
    ).first()
    number, previous = (0, BEFORE_THE_FIRST) if last is None else (int(last[0]), str(last[1]))
    entry = Entry(
        format=1 if draft.imported is None else 2,
        archive=archive,
        number=number + 1,
        previous=previous,
        kind=draft.kind,
        added_at_utc=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        program=f"fitup {__version__}",
        about=draft.about,
        refers_to=(*draft.refers_to, *(_reference(connection, one) for one in draft.refers_to_files)),
        outcome=draft.outcome,
        correction=draft.correction,
        note=draft.note,
        files=tuple(one.entry for one in draft.files),
        imported=draft.imported,
    )
    content = entry_to_json(entry)
    digest = digest_of(content)
    row = {"number": entry.number, "digest": digest, "previous": previous, "content": content}
    connection.execute(insert(EntryRow), row)
    connection.execute(insert(FindingRow), finding_of(entry))
    for link in links_of(entry):
        connection.execute(insert(LinkRow), link)
    return Added(entry=entry, digest=digest, fresh=True)


def _reference(connection: Connection, main_sha256: str) -> Reference:
    found = _by_file(connection, main_sha256) or _by_digest(connection, main_sha256)
    if found is None:
        raise UsageError(
            f"the record {main_sha256[:12]} that is referred to is not in the archive: add it first."
        )
    return Reference(number=found.entry.number, digest=found.digest)


def _head(connection: Connection) -> Stored | None:
    last = select(EntryRow.digest, EntryRow.content).order_by(EntryRow.number.desc()).limit(1)
    row = connection.execute(last).first()
    return None if row is None else _stored(row[0], row[1])


def _entry(connection: Connection, number: int) -> Stored:
    wanted = select(EntryRow.digest, EntryRow.content).where(EntryRow.number == number)
    row = connection.execute(wanted).first() if 0 < number < 2**31 else None
    if row is None:
        raise UsageError(f"the archive has no entry {number}: `fitup archive list` shows the entries.")
    return _stored(row[0], row[1])


def _by_file(connection: Connection, main_sha256: str) -> Stored | None:
    wanted = (
        select(EntryRow.digest, EntryRow.content)
        .join(FindingRow, FindingRow.number == EntryRow.number)
        .where(FindingRow.main_sha256 == main_sha256)
    )
    row = connection.execute(wanted).first()
    return None if row is None else _stored(row[0], row[1])


def _by_digest(connection: Connection, digest: str) -> Stored | None:
    wanted = select(EntryRow.digest, EntryRow.content).where(EntryRow.digest == digest)
    row = connection.execute(wanted).first()
    return None if row is None else _stored(row[0], row[1])


def _stored(digest: str, content: str) -> Stored:
    entry = entry_from_json(content)
    if entry is None or digest_of(content) != digest:
        raise StorageError(
            "an entry of the archive was altered: `fitup archive verify` names all that was altered."
        )
    return Stored(entry=entry, digest=digest)
