"""QR labels for the joints of a job: a sheet to print and cut; a label scanned opens its joint's page.

A label is 95 x 52 mm, two a row, ten a page. The code is 40 mm wide with its quiet zone, so that a phone
reads it from some 400 mm away (ten times its width: common practice, no source).
"""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

import segno
from fpdf import FPDF

from fitup.errors import UsageError
from fitup.evidence.report.fonts import faces
from fitup.evidence.report.letters import BOX
from fitup.job import Job
from fitup.phone.board import joint_url
from fitup.phone.phone_settings import ServedJob

__all__ = ["Label", "job_labels", "labels_pdf", "qr_terminal"]

_PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
_LABEL_MM = (95.0, 52.0)
_TEXT_MM = _LABEL_MM[0] - 50.0
_CODE_MM = 40.0
_LEVEL = "q"  # a quarter of the code may be lost to dirt and scratches (ISO/IEC 18004)
_LONGEST_ADDRESS = 400
_MOST_LINES = 6


@dataclass(frozen=True, kw_only=True)
class Label:
    """What stands on one label."""

    job: str
    part: str
    joint: str
    address: str


def job_labels(job: Job, address: str) -> list[Label]:
    """A label for every joint of a job whose page is served at an address; UsageError for no such address."""
    base = address.strip().rstrip("/")
    parts = urlsplit(base)
    if parts.scheme not in ("http", "https") or not parts.netloc or parts.query or parts.fragment:
        raise UsageError("--address is where phones reach fitup serve, such as http://192.168.1.20:8731.")
    served = ServedJob(job=job)
    return [
        Label(job=served.name, part=job.part, joint=one.name, address=base + joint_url(served, one))
        for one in job.joints
    ]


def labels_pdf(labels: Sequence[Label], paper: str = "A4") -> bytes:
    """The labels as a PDF; UsageError for another paper than A4 and Letter, or an address no code holds."""
    size = _PAPERS.get(paper.lower())
    if size is None:
        raise UsageError("paper is A4 or Letter, not another: give one of them.")
    pdf = FPDF(unit="mm", format=size)
    pdf.set_auto_page_break(False)
    pdf.set_title("Labels of joints")
    _add_fonts(pdf)
    across = int(size[0] // _LABEL_MM[0])
    rows = int((size[1] - 10) // _LABEL_MM[1])
    left, top = (size[0] - across * _LABEL_MM[0]) / 2, (size[1] - rows * _LABEL_MM[1]) / 2
    for number, label in enumerate(labels):
        row, column = divmod(number % (across * rows), across)
        if row == column == 0:
            pdf.add_page()
        _draw(pdf, label, left + column * _LABEL_MM[0], top + row * _LABEL_MM[1])
    return bytes(pdf.output())


def qr_terminal(text: str) -> str:
    """The code in letters, for a terminal."""
    stream = io.StringIO()
    _code(text).terminal(stream, compact=True, border=2)
    return stream.getvalue()


def _code(text: str) -> segno.QRCode:
    if len(text) > _LONGEST_ADDRESS:
        raise UsageError("the address is too long for a code that a phone reads: shorten the joint's name.")
    return segno.make(text, error=_LEVEL, boost_error=False, micro=False)


def _add_fonts(pdf: FPDF) -> None:
    fonts = faces()
    pdf.add_font("label", "", fonts.regular)
    pdf.add_font("label", "B", fonts.bold)
    pdf.set_text_shaping(True)  # right to left, joined letters


def _draw(pdf: FPDF, label: Label, left: float, top: float) -> None:
    """Cut line, code, and beside it the joint's name as large as it fits, part, job and address."""
    pdf.set_draw_color(160)
    pdf.set_line_width(0.1)
    pdf.rect(left, top, *_LABEL_MM)
    _draw_code(pdf, label.address, left + 4, top + (_LABEL_MM[1] - _CODE_MM) / 2)
    x, y = left + 47, top + 8
    for text, weight, size_pt in (
        (label.joint, "B", 26.0),
        (label.part, "", 12.0),
        (label.job, "", 12.0),
        (label.address, "", 6.5),
    ):
        if text:
            y += _write(pdf, _shown(text), (x, y), weight, size_pt)


def _shown(text: str) -> str:
    """Letters that the fonts lack as boxes, never left out; the code and the address hold them."""
    known = faces().known
    return "".join(one if ord(one) in known else BOX for one in unicodedata.normalize("NFC", text))


def _draw_code(pdf: FPDF, text: str, left: float, top: float) -> None:
    """Dark modules as rectangles, runs of a row in one: sharp at every size."""
    rows = [list(row) for row in _code(text).matrix]
    border = 4  # modules of quiet zone (ISO/IEC 18004)
    module = _CODE_MM / (len(rows) + 2 * border)
    pdf.set_fill_color(0)
    for v, row in enumerate(rows):
        start = 0
        while start < len(row):
            end = start
            while end < len(row) and row[end]:
                end += 1
            if end > start:
                place = (left + (border + start) * module, top + (border + v) * module)
                pdf.rect(*place, (end - start) * module, module, style="F")
            start = end + 1


def _write(pdf: FPDF, text: str, at: tuple[float, float], weight: str, size_pt: float) -> float:
    """One line, made smaller until it fits, at last broken into lines; its height."""
    while True:
        pdf.set_font("label", weight, size_pt)
        if pdf.get_string_width(text) <= _TEXT_MM or size_pt <= 6.5:
            break
        size_pt -= 0.5
    height = 0.48 * size_pt
    lines = _broken(pdf, text)
    for number, line in enumerate(lines):
        pdf.set_xy(at[0], at[1] + number * height)
        pdf.cell(_TEXT_MM, height, line)
    return height * len(lines) + 1.5


def _broken(pdf: FPDF, text: str) -> list[str]:
    """The text in lines that fit, in the font that is set; of a very long one the first."""
    lines = [""]
    for sign in text:
        if pdf.get_string_width(lines[-1] + sign) > _TEXT_MM:
            lines.append("")
        lines[-1] += sign
    return lines[:_MOST_LINES]
