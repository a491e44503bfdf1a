"""Writing a report: the PDF, and beside it the same as an HTML page, each whole or not at all."""

from __future__ import annotations

from pathlib import Path

from fitup.errors import UsageError
from fitup.evidence.report.building import build_report
from fitup.evidence.report.fonts import faces
from fitup.evidence.report.model import Report
from fitup.evidence.writing import printable_name, write_file

__all__ = ["PAPERS", "build_report", "save_report"]

PAPERS = ("A4", "Letter")


def save_report(
    report: Report, out: str, *, html: bool = False, paper: str = "A4", font: str | None = None
) -> list[Path]:
    """Write a report to `out`, a .pdf, and with `html` the same beside it as .html; gives what was written.

    `font` is a font file for letters that the report's own fonts lack.

    Raises
    ------
    UsageError
        For another suffix or paper, or a font that cannot be used.
    StorageError
        When a file cannot be written; an earlier report stays then.
    """
    target = Path(out)
    if target.suffix.lower() != ".pdf":
        raise UsageError(
            f"reports are written as .pdf, not {printable_name(target.suffix) or 'without ending'}."
        )
    named = next((one for one in PAPERS if one.lower() == paper.lower()), None)
    if named is None:
        raise UsageError(f"paper is {' or '.join(PAPERS)}, not {printable_name(paper)}.")
    from fitup.evidence.report.html import report_html
    from fitup.evidence.report.pdf import report_pdf

    files = {target: report_pdf(report, faces(font), named)}
    if html:
        files[target.with_suffix(".html")] = report_html(report)
    for path, content in files.items():
        write_file(path, content)
    return list(files)
