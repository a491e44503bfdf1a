"""`fitup job show`, `check` and `labels`, with their options: the joint list as people check and use it."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from fitup.errors import ExitCode

if TYPE_CHECKING:
    from fitup.job import Job, JobJoint

__all__ = ["job_list"]

job_list = typer.Typer(rich_markup_mode=None)

_File = Annotated[str, typer.Argument(metavar="FILE", help="A joint list, .toml.")]
_COLUMNS = 80
_WIDEST = {"joint": 12, "kind": 16, "sheet": 9, "strips": 6}
_HEAD = ("joint", "kind", "sheet", "wire", "limit", "by", "from", "length", "strips")
_RIGHT = ("sheet", "wire", "limit", "from", "length")


@job_list.command("show")
def show(
    file: _File,
    joint: Annotated[
        str | None, typer.Option(help="One joint: what every rule allows in it, as `fitup rules show`.")
    ] = None,
) -> int:
    """Show the joints of a list as a table, and how each limit comes about."""
    from fitup.cli.screen import print_line
    from fitup.job import read_job

    job = read_job(file)
    if joint is not None:
        from fitup.cli.rules_screen import RulesScreen

        settings = job.joint(joint).settings
        RulesScreen().show_case(settings.case, settings.deciding)
        return int(ExitCode.WITHIN)
    for line in (*_headline(job), "", *_table(job), "", *_limits(job)):
        print_line(line)
    return int(ExitCode.WITHIN)


@job_list.command("labels")
def labels(
    file: _File,
    address: Annotated[str, typer.Option(help="Where phones reach `fitup serve`: http://192.168.1.20:8731.")],
    out: Annotated[str, typer.Option(help="File for the labels: .pdf.")],
    paper: Annotated[str, typer.Option(help="A4 or Letter.")] = "A4",
) -> int:
    """Draw QR labels to put beside the joints; scanned with a phone, a label opens its joint's page."""
    from pathlib import Path

    from fitup.cli.screen import print_line
    from fitup.errors import UsageError
    from fitup.evidence.writing import write_file
    from fitup.job import read_job
    from fitup.phone.labels import job_labels, labels_pdf

    path = Path(out)
    if path.suffix.lower() != ".pdf" or "\0" in out:
        raise UsageError(f"--out needs a file that ends in .pdf, not {path.name[:60]!r}.")
    made = job_labels(read_job(file), address)
    write_file(path, labels_pdf(made, paper))
    print_line(f"{path}: {len(made)} label{'s' if len(made) > 1 else ''}, for the page at {address}")
    return int(ExitCode.WITHIN)


@job_list.command("check")
def check(file: _File) -> int:
    """Check a joint list: exit code 0 when all of it can be used, else 2 and what to change in which line."""
    from fitup.cli.screen import print_line
    from fitup.job import read_job

    job = read_job(file)
    count = len(job.joints)
    print_line(f"{job.file_name}: {count} joint{'s' if count > 1 else ''}, all entries sound")
    for line in _cautions(job):
        print_line(line)
    return int(ExitCode.WITHIN)


def _headline(job: Job) -> list[str]:
    named = (("job", job.job), ("part", job.part), ("", job.description), ("", job.rules.words))
    words = [f"{word} {text}".strip() for word, text in named if text]
    return textwrap.wrap(f"{job.file_name}: {', '.join(words)}", _COLUMNS)


def _table(job: Job) -> list[str]:
    """Rows in columns that fit 80; thicknesses, wire, limit, start and length in mm."""
    rows = [_HEAD, *(_row(one) for one in job.joints)]
    widths = [
        min(max(_width(row[index]) for row in rows), _WIDEST.get(_HEAD[index], 99))
        for index in range(len(_HEAD))
    ]
    between = "  " if sum(widths) + 2 * (len(widths) - 1) <= _COLUMNS else " "
    return ["sheet, wire, limit, start and length in mm", *(_line(row, widths, between) for row in rows)]


def _row(one: JobJoint) -> tuple[str, ...]:
    from fitup.inspection import limit_of

    settings = one.settings
    limit = limit_of(settings)
    start, _ = settings.ends_mm
    sheets = [sheet.thickness_mm for sheet in (settings.sheet, settings.other_sheet) if sheet]
    strips = settings.strips
    return (
        one.name,
        settings.joint_kind,
        "/".join(f"{thickness:.3g}" for thickness in sheets) or "-",
        "none" if settings.wire is None else f"{settings.wire.diameter_mm:.3g}",
        f"{limit.limit_mm:.3f}",
        limit.rule,
        "-" if start is None else f"{start:.0f}",
        "-" if settings.joint_length_mm is None else f"{settings.joint_length_mm:.0f}",
        (f"{strips[0]}" if len(strips) == 1 else f"{strips[0]}-{strips[-1]}") if strips else "any",
    )


def _limits(job: Job) -> list[str]:
    """How every limit comes about, with its numbers put in, said once for all joints that share it."""
    from fitup.inspection import limit_of

    joints: dict[str, list[str]] = {}
    for one in job.joints:
        joints.setdefault(limit_of(one.settings).sentence, []).append(one.name)
    return [
        line
        for sentence, names in joints.items()
        for line in textwrap.wrap(f"{', '.join(names)}: {sentence}", _COLUMNS, subsequent_indent="  ")
    ]


def _cautions(job: Job) -> list[str]:
    """What is sound and still worth a look."""
    unsaid = [one.name for one in job.joints if one.settings.joint_length_mm is None]
    if not unsaid:
        return []
    text = (
        f"without a length: {', '.join(unsaid)}; of these the stretch beside the strip's pattern is "
        "inspected, and what lies beyond is not looked for"
    )
    return textwrap.wrap(text, _COLUMNS)


def _line(row: Sequence[str], widths: Sequence[int], between: str) -> str:
    cells = []
    for name, text, width in zip(_HEAD, row, widths, strict=True):
        room = " " * max(width - _width(_cut(text, width)), 0)
        cells.append(room + _cut(text, width) if name in _RIGHT else _cut(text, width) + room)
    return between.join(cells).rstrip()


def _cut(text: str, width: int) -> str:
    """The text in a column of a width; what is too long ends with a tilde."""
    if _width(text) <= width:
        return text
    kept = ""
    for letter in text:
        if _width(kept + letter) > width - 1:
            break
        kept += letter
    return f"{kept}~"


def _width(text: str) -> int:
    """Columns that a terminal gives to a text: wide letters take two, marks on letters none."""
    return sum(
        0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in text
    )
