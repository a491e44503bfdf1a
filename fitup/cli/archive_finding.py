"""`fitup archive list`, `search` and `show`."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from fitup.cli.archive_adding import checked_choice, checked_day
from fitup.cli.archiving import archive_at
from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.archive import Archive, Stored
    from fitup.evidence.archive.entry import Entry
    from fitup.evidence.archive.finding import Query

__all__ = ["query_of", "show_entry", "show_found"]

_NO_WIRE = "none"


def query_of(
    *,
    words: Sequence[str],
    wire: str | None,
    from_day: str | None,
    to_day: str | None,
    names: Mapping[str, str | None],
    choices: Mapping[str, str | None],
) -> Query:
    """Options to a question; UsageError when one cannot be used."""
    from fitup.evidence.archive.entry import EntryKind, OutcomeWord
    from fitup.evidence.archive.finding import Query

    known = {
        "--kind": get_args(EntryKind),
        "--verdict": ("within", "re-fixture", "gauge", "retake"),
        "--outcome": get_args(OutcomeWord),
    }
    chosen = {
        option.lstrip("-"): None if text is None else checked_choice(text, option, known[option])
        for option, text in choices.items()
    }
    return Query(
        **names,
        **chosen,
        wire_um=_wire(wire),
        from_day=checked_day(from_day, "--from-day"),
        to_day=checked_day(to_day, "--to-day"),
        words=tuple(words),
    )


def show_found(place: str | None, query: Query, most: int, *, as_json: bool) -> int:
    """Show what a query finds, the newest first."""
    from fitup.cli.archive_screen import ArchiveScreen

    archive = archive_at(place)
    found = archive.search(query, most + 1)
    if as_json:
        for one in found[:most]:
            _print_json(one)
        return 0
    marks = {one.entry.number: _mark(archive.later(one.entry.number)) for one in found[:most]}
    ArchiveScreen().show_list(found[:most], marks, more=len(found) > most)
    return 0


def show_entry(place: str | None, number: int, *, open_picture: bool, out: str | None, as_json: bool) -> int:
    """Show one entry, with the record in full where it has one.

    Raises
    ------
    UsageError, StorageError
        When there is no such entry, or it or its files were altered.
    """
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.evidence.archive.reading import record_of, write_out

    archive = archive_at(place)
    stored, later = archive.entry(number), archive.later(number)
    written = None if out is None else write_out(archive, stored.entry, Path(out))
    if as_json:
        for one in (stored, *later):
            _print_json(one)
    else:
        places = [archive.store.where(file.sha256) for file in stored.entry.files]
        screen = ArchiveScreen()
        record = record_of(archive, stored.entry)
        if record is not None:
            screen.show_any(record)
        screen.show_entry(stored, places, later, written)
    if open_picture:
        _open(archive, stored.entry)
    return 0


def _mark(later: Sequence[Stored]) -> str:
    """What came after an entry, in a word or two."""
    corrections = [one.entry for one in later if one.entry.correction is not None]
    if corrections:
        last = corrections[-1]
        void = any(one.correction is not None and one.correction.void for one in corrections)
        return f"{'void' if void else 'corrected'}, see {last.number}"
    if not later:
        return ""
    outcome = later[-1].entry.outcome
    return f"{later[-1].entry.kind if outcome is None else outcome.word}, see {later[-1].entry.number}"


def _wire(text: str | None) -> int | None:
    from fitup.verdict.wires import parse_wire

    if text is None:
        return None
    return 0 if text.strip().casefold() == _NO_WIRE else round(1000 * parse_wire(text).diameter_mm)


def _print_json(stored: Stored) -> None:
    from fitup.cli.screen import print_line

    print_line(json.dumps({"digest": stored.digest, "entry": stored.entry.model_dump(mode="json")}))


def _open(archive: Archive, entry: Entry) -> None:
    """Open the overlay, or else another picture, in whatever the system shows pictures with."""
    import typer

    from fitup.evidence.archive.reading import files_of

    roles = ("overlay", "photo", "plot")
    picture = next((file for role in roles if (file := entry.file(role)) is not None), None)
    if picture is None:
        raise UsageError(f"entry {entry.number} has no picture.")
    # The viewer needs a name with an ending, and may still read it when this program has ended.
    folder = Path(tempfile.mkdtemp(prefix="fitup-"))
    shown = entry.model_copy(update={"files": (picture,)})
    for name, content in files_of(archive, shown).items():
        (folder / name).write_bytes(content)
        if typer.launch(str(folder / name)) != 0:
            raise UsageError(f"no program here opens pictures: look at {folder / name}.")
