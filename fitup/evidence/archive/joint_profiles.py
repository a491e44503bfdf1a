"""Profiles of all records of one joint of one part, as one table: a row a record, a column a position.

Reading thousands of records takes minutes, so what was read is kept (`profile_cache.py`) and only what the
archive holds beyond it is read anew.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.afterwards import corrected
from fitup.evidence.archive.archive import Archive, Stored
from fitup.evidence.archive.entry import MEASURED_KINDS, Entry, digest_of, entry_from_json
from fitup.evidence.archive.models import EntryRow, FindingRow, LinkRow
from fitup.evidence.archive.profile_reading import UNSEEN_UM, GridProfile, grid_profile, plain_profile

__all__ = [
    "NUMBER_COLUMNS",
    "TEXT_COLUMNS",
    "JointProfiles",
    "ProfileRow",
    "entries_of",
    "folded",
    "read_rows",
    "table_of",
    "touched_since",
]

NUMBER_COLUMNS = ("number", "day", "limit_um", "void", "retake", "gap_um", "u_um")
TEXT_COLUMNS = ("record_sha256", "job", "part", "joint", "serial")

_AT_ONCE = 500
_LARGEST_CELLS = 2_000_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class ProfileRow:
    """One record: its entry, as what it is filed with all corrections, and its profile."""

    number: int
    record_sha256: str
    day: date
    job: str
    part: str
    joint: str
    serial: str
    void: bool
    profile: GridProfile


@dataclass(frozen=True, kw_only=True, eq=False)
class JointProfiles:
    """All records of a joint by their entries; lengths in micrometres, `UNSEEN_UM` where unseen."""

    number: NDArray[np.int64]
    """(N,) number of the entry."""
    day: NDArray[np.int64]
    """(N,) day of the inspection, as days since 1970-01-01."""
    limit_um: NDArray[np.int64]
    """(N,) limit of the record."""
    void: NDArray[np.bool_]
    retake: NDArray[np.bool_]
    """(N,) whether a correction makes it void; whether its verdict was to take the photo again."""
    record_sha256: tuple[str, ...]
    job: tuple[str, ...]
    part: tuple[str, ...]
    joint: tuple[str, ...]
    serial: tuple[str, ...]
    first: int
    """The first column's position, in steps of `POSITION_STEP_MM` from the datum mark."""
    gap_um: NDArray[np.uint16]
    u_um: NDArray[np.uint16]
    """(N, P) gap and its standard uncertainty."""

    def __len__(self) -> int:
        return len(self.number)

    def only(self, rows: NDArray[np.bool_]) -> JointProfiles:
        """The rows that are wanted, by a mask (N,)."""
        if bool(rows.all()):
            return self
        where = [int(row) for row in np.flatnonzero(rows)]
        chosen: dict[str, Any] = {
            name: tuple(getattr(self, name)[row] for row in where) for name in TEXT_COLUMNS
        }
        return replace(self, **chosen, **{name: getattr(self, name)[rows] for name in NUMBER_COLUMNS})


def folded(text: str) -> str:
    """A name as names are compared."""
    return text.strip().casefold()


def touched_since(
    archive: Archive, part: str, joint: str, head: int, known: Iterable[int]
) -> tuple[list[int], set[int]]:
    """Numbers of measured entries to be read, beyond entry `head`; and those that corrections speak of.

    Entries that were filed as this joint, and those that a correction made or may have made so; of `known`
    entries those that a correction speaks of.
    """
    row, here = FindingRow, {FindingRow.part: folded(part), FindingRow.joint: folded(joint)}
    filed = [column == text for column, text in here.items()]
    measured = select(row.number).where(row.kind.in_(MEASURED_KINDS), *filed, row.number > head)
    spoken = (
        select(LinkRow.to_number, row.part, row.joint)
        .join(row, row.number == LinkRow.number)
        .where(row.kind == "correction", row.number > head)
    )
    with archive.database.reading() as connection:
        fresh = [int(number) for number in connection.scalars(measured)]
        names = tuple(here.values())
        corrections = [(int(one[0]), (one[1], one[2]) == names) for one in connection.execute(spoken)]
    ours = {*known, *fresh}
    corrected_ones = {number for number, filed_here in corrections if filed_here or number in ours}
    return sorted({*fresh, *corrected_ones}), corrected_ones


def read_rows(
    archive: Archive,
    numbers: Sequence[int],
    corrected_ones: set[int],
    told: Callable[[int, int], None] = lambda done, of: None,
) -> Iterator[ProfileRow | str]:
    """The rows of measured entries, one by one; a sentence for one whose record cannot be read.

    Raises
    ------
    StorageError
        When an entry itself was altered.
    """
    for done, stored in enumerate(entries_of(archive, numbers), start=1):
        entry = stored.entry
        if entry.kind in MEASURED_KINDS:
            later = archive.later(entry.number) if entry.number in corrected_ones else []
            yield _row(archive, entry, later)
        told(done, len(numbers))


