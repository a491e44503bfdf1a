"""What makes a PDF an archive file: PDF/A-3 (ISO 19005-3) metadata, colours, and the files inside it.

The PDF library writes the structure, and the sRGB profile (ICC, version 2) that says what colours mean. Its
own metadata would hold the time of writing, so that the same record would never give the same bytes twice.
"""

from __future__ import annotations

from datetime import UTC, datetime
from html import escape

from fpdf import FPDF

from fitup import __version__
from fitup.evidence.report.model import Attachment, Report

__all__ = ["CONFORMANCE", "embed_files", "set_metadata"]

CONFORMANCE = "PDF/A-3B"


def set_metadata(pdf: FPDF, report: Report) -> None:
    """Title and times, all from the records, as XMP; there is no other metadata."""
    pdf.set_creation_date(report.filed_at)
    pdf.set_title(report.title)
    pdf.set_lang("en")
    pdf.set_xmp_metadata(_xmp(report))


def _xmp(report: Report) -> str:
    moment = report.filed_at.astimezone(UTC).isoformat(timespec="seconds")
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" '
        'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:pdf="http://ns.adobe.com/pdf/1.3/" '
        'xmlns:pdfaid="http://www.aiim.org/pdfa/ns/id/">'
        "<pdfaid:part>3</pdfaid:part><pdfaid:conformance>B</pdfaid:conformance>"
        '<dc:title><rdf:Alt><rdf:li xml:lang="x-default">'
        f"{escape(report.title)}</rdf:li></rdf:Alt></dc:title>"
        f"<xmp:CreatorTool>fitup {__version__}</xmp:CreatorTool>"
        f"<xmp:CreateDate>{moment}</xmp:CreateDate><xmp:ModifyDate>{moment}</xmp:ModifyDate>"
        f"<xmp:MetadataDate>{moment}</xmp:MetadataDate><pdf:Producer>fitup {__version__}</pdf:Producer>"
        "</rdf:Description></rdf:RDF></x:xmpmeta>"
    )


def embed_files(pdf: FPDF, attachments: tuple[Attachment, ...], filed_at: datetime) -> None:
    """Files inside the PDF as associated files, in the order of their names, as a name tree asks for."""
    for file in attachments:
        pdf.embed_file(
            bytes=file.content,
            basename=file.name,
            mime_type=file.mime,
            associated_file_relationship=file.relation,
            modification_date=filed_at,
            desc=file.words,
            compress=True,
            checksum=True,
        )
