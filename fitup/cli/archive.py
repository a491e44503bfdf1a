"""`fitup archive`, with its options: results kept, found, shown, verified."""

from __future__ import annotations

from typing import Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.cli.archive_exchanging import export, import_
from fitup.cli.archive_remeasuring import remeasure

__all__ = ["archive"]

archive = typer.Typer(rich_markup_mode=None)
archive.command("export")(export)
archive.command("import")(import_)

_Entry = Annotated[int, typer.Argument(metavar="ENTRY", help="Number of the entry.", min=1)]
_Json = Annotated[bool, typer.Option("--json", help="JSON on stdout, one line per entry, for machines.")]
_Most = Annotated[int, typer.Option(min=1, max=1_000_000, help="How many are shown at most.")]
_Note = Annotated[str, typer.Option(help="Note, for the entry.")]
_Who = Annotated[str, typer.Option(help="Who says so; must be given.")]
_Day = Annotated[str | None, typer.Option(help="Day, YYYY-MM-DD; today if not said.")]


@archive.command("add")
def add(
    results: Annotated[
        list[str], typer.Argument(metavar="RESULT", help="Folders of results, or records in them.")
    ],
    photo: Annotated[
        list[str] | None, typer.Option(help="The photos, or folders of them; found by their content.")
    ] = None,
    without_photo: Annotated[
        bool, typer.Option("--without-photo", help="Keep records without the photos they were made from.")
    ] = False,
    serial: shared.Serial = "",
    note: _Note = "",
    archive: shared.Archive = None,
    json: _Json = False,
) -> int:
    """Add folders of results with their photos: records, settlements, comparisons; nothing is added twice.

    What is named as added is on the disk. The archive is made where there is none.
    """
    from fitup.cli.archive_adding import add_results

    return add_results(results, photo or [], archive, serial, note, without_photo=without_photo, as_json=json)


@archive.command("list")
def list_(archive: shared.Archive = None, most: _Most = 20, json: _Json = False) -> int:
    """List the newest entries."""
    from fitup.cli.archive_finding import show_found
    from fitup.evidence.archive.finding import Query

    return show_found(archive, Query(), most, as_json=json)


@archive.command("search")
def search(
    words: Annotated[
        list[str] | None, typer.Argument(metavar="WORD", help="Words that all occur in the entry.")
    ] = None,
    kind: Annotated[
        str | None,
        typer.Option(help="inspection, seam, sides, settlement, comparison, outcome or correction."),
    ] = None,
    job: Annotated[str | None, typer.Option(help="Job.")] = None,
    part: Annotated[str | None, typer.Option(help="Part.")] = None,
    joint: Annotated[str | None, typer.Option(help="Joint.")] = None,
    serial: Annotated[str | None, typer.Option(help="Serial number.")] = None,
    verdict: Annotated[str | None, typer.Option(help="within, re-fixture, gauge or retake.")] = None,
    outcome: Annotated[str | None, typer.Option(help="sound, repaired or scrapped.")] = None,
    who: Annotated[str | None, typer.Option(help="Who inspected, or said so.")] = None,
    wire: Annotated[str | None, typer.Option(help="Wire: 0.9mm, 035, none.")] = None,
    from_day: Annotated[str | None, typer.Option(help="First day, YYYY-MM-DD.")] = None,
    to_day: Annotated[str | None, typer.Option(help="Last day, YYYY-MM-DD.")] = None,
    archive: shared.Archive = None,
    most: _Most = 50,
    json: _Json = False,
) -> int:
    """Search entries, the newest first; all that is given must hold, whatever the case of letters."""
    from fitup.cli.archive_finding import query_of, show_found

    query = query_of(
        words=words or [],
        wire=wire,
        from_day=from_day,
        to_day=to_day,
        names={"job": job, "part": part, "joint": joint, "serial": serial, "who": who},
        choices={"--kind": kind, "--verdict": verdict, "--outcome": outcome},
    )
    return show_found(archive, query, most, as_json=json)


