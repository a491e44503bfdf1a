"""The paper of a report: pages with head and foot, text in any script, boxes and badges in millimetres."""

from __future__ import annotations

import logging
from typing import Literal, cast

from fpdf import FPDF
from fpdf.enums import Align, MethodReturnValue, WrapMode, XPos, YPos

from fitup.evidence.canvas import rgb
from fitup.evidence.report.archive import CONFORMANCE
from fitup.evidence.report.fonts import Faces
from fitup.evidence.report.model import Badge
from fitup.evidence.report.style import FINE_PRINT, HAIRLINE, INK, look_of

__all__ = ["LINE", "WIDTH_MM", "Document"]

WIDTH_MM = 182.0
LINE = 1.32
"""Line by font size."""

_PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_TOP_MM, _FOOT_MM = 19.0, 17.0
_MM_PER_PT = 25.4 / 72
_COUNT = "{nb}"
_FOOT = "Informs the fitter, releases nothing for welding."
# Scripts whose letters join, stack or run to the left, and marks that are put onto letters.
_SHAPED = ((0x0300, 0x036F), (0x0590, 0x1CFF), (0x200C, 0x200D), (0xFB1D, 0xFEFC), (0x10000, 0x10FFFF))


class Document(FPDF):
    """An archive PDF with the report's fonts; `beside` stands at the head of pages until it changes."""

    def __init__(self, paper: str, faces: Faces) -> None:
        logging.getLogger("fpdf").setLevel(logging.ERROR)  # it tells of fonts on stderr
        width, height = _PAPERS[paper]
        super().__init__(unit="mm", format=(width, height), enforce_compliance=CONFORMANCE)
        self.title_text = ""
        self.beside = ""
        side = (width - WIDTH_MM) / 2
        self.set_margins(side, _TOP_MM, side)
        self.set_auto_page_break(True, _FOOT_MM)
        self.c_margin = 0.0
        self.add_font("report", "", faces.regular)
        self.add_font("report", "B", faces.bold)
        if faces.own is not None:
            self.add_font("own", "", faces.own)
            self.set_fallback_fonts(["own"], exact_match=False)
        self.alias_nb_pages("")  # a name may hold the sign for the number of pages

    @property
    def room_mm(self) -> float:
        """What is left of the page below the pen."""
        return float(self.h - _FOOT_MM - self.get_y())

    @property
    def full_mm(self) -> float:
        """Room of an empty page."""
        return float(self.h - _FOOT_MM - _TOP_MM)

    def need(self, height_mm: float) -> None:
        """Go to the next page where this one has less room."""
        if self.room_mm < height_mm and self.get_y() > _TOP_MM:
            self.add_page()

    def header(self) -> None:
        """Title and filing of the sheet, over a hairline."""
        self.set_y(9.0)
        self.line_of_text(self.title_text, 8.0, bold=True, x=self.l_margin, width=WIDTH_MM * 0.5)
        self.line_of_text(
            self.beside,
            7.0,
            colour=FINE_PRINT,
            x=self.l_margin + WIDTH_MM * 0.5,
            width=WIDTH_MM * 0.5,
            align="R",
        )
        self.rule(14.0)
        self.set_y(_TOP_MM)

    def footer(self) -> None:
        """What the result is not, and the page."""
        y = self.h - _FOOT_MM + 4.0
        self.rule(y)
        self.set_y(y + 1.5)
        self.line_of_text(_FOOT, 6.5, colour=FINE_PRINT, x=self.l_margin, width=WIDTH_MM * 0.6)
        elsewhere = self.str_alias_nb_pages
        self.alias_nb_pages(_COUNT)
        self.line_of_text(
            f"page {self.page_no()} of {_COUNT}",
            6.5,
            colour=FINE_PRINT,
            x=self.l_margin + WIDTH_MM - 16.0,  # the number of pages is put in later: flush left
            width=20.0,
        )
        self.alias_nb_pages(elsewhere)

    def finish(self) -> bytes:
        """The whole file; the number of pages is known now."""
        self.alias_nb_pages(_COUNT)
        return bytes(self.output())

    def rule(self, y_mm: float, colour: str = HAIRLINE) -> None:
        """A hairline over the whole width."""
        self.set_draw_color(*rgb(colour))
        self.set_line_width(0.2)
        self.line(self.l_margin, y_mm, self.l_margin + WIDTH_MM, y_mm)

    def pen(self, size_pt: float, bold: bool = False, colour: str = INK) -> None:
        """Take a font, its size and its ink."""
        self.set_font("report", "B" if bold else "", size_pt)
        self.set_text_color(*rgb(colour))

    def line_of_text(
        self,
        text: str,
        size_pt: float,
        *,
        x: float,
        width: float,
        bold: bool = False,
        colour: str = INK,
        align: Literal["L", "C", "R"] = "L",
    ) -> None:
        """One line at the pen's height, cut with an ellipsis where it is too long."""
        self.pen(size_pt, bold, colour)
        self._shape(text)
        self.set_x(x)
        while self.get_string_width(text) > width and len(text) > 1:
            text = text[: min(len(text) - 2, int(len(text) * 0.95))] + "…"
        self.cell(width, size_pt * _MM_PER_PT * LINE, text, align=align)

    def lines_of(self, text: str, width: float, size_pt: float, bold: bool = False) -> int:
        """Into how many lines a text breaks."""
        self.pen(size_pt, bold)
        self._shape(text)
        if not text or self.get_string_width(text) <= width:
            return 1
        broken = self.multi_cell(
            width, 1.0, text, dry_run=True, output=MethodReturnValue.LINES, wrapmode=WrapMode.WORD
        )
        return len(cast("list[str]", broken))

    def text_block(
        self,
        text: str,
        size_pt: float,
        *,
        x: float,
        width: float,
        bold: bool = False,
        colour: str = INK,
        right: bool = False,
    ) -> None:
        """Text broken into lines, from the pen's height down; the pen ends below it."""
        self.pen(size_pt, bold, colour)
        self._shape(text)
        self.set_x(x)
        align = Align.R if right else Align.L
        height = size_pt * _MM_PER_PT * LINE
        self.multi_cell(width, height, text, align=align, new_x=XPos.LEFT, new_y=YPos.NEXT)

    def height_of(self, text: str, width: float, size_pt: float, bold: bool = False) -> float:
        """How high `text_block` becomes."""
        return self.lines_of(text, width, size_pt, bold) * size_pt * _MM_PER_PT * LINE

    def badge(self, badge: Badge, x: float, y: float, size_pt: float, width: float) -> None:
        """The word on a ground of its colour."""
        look = look_of(badge)
        height = size_pt * _MM_PER_PT * 1.5
        self.set_fill_color(*rgb(look.colour))
        self.rect(x, y, width, height, style="F")
        self.set_y(y + 0.09 * height)
        self.line_of_text(
            look.word, size_pt, x=x + 0.8, width=width - 1.6, bold=True, colour=look.text_colour, align="C"
        )

    def _shape(self, text: str) -> None:
        """Letters are shaped only where their script asks for it: it takes time, and breaks up plain text."""
        needed = any(low <= ord(letter) <= high for letter in text for low, high in _SHAPED)
        self.set_text_shaping(needed)
