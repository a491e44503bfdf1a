"""`fitup study plan`, `fitup study read`, `fitup study gauge`, with their options."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitup.cli import shared_options as shared

if TYPE_CHECKING:
    from fitup.study.crossed import CrossedStudy

__all__ = ["gauge", "plan", "read"]

_Title = Annotated[str, typer.Option(help="Title of the page.")]
_Paper = Annotated[str, typer.Option(help="A4 or Letter.")]


def plan(
    part: Annotated[
        list[str], typer.Option(help="Parts, joints or gaps to be measured, parted by commas, or one by one.")
    ],
    person: Annotated[list[str], typer.Option(help="Persons or phones, in the same way.")],
    out: Annotated[str, typer.Option(help="Sheet to print, .pdf; the plan as CSV is written beside it.")],
    repeats: Annotated[int, typer.Option(help="How often everybody measures every part.")] = 3,
    seed: Annotated[
        int | None, typer.Option(help="Number that the random order comes from; drawn if not said.")
    ] = None,
    title: _Title = "",
    paper: _Paper = "A4",
) -> int:
    """Plan a gauge study: which photos to take, in random order, as a sheet to print and a CSV to fill in."""
    from datetime import UTC, datetime

    from fitup.cli.screen import print_line
    from fitup.evidence.report import save_report
    from fitup.evidence.writing import write_file
    from fitup.study.plan import make_plan, plan_csv, plan_sheet

    if seed is None:
        from secrets import randbelow

        seed = randbelow(1_000_000)
    made = make_plan(_names(part), _names(person), repeats, seed)
    table = Path(out).with_suffix(".csv")
    sheet = plan_sheet(made, title=title, made_at=datetime.now(UTC), csv_name=table.name)
    for path in save_report(sheet, out, paper=paper):
        print_line(f"{path}: to print")
    write_file(table, plan_csv(made))
    print_line(f"{table}: to fill in, photos by their names (fitup study read) or gaps (fitup study gauge)")
    print_line(f"{len(made.readings)} photos, order by seed {seed}")
    for remark in made.remarks:
        print_line(remark)
    return 0


def read(
    plan: Annotated[str, typer.Argument(metavar="PLAN", help="The plan, .csv, with the photos' names.")],
    photos: Annotated[str, typer.Argument(metavar="FOLDER", help="The folder with the photos.")],
    out: Annotated[str, typer.Option(help="New file for the readings: .csv.")],
    reading: Annotated[
        str, typer.Option(help="largest: the widest gap seen; mean: over the stretch --from --to.")
    ] = "largest",
    wire: shared.Wire = None,
    no_wire: shared.NoWire = False,
    sheet: shared.Sheet = None,
    joint_kind: shared.JointKind = None,
    print_record: shared.PrintRecord = None,
    lens: shared.Lens = None,
    lens_folder: shared.LensFolder = None,
    from_: shared.From = None,
    to: shared.To = None,
    job: Annotated[
        str, typer.Option(help="A joint list, joints.toml, whose joints are the parts of the plan.")
    ] = "",
) -> int:
    """Inspect the photos of a filled plan, and write one reading of each for `fitup study gauge`.

    A photo that cannot be measured is told of and has no reading; the study will say what is missing.
    """
    from fitup.cli.study_reading import ReadOptions, read_study

    return read_study(
        ReadOptions(
            plan=plan,
            photos=photos,
            out=out,
            reading=reading,
            wire=wire,
            no_wire=no_wire,
            sheet=sheet,
            joint_kind=joint_kind,
            print_record=print_record,
            lens=lens,
            lens_folder=lens_folder,
            from_place=from_,
            to_place=to,
            job=job,
        )
    )


def gauge(
    readings: Annotated[
        str, typer.Argument(metavar="READINGS", help="Readings, .csv: part, person, repeat, gap_mm.")
    ],
    limit: Annotated[str, typer.Option(help="The limit that joints are judged by, the tolerance: 0.9mm.")],
    out: Annotated[str | None, typer.Option(help="Page about the study: .pdf.")] = None,
    pool_above: Annotated[
        float, typer.Option(help="The interaction is pooled where its p-value is greater than this.")
    ] = 0.25,
    confidence: Annotated[float, typer.Option(help="Confidence of the intervals.")] = 0.95,
    who: Annotated[str, typer.Option(help="Who made the study.")] = "",
    title: _Title = "",
    note: Annotated[str, typer.Option(help="Note, for the page.")] = "",
    paper: _Paper = "A4",
    json: Annotated[bool, typer.Option("--json", help="All numbers as JSON, for machines.")] = False,
) -> int:
    """Analyse a crossed gauge study: how much of the limit is measuring, and who or what is to blame.

    Exit code 0 when the study could be analysed, whatever it says of the instrument.
    """
    from datetime import UTC, datetime

    from fitup.cli.screen import print_line
    from fitup.study.crossed import crossed_study
    from fitup.study.gauge_report import StudyFiling, gauge_report, gauge_values
    from fitup.study.readings import read_readings
    from fitup.verdict import parse_length

    limit_mm = parse_length(limit, "--limit")
    found = read_readings(readings)
    study = crossed_study(found, limit_mm=limit_mm, alpha=pool_above, confidence=confidence)
    if json:
        from json import dumps

        print_line(dumps(gauge_values(study), ensure_ascii=False))
    else:
        _show(study)
    if out is not None:
        from fitup.evidence.report import save_report

        filing = StudyFiling(title=title, who=who, note=note, made_at=datetime.now(UTC))
        for path in save_report(gauge_report(study, found, filing), out, paper=paper):
            if not json:
                print_line(str(path))
    return 0


def _names(given: list[str]) -> list[str]:
    return [name.strip() for text in given for name in text.split(",") if name.strip()]


def _show(study: CrossedStudy) -> None:
    from fitup.cli.screen import print_line
    from fitup.study.gauge_words import percent, verdict_on

    verdict = verdict_on(study)
    print_line(verdict.sentence)
    print_line(verdict.advice)
    sure = f"{100 * study.confidence:.3g} % interval"
    _row("component", "std dev mm", sure, "variance", "study", "limit")
    rows: list[tuple[str, Any]] = [
        ("GRR", study.grr),
        ("  repeatability EV", study.repeatability),
        ("  reproducibility AV", study.reproducibility),
    ]
    if not study.pooled:
        rows += [("    persons", study.person), ("    part x person", study.interaction)]
    for name, one in (*rows, ("parts PV", study.part), ("total TV", study.total)):
        shares = (one.share_of_contribution, one.share_of_study, one.share_of_tolerance)
        interval = f"{one.low_mm:.4f} to {one.high_mm:.4f}"
        _row(name, f"{one.sigma_mm:.4f}", interval, *(percent(share) for share in shares))
    if not study.unproven:
        print_line(f"number of distinct categories {study.ndc} (1.41 PV/GRR = {study.ndc_exact:.2f})")
        print_line(
            f"of the limit: 6 standard deviations by {study.limit_mm:.3g} mm; by ISO 22514-7 (4 of them) the "
            f"same GRR gives Q {percent(study.q_mp)}"
        )
    for text in (verdict.pooling, verdict.sure, *verdict.cautions):
        print_line(text)


def _row(*cells: str) -> None:
    from fitup.cli.screen import print_line

    print_line(
        " ".join(f"{c:{w}}" for c, w in zip(cells, ("<22", ">9", ">19", ">9", ">8", ">9"), strict=True))
    )
