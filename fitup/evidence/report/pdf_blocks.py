"""Every kind of block on paper."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

from fitup.evidence.canvas import rgb
from fitup.evidence.report.model import (
    Badge,
    Block,
    Cell,
    Chart,
    Facts,
    Lines,
    Picture,
    Section,
    Table,
    Verdict,
)
from fitup.evidence.report.pdf_chart import paint_chart, paint_swatch
from fitup.evidence.report.pdf_document import WIDTH_MM, Document
from fitup.evidence.report.style import CAREFUL_GROUND, FINE_PRINT, HAIRLINE, INK, look_of

__all__ = ["paint_section"]

_BODY_PT = 7.8
_LABEL_MM = 34.0
_GAP_MM = 2.0
_ROW_MM = 0.7
_BADGE_MM = 24.0
_PAD_MM = 3.0
_LEAST_PICTURE_MM = 85.0
_VERDICT_MM, _VERDICT_HIGH_MM = 58.0, 22.0


def paint_section(pdf: Document, section: Section) -> None:
    """The title, kept with what follows, and the blocks."""
    if section.title:
        pdf.need(22.0)
        if pdf.get_y() > pdf.t_margin:
            pdf.ln(2.5)
        pdf.start_section(section.title, level=1)
        pdf.text_block(section.title, 10.5, x=pdf.l_margin, width=WIDTH_MM, bold=True)
        pdf.ln(1.2)
    for block in section.blocks:
        _PAINTERS[type(block)](pdf, block)


def _verdict(pdf: Document, verdict: Verdict) -> None:
    look = look_of(Badge(kind="verdict", word=verdict.word))
    x, y = pdf.l_margin, pdf.get_y()
    pdf.set_fill_color(*rgb(look.colour))
    pdf.rect(x, y, _VERDICT_MM, _VERDICT_HIGH_MM, style="F")
    pdf.set_y(y + 6.2)
    pdf.line_of_text(look.word, 21.0, x=x, width=_VERDICT_MM, bold=True, colour=look.text_colour, align="C")
    _pattern(pdf, look.pattern, look.text_colour, x + 5.0, x + _VERDICT_MM - 5.0, y + 18.2)
    _figures(pdf, verdict, x + _VERDICT_MM + 6.0, y)
    pdf.set_y(max(pdf.get_y(), y + _VERDICT_HIGH_MM) + 2.5)
    pdf.text_block(verdict.advice, 10.0, x=x, width=WIDTH_MM, bold=True)
    pdf.ln(0.8)
    pdf.text_block(verdict.sentence, 8.2, x=x, width=WIDTH_MM)
    for text in verdict.careful:
        _careful(pdf, text)
    pdf.ln(0.8)
    pdf.text_block(verdict.care, 6.8, x=x, width=WIDTH_MM, colour=FINE_PRINT)
    pdf.ln(2.0)


def _pattern(pdf: Document, pattern: str, colour: str, left: float, right: float, y: float) -> None:
    """The verdict's line pattern, so that verdicts differ in grey too."""
    dash = {"solid": (), "thick": (), "dashed": (4.0, 2.0), "dotted": (0.6, 1.6)}[pattern]
    pdf.set_draw_color(*rgb(colour))
    pdf.set_line_width({"thick": 1.6, "dotted": 0.9}.get(pattern, 0.6))
    if dash:
        pdf.set_dash_pattern(dash=dash[0], gap=dash[1])
    pdf.line(left, y, right, y)
    pdf.set_dash_pattern()


def _figures(pdf: Document, verdict: Verdict, x: float, y: float) -> None:
    """Label over number, two beside each other."""
    width = (pdf.l_margin + WIDTH_MM - x - 4.0) / 2
    tops = [y, y]
    for k, (label, text) in enumerate(verdict.figures):
        column = k % 2
        at = x + column * (width + 4.0)
        pdf.set_y(tops[column])
        pdf.line_of_text(label, 6.8, x=at, width=width, colour=FINE_PRINT)
        pdf.set_y(tops[column] + 3.4)
        pdf.text_block(text, 9.0, x=at, width=width, bold=True)
        tops[column] = pdf.get_y() + 1.8
    pdf.set_y(max(tops))


def _careful(pdf: Document, text: str) -> None:
    inner = WIDTH_MM - 8.0
    words = f"CAREFUL: {text}"
    height = pdf.height_of(words, inner, 8.2, bold=True) + 3.0
    pdf.need(height + 2.0)
    pdf.ln(1.2)
    x, y = pdf.l_margin, pdf.get_y()
    pdf.set_fill_color(*rgb(CAREFUL_GROUND))
    pdf.set_draw_color(*rgb(INK))
    pdf.set_line_width(0.35)
    pdf.rect(x, y, WIDTH_MM, height, style="DF")
    pdf.set_y(y + 1.5)
    pdf.text_block(words, 8.2, x=x + 4.0, width=inner, bold=True)
    pdf.set_y(y + height)


