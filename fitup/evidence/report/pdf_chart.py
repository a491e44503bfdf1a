"""A chart on paper, and what stands for what in it."""

from __future__ import annotations

from fitup.evidence.canvas import rgb
from fitup.evidence.report.model import Area, Chart, Stroke, Words
from fitup.evidence.report.pdf_document import WIDTH_MM, Document
from fitup.evidence.report.style import FINE_PRINT
from fitup.evidence.report.swatches import swatch

__all__ = ["paint_chart", "paint_swatch"]

_PT_PER_MM = 72 / 25.4


def paint_chart(pdf: Document, chart: Chart) -> None:
    """The drawing, its legend and its caption, kept together."""
    pdf.need(chart.height_mm + 12.0)
    x, y = pdf.l_margin, pdf.get_y()
    for mark in chart.marks:
        _paint(pdf, mark, x, y)
    pdf.set_y(y + chart.height_mm + 0.5)
    _legend(pdf, chart)
    pdf.text_block(chart.caption, 6.5, x=pdf.l_margin, width=WIDTH_MM, colour=FINE_PRINT)
    pdf.ln(2.0)


def paint_swatch(pdf: Document, pattern: str, x: float, y: float) -> None:
    """The pattern that stands for something, 8 mm wide and 3 mm high."""
    for mark in swatch(pattern):
        _paint(pdf, mark, x, y)


def _legend(pdf: Document, chart: Chart) -> None:
    x, y = pdf.l_margin, pdf.get_y()
    for pattern, word in chart.legend:
        paint_swatch(pdf, pattern, x, y)
        pdf.set_y(y + 0.2)
        pdf.line_of_text(word, 6.5, x=x + 9.0, width=25.0)
        x += 13.0 + pdf.get_string_width(word)
    pdf.set_y(y + 4.2)


def _paint(pdf: Document, mark: Stroke | Area | Words, x: float, y: float) -> None:
    if isinstance(mark, Words):
        pdf.pen(mark.size_mm * _PT_PER_MM, mark.bold, mark.colour)
        pdf.set_text_shaping(False)
        shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[mark.anchor] * pdf.get_string_width(mark.text)
        pdf.text(x + mark.x - shift, y + mark.y, mark.text)
        return
    places = [(x + u, y + v) for u, v in mark.places]
    if isinstance(mark, Area):
        pdf.set_fill_color(*rgb(mark.colour))
        pdf.polygon(places, style="F")
        return
    pdf.set_draw_color(*rgb(mark.colour))
    pdf.set_line_width(mark.width_mm)
    if mark.dash:
        pdf.set_dash_pattern(dash=mark.dash[0], gap=mark.dash[1])
    pdf.polyline(places)
    if mark.dash:
        pdf.set_dash_pattern()
