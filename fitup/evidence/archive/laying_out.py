"""An archived result laid out as the folder that it was, with all that was settled since.

Reports, comparisons and new settlements work on folders; an archive's entry becomes one for a while, and what
was added to it there goes into the archive.
"""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Collection, Iterator
from pathlib import Path

from fitup.errors import UsageError
from fitup.evidence.archive.afterwards import filed_as
from fitup.evidence.archive.archive import Added, Archive, Stored
from fitup.evidence.archive.entry import MEASURED_KINDS
from fitup.evidence.archive.gathering import drafts_of
from fitup.evidence.archive.reading import contents_of
from fitup.evidence.judged_record import read_judged
from fitup.evidence.settlement_building import Given
from fitup.evidence.settlement_file import Settlements, add_settlement, read_settlements
from fitup.evidence.subject import Filing
from fitup.evidence.writing import safe_stem

__all__ = ["laid_out", "settle_entry", "settlements_of"]

_SHOWN_ROLES = ("record", "overlay", "table")


@contextlib.contextmanager
def laid_out(
    archive: Archive, number: int, roles: Collection[str] = _SHOWN_ROLES
) -> Iterator[tuple[Stored, Path]]:
    """The entry of a measured joint, and a folder with its files of these roles and its settlements.

    Raises
    ------
    UsageError
        When there is no such entry, or it is not that of a measured joint.
    StorageError
        When a file is missing or was altered.
    """
    stored = archive.entry(number)
    entry = stored.entry
    if entry.kind not in MEASURED_KINDS:
        raise UsageError(f"entry {number} ({entry.kind}) is no measured joint: give the joint's own entry.")
    wanted = entry.model_copy(update={"files": tuple(one for one in entry.files if one.role in roles)})
    with tempfile.TemporaryDirectory(prefix="fitup-entry-") as name:
        folder = Path(name) / (safe_stem(entry.about.joint + ".x") or "joint")
        folder.mkdir()
        for later in (stored, *archive.later(number)):
            shown = wanted if later is stored else later.entry
            if later is stored or shown.kind == "settlement":
                for file, content in contents_of(archive.store, shown).items():
                    (folder / file).write_bytes(content)
        yield stored, folder


def settlements_of(archive: Archive, number: int) -> Settlements:
    """The record of a measured joint with all its settlements, each checked; errors as `laid_out`."""
    with laid_out(archive, number, ("record",)) as (_, folder):
        return read_settlements(read_judged(str(folder)))


def settle_entry(archive: Archive, number: int, given: Given, filing: Filing) -> tuple[Settlements, Added]:
    """Add one reading, or the withdrawal of one, to an archived joint: its settlements, and the new entry.

    Two who settle one joint at the same time must not call it at once. Raises as `laid_out` and
    `add_settlement`.
    """
    with laid_out(archive, number, ("record",)) as (stored, folder):
        settlements = add_settlement(read_judged(str(folder)), given, filing)
        drafts = drafts_of(
            folder, None, serial=stored.entry.about.serial, filed=lambda digest: filed_as(archive, digest)
        )
        return settlements, archive.add(drafts)[-1]
