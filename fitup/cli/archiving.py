"""Results into an archive, for `fitup archive add` and for `--archive` of the inspecting commands."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.errors import FitupError, StorageError, UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Added, Archive

__all__ = [
    "ARCHIVE_VARIABLE",
    "Keeper",
    "added_line",
    "archive_at",
    "archived_json",
    "checked_text",
    "keeper_of",
]

ARCHIVE_VARIABLE = "FITUP_ARCHIVE"
_LONGEST_TEXT = 500


class Keeper:
    """Adds what an inspecting command has written, right after it was written."""

    def __init__(self, place: str, serial: str = "") -> None:
        """Open the archive, and make it where there is none; UsageError, StorageError when that fails."""
        from fitup.evidence.archive.archive import open_archive

        self._archive = open_archive(place, create=True)
        self._serial = checked_text(serial, "--serial")

    def keep(self, folder: Path, photos: Sequence[Path]) -> Added:
        """Add a folder of results with its photos; give the entry of the record.

        Raises
        ------
        StorageError
            When it cannot be added. The folder of results stays, and can be added later.
        """
        from fitup.evidence.archive.gathering import PhotoBox, drafts_of

        try:
            return self._archive.add(drafts_of(folder, PhotoBox(photos), serial=self._serial))[0]
        except FitupError as error:
            said = str(error).rstrip(".")
            raise StorageError(f"not archived: {said}; the results are in {folder}.") from None


def keeper_of(place: str | None, serial: str, *, no_files: bool) -> Keeper | None:
    """What keeps the results, where that was asked for; UsageError when the options exclude each other."""
    if place is None:
        if serial:
            raise UsageError("--serial belongs to the archive's entry: give --archive too.")
        return None
    if no_files:
        raise UsageError(
            f"--no-files writes nothing that could be archived: leave it out, or --archive and the setting "
            f"{ARCHIVE_VARIABLE}."
        )
    return Keeper(place, serial)


def archive_at(place: str | None, *, create: bool = False) -> Archive:
    """The archive that `--archive` or the setting names; UsageError when neither does."""
    if place is None:
        raise UsageError(f"say which archive: --archive with a folder or URL, or set {ARCHIVE_VARIABLE}.")
    from fitup.evidence.archive.archive import open_archive

    return open_archive(place, create=create)


def added_line(added: Added) -> str:
    """That something is in the archive, in a few words."""
    was = "" if added.fresh else " (there before)"
    return f"entry {added.entry.number}{was}, digest {added.digest[:16]}"


def archived_json(added: Added | None) -> dict[str, object]:
    """The same for machines; nothing where nothing was to be archived."""
    if added is None:
        return {}
    return {"archive": {"entry": added.entry.number, "digest": added.digest, "fresh": added.fresh}}


def checked_text(text: str, option: str, *, needed: bool = False) -> str:
    """What a person wrote, as it can be kept: one line, not too long."""
    from fitup.evidence.writing import printable_name

    cleaned = " ".join(printable_name(text.replace("\n", " ").replace("\t", " ")).split())
    if needed and not cleaned:
        raise UsageError(f"{option} must be given: the archive keeps who says what.")
    if len(cleaned) > _LONGEST_TEXT:
        raise UsageError(f"{option} is longer than {_LONGEST_TEXT} letters: shorten it.")
    return cleaned