def _facts(pdf: Document, facts: Facts) -> None:
    width = WIDTH_MM - _LABEL_MM
    for label, text in facts.rows:
        height = max(pdf.height_of(text, width, _BODY_PT), pdf.height_of(label, _LABEL_MM - 2.0, _BODY_PT))
        pdf.need(min(height, 30.0))
        y, page = pdf.get_y(), pdf.page
        pdf.text_block(label, _BODY_PT, x=pdf.l_margin, width=_LABEL_MM - 2.0, colour=FINE_PRINT)
        below = pdf.get_y()
        pdf.set_y(y)
        pdf.text_block(text, _BODY_PT, x=pdf.l_margin + _LABEL_MM, width=width)
        if pdf.page == page:
            pdf.set_y(max(below, pdf.get_y()))
        pdf.ln(_ROW_MM)
    pdf.ln(_GAP_MM)


def _table(pdf: Document, table: Table) -> None:
    widths = [share * WIDTH_MM for share in table.widths]
    heads = tuple(table.heads)
    first = _row_height(pdf, table.rows[0], widths) if table.rows else 0.0
    pdf.need(min(_row_height(pdf, heads, widths) + first + 3.0, pdf.full_mm))
    _row(pdf, heads, widths, table, head=True)
    for row in table.rows:
        if pdf.room_mm < _row_height(pdf, row, widths) + 1.5:
            pdf.add_page()
            _row(pdf, heads, widths, table, head=True)
        _row(pdf, row, widths, table)
    pdf.ln(_GAP_MM)


def _row_height(pdf: Document, row: tuple[Cell, ...], widths: list[float]) -> float:
    return max(
        4.6 if isinstance(cell, Badge) else pdf.height_of(cell, width - _PAD_MM, _BODY_PT)
        for cell, width in zip(row, widths, strict=True)
    )


def _row(
    pdf: Document, row: tuple[Cell, ...], widths: list[float], table: Table, *, head: bool = False
) -> None:
    x, y = pdf.l_margin, pdf.get_y()
    height = _row_height(pdf, row, widths)
    for k, (cell, width) in enumerate(zip(row, widths, strict=True)):
        if isinstance(cell, Badge):
            _state(pdf, cell, x, y, width)
        else:
            pdf.set_y(y)
            pdf.text_block(
                cell,
                _BODY_PT,
                x=x,
                width=width - _PAD_MM,
                colour=FINE_PRINT if head else INK,
                right=k in table.right,
            )
        x += width
    pdf.rule(y + height + _ROW_MM, INK if head else HAIRLINE)
    pdf.set_y(y + height + 2 * _ROW_MM)


def _state(pdf: Document, badge: Badge, x: float, y: float, width: float) -> None:
    """A state by the pattern that it has in the profile, and its word; a verdict on its ground."""
    if badge.kind == "verdict":
        pdf.badge(badge, x, y, 6.8, min(_BADGE_MM, width - 1.5))
        return
    paint_swatch(pdf, badge.word, x, y + 0.1)
    pdf.set_y(y)
    pdf.line_of_text(badge.word, _BODY_PT, x=x + 9.5, width=width - 10.0, bold=True)


def _lines(pdf: Document, lines: Lines) -> None:
    for text in lines.texts:
        pdf.need(min(pdf.height_of(text, WIDTH_MM, _BODY_PT), 20.0))
        pdf.text_block(text, _BODY_PT, x=pdf.l_margin, width=WIDTH_MM)
        pdf.ln(_ROW_MM)
    pdf.ln(_GAP_MM)


def _picture(pdf: Document, picture: Picture) -> None:
    """As large as the rest of the page allows, on the next one where that would be small."""
    pdf.need(_LEAST_PICTURE_MM)
    room = min(pdf.room_mm, pdf.full_mm) - 6.0
    width = min(WIDTH_MM, room * picture.width_px / picture.height_px)
    height = width * picture.height_px / picture.width_px
    x, y = pdf.l_margin + (WIDTH_MM - width) / 2, pdf.get_y()
    pdf.image(io.BytesIO(picture.content), x=x, y=y, w=width, h=height)
    pdf.set_y(y + height + 1.0)
    pdf.line_of_text(picture.caption, 6.5, x=x, width=width, colour=FINE_PRINT)
    pdf.set_y(y + height + 6.0)


_PAINTERS: dict[type[Block], Callable[[Document, Any], None]] = {
    Verdict: _verdict,
    Facts: _facts,
    Table: _table,
    Lines: _lines,
    Picture: _picture,
    Chart: paint_chart,
}
