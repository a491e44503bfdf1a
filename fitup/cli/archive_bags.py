"""`fitup archive export` and `import`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.cli.archiving import archive_at
from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.evidence.archive.export import Exported
    from fitup.evidence.archive.finding import Query

__all__ = ["export_entries", "import_entries"]

_MOST_NAMED = 10


def export_entries(
    place: str | None, numbers: Sequence[int], query: Query, out: str, *, whole: bool, as_json: bool
) -> int:
    """Export a selection to a bag, or its profiles to a table.

    Raises
    ------
    UsageError, StorageError
        When nothing or too much was asked for, or it cannot be read or written.
    """
    from fitup.cli.progress import ProgressBar
    from fitup.evidence.archive.export import TABLE_ENDINGS, export_bag, export_table, selected
    from fitup.evidence.archive.finding import Query as AnyQuery

    asked = (bool(numbers), query != AnyQuery(), whole)
    if sum(asked) != 1:
        raise UsageError("say which entries: numbers, or what they are found by, or --all; one of the three.")
    if "\0" in out or not out.strip():
        raise UsageError("say where to: --out with a new folder for the bag, or a .csv or .jsonl file.")
    archive = archive_at(place)
    entries = selected(archive, numbers, None if numbers else query)
    target = Path(out)
    with ProgressBar(2, "entries") as bar:
        if target.suffix.lower() in TABLE_ENDINGS:
            exported = export_table(archive, entries, target)
        else:
            exported = export_bag(archive, entries, target, bar.show)
    _tell_exported(exported, target, numbers, as_json=as_json)
    return 0


def import_entries(place: str | None, bags: Sequence[str], *, only_check: bool, as_json: bool) -> int:
    """Import bags one by one; a fault of one stops nothing, and the worst code counts."""
    from fitup.cli.boundary import report
    from fitup.cli.inspecting import worst
    from fitup.errors import FitupError

    if not only_check:
        archive_at(place, create=True)
    codes = []
    for name in bags:
        try:
            _import(place, name, only_check=only_check, as_json=as_json)
        except FitupError as error:
            codes.append(report(error))
    return worst(codes)


def _import(place: str | None, name: str, *, only_check: bool, as_json: bool) -> None:
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.cli.progress import ProgressBar
    from fitup.cli.screen import print_line
    from fitup.evidence.archive.importing import import_bag, read_bag

    with ProgressBar(2, "files of the bag") as bar:
        checked = read_bag(Path(name), bar.show)
        done = [] if only_check else import_bag(archive_at(place), checked, bar.show)
    index, screen = checked.index, ArchiveScreen()
    fresh = [one for one in done if one.now.fresh]
    if as_json:
        pairs = [
            {"was": one.was.entry.number, "entry": one.now.entry.number, "fresh": one.now.fresh}
            for one in done
        ]
        data = {"bag": checked.bag.name, "archive": index.archive, "head": index.head.model_dump()}
        print_line(json.dumps({**data, "entries": len(checked.entries), "imported": pairs}))
        return
    screen.tell("bag", f"{checked.bag.name}: sound, {_counted(len(checked.entries), 'entry', 'entries')}")
    screen.tell("from", f"archive {index.archive}, its head then: entry {index.head.number}")
    screen.tell("", f"head's digest {index.head.digest}: compare it with a statement of that archive")
    if not only_check:
        there = len(done) - len(fresh)
        numbers = _numbers([one.now.entry.number for one in fresh])
        screen.tell("imported", f"{len(fresh)}{numbers}; {there} were there before")


def _tell_exported(exported: Exported, target: Path, asked: Sequence[int], *, as_json: bool) -> None:
    from fitup.cli.archive_screen import ArchiveScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.writing import printable_name

    if as_json:
        print_line(json.dumps({"out": printable_name(str(target)), **asdict(exported)}))
        return
    screen = ArchiveScreen()
    screen.tell("written", printable_name(str(target)))
    screen.tell("entries", f"{len(exported.entries)}{_numbers(exported.entries)}")
    if asked and len(exported.entries) > len(set(asked)):
        screen.tell("", "with those that they refer to, and those that were added to them")
    screen.tell("profiles", str(exported.profiles))
    if exported.unreadable:
        screen.tell("no rows", f"records that this version cannot read{_numbers(exported.unreadable)}")
    if exported.without_photo:
        screen.tell("no photo", f"cannot be measured again{_numbers(exported.without_photo)}")
    if exported.digest is not None:
        screen.tell("digest", f"{exported.digest} (tagmanifest-sha256.txt, stands for the whole bag)")


def _numbers(numbers: Sequence[int]) -> str:
    if not numbers:
        return ""
    shown = ", ".join(str(number) for number in numbers[:_MOST_NAMED])
    return f": {shown}{', ...' if len(numbers) > _MOST_NAMED else ''}"


def _counted(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"
