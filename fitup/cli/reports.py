"""`fitup report`, with its options: records as documents."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = ["report"]


def report(
    records: Annotated[
        list[str],
        typer.Argument(
            metavar="RECORD_OR_FOLDER",
            help="Records, their folders, or folders of such folders; several make the report of a part.",
        ),
    ],
    out: Annotated[str, typer.Option(help="File for the report: .pdf.")],
    html: Annotated[bool, typer.Option("--html", help="Write the same beside it as one HTML page.")] = False,
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
    font: Annotated[
        str | None, typer.Option(help="A font file, .ttf or .otf, for letters that the report's own lack.")
    ] = None,
) -> int:
    """Write records as a report for people: an archive PDF (PDF/A-3) with the data inside.

    What lies beside a record goes in: picture, table, settlements. Several records of one joint are told
    as before and after. Exit code 0 when the report was written, whatever the verdicts say.
    """
    from fitup.cli.screen import print_line
    from fitup.evidence.report import build_report, save_report

    made = build_report(records)
    for path in save_report(made, out, html=html, paper=paper, font=font):
        print_line(str(path))
    return 0
