"""`fitup archive add`, `outcome` and `correct`."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from fitup.cli.archiving import added_line, archive_at, checked_text
from fitup.cli.boundary import report
from fitup.errors import FitupError, StorageError, UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Added
    from fitup.evidence.archive.draft import DraftFile

__all__ = ["add_correction", "add_outcome", "add_results", "checked_choice", "checked_day"]

_LARGEST_PHOTO_BYTES = 60_000_000


def add_results(
    results: Sequence[str],
    photos: Sequence[str],
    place: str | None,
    serial: str,
    note: str,
    *,
    without_photo: bool,
    as_json: bool,
) -> int:
    """Add folders one by one; a fault of one stops nothing, and the worst code counts.

    Raises
    ------
    UsageError, StorageError
        When an option or the archive cannot be used.
    """
    from fitup.cli.inspecting import worst
    from fitup.cli.progress import ProgressBar
    from fitup.evidence.archive.afterwards import filed_as
    from fitup.evidence.archive.gathering import PhotoBox, drafts_of, paths_of

    if photos and without_photo:
        raise UsageError("--photo and --without-photo exclude each other: give one of them.")
    archive = archive_at(place, create=True)
    box = None if without_photo else PhotoBox(paths_of(photos))
    serial, note = checked_text(serial, "--serial"), checked_text(note, "--note")
    codes = []
    with ProgressBar(len(results), "results") as bar:
        for name in results:
            try:
                drafts = drafts_of(
                    Path(name), box, serial=serial, note=note, filed=lambda digest: filed_as(archive, digest)
                )
                added = archive.add(drafts)
            except FitupError as error:
                with bar.out_of_the_way():
                    codes.append(report(error))
                continue
            with bar.out_of_the_way():
                _tell(name, added, as_json=as_json)
    return worst(codes)


def add_outcome(
    place: str | None,
    number: int,
    word: str,
    details: Mapping[str, str],
    *,
    who: str,
    day: str | None,
    note: str,
    photos: Sequence[str],
) -> int:
    """Add the outcome of a weld; UsageError, StorageError when it cannot be used or added."""
    from fitup.evidence.archive.afterwards import outcome_draft
    from fitup.evidence.archive.entry import Outcome, OutcomeWord, PenetrationWord

    penetration = checked_choice(details["penetration"], "--penetration", get_args(PenetrationWord))
    outcome = Outcome.model_validate(
        {
            "word": checked_choice(word, "the outcome", get_args(OutcomeWord)),
            "bead_colour": checked_text(details["bead_colour"], "--bead-colour"),
            "penetration": penetration,
        }
    )
    archive = archive_at(place)
    draft = outcome_draft(
        archive.entry(number),
        outcome,
        who=checked_text(who, "--who", needed=True),
        day=checked_day(day, "--day") or f"{datetime.now().astimezone():%Y-%m-%d}",
        later=archive.later(number),
        note=checked_text(note, "--note"),
        photos=[_photo(Path(name)) for name in photos],
    )
    _tell_one(archive.add([draft])[0], f"outcome of entry {number}: {outcome.word}")
    return 0


def add_correction(
    place: str | None, number: int, right: Mapping[str, str | None], *, void: bool, who: str, why: str
) -> int:
    """Add a correction; UsageError, StorageError when it cannot be used or added."""
    from fitup.evidence.archive.afterwards import correction_draft

    archive = archive_at(place)
    draft = correction_draft(
        archive.entry(number),
        {name: checked_text(text, f"--{name}") for name, text in right.items() if text is not None},
        void=void,
        who=checked_text(who, "--who", needed=True),
        day=f"{datetime.now().astimezone():%Y-%m-%d}",
        why=checked_text(why, "--why", needed=True),
        later=archive.later(number),
    )
    _tell_one(archive.add([draft])[0], f"entry {number} is corrected; it stays in the archive as it is")
    return 0


def checked_choice(text: str, option: str, choices: Sequence[str]) -> str:
    """The text as one of the choices; UsageError when it is none of them."""
    wanted = text.strip().casefold()
    if wanted not in choices:
        raise UsageError(f"{option} must be one of {', '.join(c for c in choices if c)}, not {text[:40]!r}.")
    return wanted


def checked_day(text: str | None, option: str) -> str | None:
    """The day as written in the archive; UsageError when it is none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise UsageError(f"{option} must be a day such as 2026-11-25, not {text[:40]!r}.") from None


def _photo(path: Path) -> DraftFile:
    from fitup.evidence.archive.draft import DraftFile
    from fitup.evidence.writing import printable_name

    name = printable_name(path.name)
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_PHOTO_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise StorageError(f"{name} cannot be read: {reason}.") from None
    if not 0 < len(content) <= _LARGEST_PHOTO_BYTES:
        raise UsageError(f"{name} is empty, or larger than 60 MB: give a photo as the phone stored it.")
    return DraftFile.of("photo", name, content)


def _tell(name: str, added: Sequence[Added], *, as_json: bool) -> None:
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.writing import printable_name

    if as_json:
        entries: list[dict[str, Any]] = [
            {"number": one.entry.number, "kind": one.entry.kind, "digest": one.digest, "fresh": one.fresh}
            for one in added
        ]
        print_line(json.dumps({"result": printable_name(name), "entries": entries}))
        return
    screen = ArchiveScreen()
    shown = printable_name(Path(name).name or name)
    fresh = [one for one in added if one.fresh]
    if not fresh:
        screen.tell("nothing new", f"{shown}: all of it is in the archive already")
    for one in fresh:
        screen.tell(f"entry {one.entry.number}", f"{one.entry.kind} {shown}, digest {one.digest[:16]}")


def _tell_one(added: Added, what: str) -> None:
    from fitup.cli.archive_screen import ArchiveScreen

    ArchiveScreen().tell("added", f"{added_line(added)}: {what}")
