"""The chain of entries, read again: every digest, every link, and the tables beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple, TypeAlias

from sqlalchemy import Connection, func, select

from fitup.evidence.archive.archive import Archive
from fitup.evidence.archive.entry import BEFORE_THE_FIRST, Entry, digest_of, entry_from_json
from fitup.evidence.archive.faults import Fault, FaultWord
from fitup.evidence.archive.file_check import NamedFile
from fitup.evidence.archive.finding import FINDING_COLUMNS, finding_of, links_of
from fitup.evidence.archive.models import EntryRow, FindingRow, LinkRow

__all__ = ["ChainCheck"]

_BLOCK = 500
_Values: TypeAlias = tuple[Any, ...]


class _Row(NamedTuple):
    number: int
    digest: str
    previous: str
    content: str


class ChainCheck:
    """Reads all entries in their order and keeps what it finds.

    `digests` are the true digests by number, `files` every file that entries name, with the first of them.
    """

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        self._row_digest = BEFORE_THE_FIRST
        self._last = 0
        self.faults: list[Fault] = []
        self.digests: dict[int, str] = {}
        self.files: dict[str, NamedFile] = {}

    def count(self) -> int:
        """How many entries there are."""
        with self._archive.database.reading() as connection:
            return int(connection.scalar(select(func.count()).select_from(EntryRow)) or 0)

    def run(self, told: Callable[[int], None] = lambda _: None) -> None:
        """Read everything; `told` hears how many entries were read since the last time."""
        for block in self._blocks():
            for row, finding, links in block:
                self._entry(row, finding, links)
            told(len(block))
        with self._archive.database.reading() as connection:
            self._without_entry(connection)

    def _blocks(self) -> Iterator[list[tuple[_Row, _Values | None, set[int]]]]:
        """Entries with their rows in the other tables; whoever adds waits for a block at most."""
        after: int | None = None
        while True:
            with self._archive.database.reading() as connection:
                rows = _rows(connection, after)
                if not rows:
                    return
                bounds = rows[0].number, rows[-1].number
                findings = _findings(connection, *bounds)
                links = _links(connection, *bounds)
            after = rows[-1].number
            yield [(row, findings.get(row.number), links.get(row.number, set())) for row in rows]

    def _entry(self, row: _Row, finding: _Values | None, links: set[int]) -> None:
        number = row.number
        follows = number == self._last + 1
        if number > self._last + 1:
            self._missing(self._last + 1, number - 1)
        entry, digest = entry_from_json(row.content), digest_of(row.content)
        previous, self._last, self._row_digest = self._row_digest, number, row.digest
        self.digests[number] = digest
        if digest != row.digest:
            self._fault("altered", number, "its content and its digest do not belong together")
        elif entry is None:
            self._fault("altered", number, "its content is not that of an entry")
        if entry is not None:
            known = {previous, self.digests.get(number - 1, BEFORE_THE_FIRST)}
            self._place(row, entry, known if follows else None)
            self._beside(entry, finding, links)
            for file in entry.files:
                named = NamedFile(number, file.role, file.name, file.byte_count)
                self.files.setdefault(file.sha256, named)

    def _place(self, row: _Row, entry: Entry, before: set[str] | None) -> None:
        """Whether an entry stands where it was added; `before` is None where the entry before is missing."""
        number = row.number
        if entry.archive != self._archive.name:
            self._fault(
                "foreign", number, "it was added to another archive, or the archive's name was altered"
            )
        if entry.number != number:
            self._fault("out of order", number, f"what stands there was added as entry {entry.number}")
            return
        if row.previous != entry.previous:
            self._fault("altered", number, "the row names another entry before than its content")
        if before is not None and entry.previous not in before and number == 1:
            self._fault("altered", number, "it names an entry before the first")
        elif before is not None and entry.previous not in before:
            self._fault("rewritten", number - 1, f"it is not the entry that entry {number} was added behind")
        for one in entry.refers_to:
            if self.digests.get(one.number) not in (None, one.digest):
                self._fault("altered", one.number, f"it is not the entry that entry {number} refers to")

    def _beside(self, entry: Entry, finding: _Values | None, links: set[int]) -> None:
        if finding != tuple(finding_of(entry).values()):
            word: FaultWord = "missing" if finding is None else "altered"
            self._fault(word, entry.number, "what the search knows of it is not what it says")
        if links != {one["to_number"] for one in links_of(entry)}:
            self._fault("altered", entry.number, "its links to other entries are not those it names")

    def _without_entry(self, connection: Connection) -> None:
        numbers = select(EntryRow.number)
        for table in (FindingRow, LinkRow):
            lone = connection.scalars(select(table.number).where(table.number.not_in(numbers)).distinct())
            for number in lone:
                self._fault("extra", int(number), f"the table {table.__tablename__} has a row without entry")

    def _missing(self, first: int, last: int) -> None:
        where = f"entry {first}" if first == last else f"entries {first} to {last}"
        self.faults.append(Fault(word="missing", where=where, sentence="there is no such entry any more"))

    def _fault(self, word: FaultWord, number: int, sentence: str) -> None:
        self.faults.append(Fault(word=word, where=f"entry {number}", sentence=sentence))


def _rows(connection: Connection, after: int | None) -> list[_Row]:
    columns = (EntryRow.number, EntryRow.digest, EntryRow.previous, EntryRow.content)
    wanted = select(*columns).order_by(EntryRow.number).limit(_BLOCK)
    rows = connection.execute(wanted if after is None else wanted.where(EntryRow.number > after))
    return [_Row(int(number), digest, previous, content) for number, digest, previous, content in rows]


def _findings(connection: Connection, first: int, last: int) -> dict[int, _Values]:
    """The rows, with columns as `finding_of` has them."""
    columns = (getattr(FindingRow, name) for name in FINDING_COLUMNS)
    rows = connection.execute(select(*columns).where(FindingRow.number.between(first, last)))
    return {int(row[0]): tuple(row) for row in rows}


def _links(connection: Connection, first: int, last: int) -> dict[int, set[int]]:
    links: dict[int, set[int]] = {}
    wanted = select(LinkRow.number, LinkRow.to_number).where(LinkRow.number.between(first, last))
    for number, to_number in connection.execute(wanted):
        links.setdefault(int(number), set()).add(int(to_number))
    return links
