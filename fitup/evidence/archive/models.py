"""The archive's tables: the chain of entries, and beside it what makes searching quick.

`entry` is the archive. `finding` and `link` say nothing that the entries do not say, and verifying compares
them. Two entries can never follow the same one, because `previous` is unique: that, and no program, forbids
a fork.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

__all__ = ["ArchiveRow", "Base", "EntryRow", "FindingRow", "LinkRow"]


class Base(DeclarativeBase):
    """What all tables share."""


class ArchiveRow(Base):
    """The archive itself, one row: its name among all archives, and when it was begun."""

    __tablename__ = "archive"
    __table_args__ = (CheckConstraint("only_row = 1", name="archive_has_one_row"),)

    only_row: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    archive: Mapped[str] = mapped_column(String(32))
    begun_at_utc: Mapped[str] = mapped_column(String(20))


class EntryRow(Base):
    """One entry: its canonical JSON, its digest, and the digest of the entry before."""

    __tablename__ = "entry"

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    previous: Mapped[str] = mapped_column(String(64), unique=True)
    content: Mapped[str] = mapped_column(Text)


class FindingRow(Base):
    """What one searches by, in small letters; `main_sha256` is the digest of the entry's own JSON file."""

    __tablename__ = "finding"
    __table_args__ = tuple(
        Index(f"finding_by_{name}", name, "number")
        for name in ("kind", "day", "job", "part", "joint", "serial", "who", "verdict", "outcome")
    )

    number: Mapped[int] = mapped_column(ForeignKey("entry.number"), primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(String(16))
    day: Mapped[str] = mapped_column(String(10))
    job: Mapped[str] = mapped_column(Text)
    part: Mapped[str] = mapped_column(Text)
    joint: Mapped[str] = mapped_column(Text)
    serial: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(Text)
    verdict: Mapped[str] = mapped_column(String(16))
    outcome: Mapped[str] = mapped_column(String(16))
    wire_um: Mapped[int | None]
    main_sha256: Mapped[str | None] = mapped_column(String(64), unique=True)
    text: Mapped[str] = mapped_column(Text)


class LinkRow(Base):
    """One entry refers to an earlier one."""

    __tablename__ = "link"
    __table_args__ = (Index("link_by_target", "to_number", "number"),)

    number: Mapped[int] = mapped_column(ForeignKey("entry.number"), primary_key=True, autoincrement=False)
    to_number: Mapped[int] = mapped_column(ForeignKey("entry.number"), primary_key=True, autoincrement=False)
