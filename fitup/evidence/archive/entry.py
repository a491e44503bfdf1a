"""What an entry of the archive is, and the digest that binds it to all entries before.

An entry is one small JSON object. It names its files (photo, record, overlay, ...) by SHA-256 and the entry
before by its digest; its own digest is the SHA-256 of its canonical JSON. Who changes a byte of any of them
changes every digest after it. Lengths are in whole micrometres, times in UTC.

History of the format
---------------------
1   first form
2   entries that came from another archive, with `imported`; all others stay in form 1
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fitup.evidence.archive.canonical import canonical_json, is_canonical

__all__ = [
    "BEFORE_THE_FIRST",
    "ENTRY_FORMAT",
    "MEASURED_KINDS",
    "About",
    "ArchivedFile",
    "Correction",
    "Entry",
    "EntryKind",
    "Origin",
    "Outcome",
    "OutcomeWord",
    "PenetrationWord",
    "Reference",
    "digest_of",
    "entry_from_json",
    "entry_to_json",
]

ENTRY_FORMAT = 2
BEFORE_THE_FIRST = "0" * 64
"""What the first entry names as the entry before."""

EntryKind = Literal["inspection", "seam", "sides", "settlement", "comparison", "outcome", "correction"]
MEASURED_KINDS = frozenset({"inspection", "seam", "sides"})
OutcomeWord = Literal["sound", "repaired", "scrapped"]
PenetrationWord = Literal["", "full", "partial", "none", "not looked at"]

Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Micrometres = Annotated[int, Field(ge=0, le=10**9)]
Number = Annotated[int, Field(ge=1, le=2**53 - 1)]
Time = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")]


class _Part(BaseModel):
    """Fields stand by name, as canonical JSON has them: so reading knows that form by writing the same."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class ArchivedFile(_Part):
    """A file of an entry; its bytes lie in the store under the digest."""

    byte_count: Annotated[int, Field(ge=0, le=2**53 - 1)]
    name: str
    role: Literal["record", "photo", "overlay", "plot", "table", "settlement", "comparison", "entry", "other"]
    sha256: Digest


class About(_Part):
    """Which joint an entry speaks of, and what was found: what one searches by.

    `verdict` is empty where nothing was judged, `wire_um` null where that was not said and 0 for a joint made
    without wire, `day` the day of the inspection, or of what the entry tells of.
    """

    day: Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\d$")]
    job: str = ""
    joint: str = ""
    largest_gap_um: Micrometres | None = None
    limit_um: Micrometres | None = None
    part: str = ""
    sentence: str = ""
    serial: str = ""
    verdict: Literal["", "within", "re-fixture", "gauge", "retake"] = ""
    who: str = ""
    wire_um: Micrometres | None = None


class Reference(_Part):
    """An earlier entry that this one is about."""

    digest: Digest
    number: Number


class Origin(_Part):
    """The archive that an entry was first added to, and its number and digest there.

    That first entry, and every one between it and this one, is among the files (`entry`): its canonical JSON,
    so that the file's SHA-256 is the entry's digest.
    """

    archive: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    digest: Digest
    number: Number


class Outcome(_Part):
    """What became of the weld, seen afterwards."""

    bead_colour: str = ""
    penetration: PenetrationWord = ""
    word: OutcomeWord


class Correction(_Part):
    """What is to be read instead in an earlier entry; with `void` it is not to be relied on at all.

    What is corrected stands in the new entry's `about`; `changed` names those fields, `by` who says so.
    """

    by: str
    changed: tuple[Literal["job", "part", "joint", "serial", "who"], ...]
    void: bool


class Entry(_Part):
    """One entry: the content that its digest covers."""

    about: About
    added_at_utc: Time
    archive: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    correction: Correction | None = None
    files: tuple[ArchivedFile, ...] = ()
    format: Literal[1, 2] = 1
    imported: Origin | None = None
    kind: EntryKind
    note: str = ""
    number: Number
    outcome: Outcome | None = None
    previous: Digest
    program: str
    refers_to: tuple[Reference, ...] = ()

    def file(self, role: str) -> ArchivedFile | None:
        """The first file of this role."""
        return next((one for one in self.files if one.role == role), None)


def entry_to_json(entry: Entry) -> str:
    """The entry's canonical JSON: what its digest is taken of, and what the database keeps."""
    return canonical_json(entry.model_dump(mode="json", exclude=_not_written(entry))).decode("utf-8")


def digest_of(content: str) -> str:
    """The digest of an entry's canonical JSON."""
    return hashlib.sha256(content.encode("utf-8", "surrogatepass")).hexdigest()


def entry_from_json(content: str) -> Entry | None:
    """The entry, or None where the text is no entry of this format in canonical form."""
    try:
        entry = Entry.model_validate_json(content, strict=True)
        # The usual form is known at once.
        known = entry.model_dump_json(exclude=_not_written(entry)) == content or is_canonical(content)
        return entry if known else None
    except (ValidationError, ValueError, RecursionError):
        return None


def _not_written(entry: Entry) -> set[str] | None:
    """Form 1 has no `imported`."""
    return {"imported"} if entry.imported is None else None
