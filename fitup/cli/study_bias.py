"""`fitup study bias`, `fitup study agree`, with their options."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.evidence.report.model import Report
    from fitup.study.bias_study import BiasStudy
    from fitup.study.gauge_report import StudyFiling

__all__ = ["agree", "bias"]

_Out = Annotated[str | None, typer.Option(help="Page about the study: .pdf.")]
_Who = Annotated[str, typer.Option(help="Who made the study, and accepts the correction.")]
_Title = Annotated[str, typer.Option(help="Title of the page.")]
_Note = Annotated[str, typer.Option(help="Note, for the page.")]
_Paper = Annotated[str, typer.Option(help="A4 or Letter.")]
_Json = Annotated[bool, typer.Option("--json", help="All numbers as JSON, for machines.")]


def bias(
    readings: Annotated[
        str,
        typer.Argument(metavar="READINGS", help="Readings of references, .csv: reference_mm, gap_mm."),
    ],
    limit: Annotated[str | None, typer.Option(help="The limit, for the share of it: 0.9mm.")] = None,
    check: Annotated[
        str | None, typer.Option(help="Later readings of check references, .csv: does the line still hold?")
    ] = None,
    accept: Annotated[
        str | None, typer.Option(help="Accept the correction: new file for the print record with it, .json.")
    ] = None,
    print_record: Annotated[
        str | None, typer.Option(help="Print check that the readings were made with, for --accept.")
    ] = None,
    references: Annotated[
        str, typer.Option(help="What the references were, by inventory number, for --accept.")
    ] = "",
    phone: Annotated[
        str, typer.Option(help="Make and model that the correction is for; that of the readings if not said.")
    ] = "",
    out: _Out = None,
    who: _Who = "",
    title: _Title = "",
    note: _Note = "",
    paper: _Paper = "A4",
    json: _Json = False,
) -> int:
    """Bias and linearity against references; a correction is proposed, and kept only where it is accepted.

    Exit code 0 when the readings could be analysed, whatever they say of the instrument.
    """
    from fitup.cli.screen import print_line
    from fitup.study.bias_report import bias_report, bias_sentences, bias_values, capability_of
    from fitup.study.bias_study import bias_study, read_bias
    from fitup.study.calibration_control import control_of
    from fitup.verdict import parse_length

    limit_mm = None if limit is None else parse_length(limit, "--limit")
    study = bias_study(read_bias(readings))
    control = None
    if check is not None:
        later = read_bias(check)
        if later.corrected and not study.readings.corrected:
            raise UsageError(  # the line would be taken off a second time
                f"{later.source} holds readings with the correction in them, and {study.readings.source} "
                "without: read the check references with the print record as it was before the correction."
            )
        control = control_of(study.fit, later.reference_mm, later.value_mm)
    if json:
        _print_json(bias_values(study, limit_mm))
    else:
        for text in bias_sentences(study, control):
            print_line(text)
        if limit_mm is not None:
            made = capability_of(study, limit_mm)
            print_line(f"Measuring system: Q {100 * made.q_ms:.1f} % of {limit_mm:.3g} mm (ISO 22514-7).")
    if accept is not None:
        _accept(study, accept, print_record, who=who, references=references, phone=phone)
    if out is not None:
        filing = _filing(title, who, note)
        _save(bias_report(study, filing, limit_mm=limit_mm, control=control), out, paper, quiet=json)
    return 0


def agree(
    readings: Annotated[
        str,
        typer.Argument(metavar="READINGS", help="Gaps that both instruments measured, .csv, a gap a line."),
    ],
    first: Annotated[str, typer.Option(help="Column of the first instrument's readings, mm.")] = "first",
    second: Annotated[str, typer.Option(help="Column of the second instrument's readings, mm.")] = "second",
    out: _Out = None,
    who: _Who = "",
    title: _Title = "",
    note: _Note = "",
    paper: _Paper = "A4",
    json: _Json = False,
) -> int:
    """How two instruments agree on the same gaps, each measured once by both.

    Where columns u_FIRST and u_SECOND give standard uncertainties, a line with errors on both axes is fitted.
    """
    from fitup.cli.screen import print_line
    from fitup.study.agreement import agreement
    from fitup.study.agreement_report import agreement_report, agreement_sentences, agreement_values
    from fitup.study.table_file import read_table
    from fitup.study.york import york_line

    table = read_table(readings)
    names = (first, second)
    a, b = (table.numbers((_head(name),)) for name in names)
    heads = tuple((f"u_{_head(name)}",) for name in names)
    york = None
    if all(table.find(head) for head in heads):
        york = york_line(b, a, table.numbers(heads[1]), table.numbers(heads[0]))
    found = agreement(a, b)
    if json:
        _print_json(agreement_values(found, names, york))
    else:
        for text in agreement_sentences(found, names, york):
            print_line(text)
    if out is not None:
        filing = _filing(title, who, note)
        _save(agreement_report(found, names, york, table.content, filing), out, paper, quiet=json)
    return 0


def _accept(
    study: BiasStudy, target: str, print_record: str | None, *, who: str, references: str, phone: str
) -> None:
    from fitup.cli.screen import print_line
    from fitup.scale import load_print_record, save_print_record
    from fitup.study.bias_study import accepted

    if print_record is None:
        raise UsageError(
            "a correction becomes part of a print record: give the one that the readings were made with "
            "(--print-record print.json)."
        )
    if Path(target).suffix.lower() != ".json":
        raise UsageError("--accept needs a new file that ends in .json: give print-corrected.json.")
    record = accepted(study, load_print_record(print_record), who=who, references=references, phone=phone)
    save_print_record(record, target)
    if record.correction is not None:
        whom = record.correction.phone or "photos of all phones"
        print_line(f"{target}: print record {record.number} with the correction, for {whom}")
        print_line(record.correction.sentence)


def _head(name: str) -> str:
    return name.strip().lower().replace(" ", "_")


def _filing(title: str, who: str, note: str) -> StudyFiling:
    from datetime import UTC, datetime

    from fitup.study.gauge_report import StudyFiling

    return StudyFiling(title=title, who=who, note=note, made_at=datetime.now(UTC))


def _save(page: Report, out: str, paper: str, *, quiet: bool) -> None:
    from fitup.cli.screen import print_line
    from fitup.evidence.report import save_report

    for path in save_report(page, out, paper=paper):
        if not quiet:
            print_line(str(path))


def _print_json(values: dict[str, object]) -> None:
    from json import dumps

    from fitup.cli.screen import print_line

    print_line(dumps(values, ensure_ascii=False))
