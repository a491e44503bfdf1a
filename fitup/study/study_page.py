"""The page that bias studies and agreements share."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from fitup import __version__
from fitup.evidence.report.model import Attachment, Facts, Lines, Picture, Report, Section, Sheet, Table
from fitup.study.gauge_report import CAUTION, StudyFiling
from fitup.study.pictures import as_jpeg

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["PAGE_INCH", "filed", "finite", "study_page"]

PAGE_INCH = (10.0, 4.6)


def study_page(
    title: str,
    head: str,
    said: list[str],
    table: Table | None,
    rows: list[tuple[str, str]],
    figure: Figure,
    values: dict[str, Any],
    content: bytes,
    filing: StudyFiling,
) -> Report:
    """A page under its headline: sentences, a table, facts, a plot; numbers and readings inside it."""
    picture, width, height = as_jpeg(figure)
    numbers = json.dumps(values, indent=2, ensure_ascii=False).encode()
    files = [
        Attachment(name="study.json", content=numbers, mime="application/json", relation="Data",
                   words="the numbers of the study"),
    ]  # fmt: skip
    if content:
        files.append(
            Attachment(name="readings.csv", content=content, mime="text/csv", relation="Source",
                       words="the readings")
        )  # fmt: skip
    sections = (
        Section(title=head, blocks=(Lines(texts=tuple(said)), *((table,) if table else ()))),
        Section(title="", blocks=(Facts(rows=(*rows, ("cautions", CAUTION))),)),
        Section(
            title="",
            blocks=(
                Picture(content=picture, width_px=width, height_px=height, caption="All lengths in mm."),
            ),
        ),
    )
    return Report(
        title=title,
        filed_at=filing.made_at,
        sheets=(Sheet(title=title, beside=f"{filing.made_at:%Y-%m-%d}", sections=sections),),
        attachments=files,
    )


def filed(filing: StudyFiling) -> list[tuple[str, str]]:
    """Who made the study when, and the note."""
    rows = [("studied by", f"{filing.who or 'not said'}, {filing.made_at:%Y-%m-%d}, fitup {__version__}")]
    return [*rows, ("note", filing.note)] if filing.note else rows


def finite(value: float) -> float | None:
    """A number for machines: what is none becomes None."""
    return value if math.isfinite(value) else None
