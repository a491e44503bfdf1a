"""The report as an archive PDF (PDF/A-3, ISO 19005-3) with its files inside."""

from __future__ import annotations

from fitup.evidence.report.archive import embed_files, set_metadata
from fitup.evidence.report.fonts import Faces
from fitup.evidence.report.letters import Letters, shown_report
from fitup.evidence.report.model import Report
from fitup.evidence.report.pdf_blocks import paint_section
from fitup.evidence.report.pdf_document import Document

__all__ = ["report_pdf"]

_INTRO = (
    "The fonts in this file lack some letters, which are shown as □; or a text holds signs that cannot be "
    "seen. These are the code points, in order. The files inside this report have every text as it was "
    "written; with --font and a font that has these letters, fitup report shows them."
)


def report_pdf(report: Report, faces: Faces, paper: str = "A4") -> bytes:
    """Write a report as PDF; the same report, fonts and paper give the same bytes."""
    shown = shown_report(report, Letters(faces.known), _INTRO)
    pdf = Document(paper, faces)
    set_metadata(pdf, shown)
    for sheet in shown.sheets:
        pdf.title_text, pdf.beside = sheet.title, sheet.beside
        pdf.add_page()
        pdf.start_section(sheet.title, level=0)
        for section in sheet.sections:
            paint_section(pdf, section)
    embed_files(pdf, tuple(report.attachments), report.filed_at)
    return pdf.finish()