@archive.command("show")
def show(
    entry: _Entry,
    archive: shared.Archive = None,
    open_: Annotated[bool, typer.Option("--open", help="Open the picture in a window.")] = False,
    out: Annotated[str | None, typer.Option(help="Folder to write the entry's files to.")] = None,
    json: _Json = False,
) -> int:
    """Show an entry with all that was added to it later, and where its files are."""
    from fitup.cli.archive_finding import show_entry

    return show_entry(archive, entry, open_picture=open_, out=out, as_json=json)


@archive.command("outcome")
def outcome(
    entry: _Entry,
    word: Annotated[str, typer.Argument(metavar="OUTCOME", help="sound, repaired or scrapped.")],
    who: _Who = "",
    bead_colour: Annotated[str, typer.Option(help="Colour of the bead: straw, blue, grey, ...")] = "",
    penetration: Annotated[
        str, typer.Option(help="Seen from inside: full, partial, none, or 'not looked at'.")
    ] = "",
    note: _Note = "",
    photo: Annotated[list[str] | None, typer.Option(help="Photos of the weld.")] = None,
    day: _Day = None,
    archive: shared.Archive = None,
) -> int:
    """Add what was found of the weld after it was made, to the entry of its joint."""
    from fitup.cli.archive_adding import add_outcome

    details = {"bead_colour": bead_colour, "penetration": penetration}
    return add_outcome(archive, entry, word, details, who=who, day=day, note=note, photos=photo or [])


@archive.command("correct")
def correct(
    entry: _Entry,
    who: _Who = "",
    why: Annotated[str, typer.Option(help="Why; must be given.")] = "",
    job: Annotated[str | None, typer.Option(help="The right job.")] = None,
    part: Annotated[str | None, typer.Option(help="The right part.")] = None,
    joint: Annotated[str | None, typer.Option(help="The right joint.")] = None,
    serial: Annotated[str | None, typer.Option(help="The right serial number.")] = None,
    inspected_by: Annotated[str | None, typer.Option(help="Who inspected in truth.")] = None,
    void: Annotated[bool, typer.Option("--void", help="The entry is not to be relied on at all.")] = False,
    archive: shared.Archive = None,
) -> int:
    """Correct an entry by a new one that names it; the old one stays as it is."""
    from fitup.cli.archive_adding import add_correction

    right = {"job": job, "part": part, "joint": joint, "serial": serial, "who": inspected_by}
    return add_correction(archive, entry, right, void=void, who=who, why=why)


@archive.command("verify")
def verify(
    archive: shared.Archive = None,
    head: Annotated[
        list[str] | None, typer.Option(help="Statements of the head that were kept elsewhere.")
    ] = None,
    public_key: Annotated[
        str | None, typer.Option(help="Public key that every statement must be signed with.")
    ] = None,
    json: _Json = False,
) -> int:
    """Read everything again and name all that was altered, is missing, swapped, truncated or extra.

    Exit code 0 when everything is as it was added, else 6.
    """
    from fitup.cli.archive_proving import verify_archive

    return verify_archive(archive, head or [], public_key, as_json=json)


@archive.command("head")
def head(
    archive: shared.Archive = None,
    out: Annotated[
        str | None, typer.Option(help="File for the statement, .json; the same as text beside it.")
    ] = None,
    key: Annotated[str | None, typer.Option(help="Key to sign with, made by `fitup archive key`.")] = None,
    who: Annotated[str, typer.Option(help="Who states it.")] = "",
) -> int:
    """State the head of the archive, to be printed or mailed and kept elsewhere."""
    from fitup.cli.archive_proving import show_head

    return show_head(archive, out=out, key=key, who=who)


@archive.command("key")
def key(
    out: Annotated[str, typer.Option(help="New file for the key; its public part gets .pub behind.")],
) -> int:
    """Make a key to sign heads with. Keep it away from the archive and from the stations."""
    from fitup.cli.archive_proving import make_signing_key

    return make_signing_key(out)


archive.command("remeasure")(remeasure)