def entries_of(archive: Archive, numbers: Sequence[int]) -> Iterator[Stored]:
    """Entries by their numbers, many at once; StorageError when one was altered."""
    for start in range(0, len(numbers), _AT_ONCE):
        wanted = select(EntryRow.digest, EntryRow.content).where(
            EntryRow.number.in_(numbers[start : start + _AT_ONCE])
        )
        with archive.database.reading() as connection:
            rows = connection.execute(wanted.order_by(EntryRow.number)).all()
        for digest, content in rows:
            entry = entry_from_json(content)
            if entry is None or digest_of(content) != digest:
                raise StorageError(
                    "an entry of the archive was altered: `fitup archive verify` names all that was altered."
                )
            yield Stored(entry=entry, digest=digest)


def table_of(rows: Sequence[ProfileRow], known: JointProfiles | None = None) -> JointProfiles:
    """Rows as one table, behind those that are known and are not among them.

    Raises
    ------
    UsageError
        When the records reach so far that the table would not fit into memory.
    """
    again = {row.number for row in rows}
    if known is not None:
        known = known.only(np.array([number not in again for number in known.number.tolist()], dtype=bool))
    parts = [known] if known is not None and len(known) else []
    parts += [_stacked(rows)] if rows else []
    if not parts:
        return _stacked([])
    first = min(one.first for one in parts)
    end = max(one.first + one.gap_um.shape[1] for one in parts)
    if sum(len(one) for one in parts) * (end - first) > _LARGEST_CELLS:
        raise UsageError(
            f"the records of this joint reach over {(end - first) / 2000:.1f} m: too long for one map; look "
            "whether all of them are of this joint (`fitup archive correct`)."
        )
    return _joined([_widened(one, first, end - first) for one in parts])


def _row(archive: Archive, entry: Entry, later: Sequence[Stored]) -> ProfileRow | str:
    file = entry.file("record")
    if file is None:
        return f"entry {entry.number} has no record"
    try:
        content = archive.store.read(file.sha256)
        profile = grid_profile(plain_profile(content, entry.kind, f"the record of entry {entry.number}"))
        day = date.fromisoformat(entry.about.day)
    except StorageError as error:
        return f"entry {entry.number}: {str(error).rstrip('.')}"
    except ValueError:
        return f"entry {entry.number} is of the day {entry.about.day}, which no calendar has"
    about = corrected(entry.about, later)
    return ProfileRow(
        number=entry.number,
        record_sha256=file.sha256,
        day=day,
        job=about.job,
        part=about.part,
        joint=about.joint,
        serial=about.serial,
        void=any(one.entry.correction is not None and one.entry.correction.void for one in later),
        profile=profile,
    )


def _stacked(rows: Sequence[ProfileRow]) -> JointProfiles:
    first = min((row.profile.first for row in rows), default=0)
    end = max((row.profile.first + len(row.profile.gap_um) for row in rows), default=0)
    if len(rows) * (end - first) > _LARGEST_CELLS:
        raise UsageError("the records of this joint reach too far for one map: look whether all are of it.")
    gap_um = np.full((len(rows), end - first), UNSEEN_UM, dtype=np.uint16)
    u_um = gap_um.copy()
    for index, row in enumerate(rows):
        start = row.profile.first - first
        gap_um[index, start : start + len(row.profile.gap_um)] = row.profile.gap_um
        u_um[index, start : start + len(row.profile.u_um)] = row.profile.u_um
    days = np.array([row.day for row in rows], dtype="datetime64[D]").astype(np.int64)
    return JointProfiles(
        number=np.array([row.number for row in rows], dtype=np.int64),
        day=days,
        limit_um=np.array([row.profile.limit_um for row in rows], dtype=np.int64),
        void=np.array([row.void for row in rows], dtype=bool),
        retake=np.array([row.profile.verdict == "retake" for row in rows], dtype=bool),
        record_sha256=tuple(row.record_sha256 for row in rows),
        job=tuple(row.job for row in rows),
        part=tuple(row.part for row in rows),
        joint=tuple(row.joint for row in rows),
        serial=tuple(row.serial for row in rows),
        first=first,
        gap_um=gap_um,
        u_um=u_um,
    )


def _widened(table: JointProfiles, first: int, length: int) -> JointProfiles:
    """The same on more positions."""
    if table.first == first and table.gap_um.shape[1] == length:
        return table
    start = table.first - first
    room = ((0, 0), (start, length - start - table.gap_um.shape[1]))
    gap_um, u_um = (np.pad(one, room, constant_values=UNSEEN_UM) for one in (table.gap_um, table.u_um))
    return replace(table, first=first, gap_um=gap_um, u_um=u_um)


def _joined(parts: Sequence[JointProfiles]) -> JointProfiles:
    """Tables on the same positions as one, in the order of entries."""
    if len(parts) == 1 and bool(np.all(np.diff(parts[0].number) > 0)):
        return parts[0]
    number = np.concatenate([one.number for one in parts])
    columns: dict[str, Any] = {
        name: np.concatenate([getattr(one, name) for one in parts]) for name in NUMBER_COLUMNS
    }
    for name in TEXT_COLUMNS:
        columns[name] = tuple(text for one in parts for text in getattr(one, name))
    if np.any(np.diff(number) < 0):
        order = np.argsort(number, kind="stable")
        columns |= {name: columns[name][order] for name in NUMBER_COLUMNS}
        columns |= {name: tuple(columns[name][row] for row in order) for name in TEXT_COLUMNS}
    return JointProfiles(first=parts[0].first, **columns)
