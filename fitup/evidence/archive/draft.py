"""An entry before it has its place in the chain: content without number, and files with their bytes."""

from __future__ import annotations

from dataclasses import dataclass

from fitup.evidence.archive.entry import (
    About,
    ArchivedFile,
    Correction,
    Entry,
    EntryKind,
    Origin,
    Outcome,
    Reference,
)
from fitup.evidence.archive.store import sha256_of

__all__ = ["MAIN_ROLES", "Draft", "DraftFile", "EntryRole", "main_file"]

EntryRole = str
# The file that an entry is of; two entries of one such file would tell the same twice.
MAIN_ROLES = {
    "inspection": "record",
    "seam": "record",
    "sides": "record",
    "settlement": "settlement",
    "comparison": "comparison",
}


@dataclass(frozen=True, kw_only=True)
class DraftFile:
    """A file to be archived; `content` is None where its bytes lie in the store already."""

    entry: ArchivedFile
    content: bytes | None

    @classmethod
    def of(cls, role: EntryRole, name: str, content: bytes) -> DraftFile:
        """The file with its digest."""
        about = ArchivedFile.model_validate(
            {"role": role, "name": name, "sha256": sha256_of(content), "byte_count": len(content)}
        )
        return cls(entry=about, content=content)


@dataclass(frozen=True, kw_only=True)
class Draft:
    """What becomes an entry."""

    kind: EntryKind
    about: About
    files: tuple[DraftFile, ...] = ()
    refers_to: tuple[Reference, ...] = ()
    refers_to_files: tuple[str, ...] = ()
    """Digests of files whose entries are referred to: an entry added just before may be among them."""
    outcome: Outcome | None = None
    correction: Correction | None = None
    note: str = ""
    imported: Origin | None = None

    @property
    def main_sha256(self) -> str | None:
        """The digest of the file that the entry is of."""
        return _main(self.kind, tuple(one.entry for one in self.files), self.imported)


def main_file(entry: Entry) -> str | None:
    """The digest of the file that an entry is of, None where it is of none.

    An entry that is of no file, and came from another archive, is of the entry that it was first.
    """
    return _main(entry.kind, entry.files, entry.imported)


def _main(kind: str, files: tuple[ArchivedFile, ...], imported: Origin | None) -> str | None:
    role = MAIN_ROLES.get(kind)
    first = None if imported is None else imported.digest
    return next((one.sha256 for one in files if one.role == role), first)
