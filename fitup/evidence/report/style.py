"""Sizes and inks of a report, the same in the PDF and on the HTML page."""

from __future__ import annotations

from fitup.evidence.palette import SPOT_LOOKS, VERDICT_LOOKS, Look
from fitup.evidence.report.model import Badge

__all__ = ["CAREFUL_GROUND", "FAINT", "FINE_PRINT", "HAIRLINE", "INK", "PAPER", "look_of"]

INK = "#000000"
FINE_PRINT = "#595959"
"""Labels and small print; 7 to 1 on white (WCAG 2.2, 1.4.6)."""
HAIRLINE = "#bfbfbf"
FAINT = "#f2f2f2"
CAREFUL_GROUND = "#fff4d6"
PAPER = "#ffffff"


def look_of(badge: Badge) -> Look:
    """How a state or a verdict looks."""
    return SPOT_LOOKS[badge.word] if badge.kind == "state" else VERDICT_LOOKS[badge.word]
