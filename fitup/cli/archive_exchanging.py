"""`fitup archive export` and `fitup archive import`, with their options."""

from __future__ import annotations

from typing import Annotated

import typer

from fitup.cli import shared_options as shared

__all__ = ["export", "import_"]


def export(
    entries: Annotated[
        list[int] | None, typer.Argument(metavar="ENTRY", help="Numbers of the entries.", min=1)
    ] = None,
    out: Annotated[
        str, typer.Option(help="New folder for the bag; or a new .csv or .jsonl file for the profiles alone.")
    ] = "",
    all_: Annotated[bool, typer.Option("--all", help="The whole archive.")] = False,
    word: Annotated[
        list[str] | None, typer.Option(help="Word that occurs in the entry; may be given several times.")
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
    json: Annotated[bool, typer.Option("--json", help="What was exported as JSON, for machines.")] = False,
) -> int:
    """Export entries as a bag (BagIt): records, photos, all that proves them; or their profiles as a table.

    What entries refer to, and what was added to them since, goes with them.
    """
    from fitup.cli.archive_bags import export_entries
    from fitup.cli.archive_finding import query_of

    query = query_of(
        words=word or [],
        wire=wire,
        from_day=from_day,
        to_day=to_day,
        names={"job": job, "part": part, "joint": joint, "serial": serial, "who": who},
        choices={"--kind": kind, "--verdict": verdict, "--outcome": outcome},
    )
    return export_entries(archive, entries or [], query, out, whole=all_, as_json=json)


def import_(
    bags: Annotated[list[str], typer.Argument(metavar="BAG", help="Folders of bags.")],
    archive: shared.Archive = None,
    check: Annotated[bool, typer.Option("--check", help="Only verify the bags; import nothing.")] = False,
    json: Annotated[bool, typer.Option("--json", help="One JSON line per bag, for machines.")] = False,
) -> int:
    """Verify bags and add their entries, behind those of the archive; what is there is not added twice.

    Exit code 6 when anything in a bag is not as it was exported; nothing of that bag is imported then.
    """
    from fitup.cli.archive_bags import import_entries

    return import_entries(archive, bags, only_check=check, as_json=json)
