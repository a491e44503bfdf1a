"""`fitup compare`, with its options: one joint before and after it was re-fixtured."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["compare"]


def compare(
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="The record before, or its folder.")],
    after: Annotated[str, typer.Argument(metavar="AFTER", help="The record after, or its folder.")],
    shift: Annotated[
        str, typer.Option(help="What is added to places after, if the strip lay elsewhere: 12mm, -3mm.")
    ] = "0mm",
    anyway: Annotated[
        bool,
        typer.Option("--anyway", help="Compare even what is filed as another joint, or of another kind."),
    ] = False,
    out: Annotated[str | None, typer.Option(help="Folder for comparison.json and a picture.")] = None,
    who: Annotated[str, typer.Option(help="Who compares.")] = "",
    json: Annotated[bool, typer.Option("--json", help="The comparison as JSON, for machines.")] = False,
) -> int:
    """Compare two records of one joint: spots closed, left and new, and the change of the gap.

    Settlements that lie beside the records count. Exit code: that of the verdict after.
    """
    from fitup.cli.inspecting import exit_code_of
    from fitup.cli.later_screen import LaterScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.comparison_building import compare_records
    from fitup.evidence.judged_record import read_judged
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.settlement_file import read_settlements
    from fitup.evidence.subject import Filing
    from fitup.evidence.writing import check_folder
    from fitup.verdict.lengths import parse_place

    shift_mm = parse_place(shift, "--shift")
    both = [read_settlements(read_judged(file)) for file in (before, after)]
    compared = compare_records(*both, shift_mm=shift_mm, anyway=anyway, filing=Filing(who=who))
    folder = None
    if out is not None:
        check_folder(Path(out))
        from fitup.evidence.comparison_saving import save_comparison

        folder = save_comparison(compared, out)
    if json:
        print_line(model_to_json(compared.record).rstrip("\n"))
    else:
        LaterScreen().show_comparison(compared, folder)
    return exit_code_of(compared.record.after.word)
