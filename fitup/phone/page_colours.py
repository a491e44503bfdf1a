"""Colours of the phone page that carry meaning, as pairs, so that their contrast can be tested.

The page is read in sunlight: words have 7:1 (WCAG 2.2, 1.4.6), marks that tell something 3:1 (1.4.11). The
style sheet `static/page.css` uses these colours and no others for it.
"""

from __future__ import annotations

from fitup.evidence.palette import BLACK, BLUE, PURPLE, VERMILLION, WHITE

__all__ = ["NOT_TEXT", "TEXTS"]

INK = "#111111"
QUIET = "#474747"
GROUND = "#f2f2f0"
LINK = "#00497a"
CAREFUL = "#ffefc2"
UNSEEN = "#595959"
FOCUS = "#0050d0"

TEXTS: dict[str, tuple[str, str]] = {
    "words": (INK, WHITE),
    "words beside": (QUIET, WHITE),
    "words beside, chosen": (QUIET, GROUND),
    "links": (LINK, WHITE),
    "main buttons": (WHITE, INK),
    "chosen": (INK, GROUND),
    "notices": (INK, CAREFUL),
    "notices, beside": (QUIET, CAREFUL),
    "numbers of spots": (BLACK, WHITE),
    "sign of unseen": (WHITE, UNSEEN),
}
"""What is written, and on what: #rrggbb."""

NOT_TEXT: dict[str, tuple[str, str]] = {
    "over the limit": (VERMILLION, WHITE),
    "sign of over": (BLACK, VERMILLION),
    "doubtful": (BLUE, WHITE),
    "sign of doubtful": (WHITE, BLUE),
    "short land": (PURPLE, WHITE),
    "unseen": (UNSEEN, WHITE),
    "focus": (FOCUS, WHITE),
    "focus on a main button": (FOCUS, GROUND),
    "edges of fields and choices": ("#8a8a8a", WHITE),
}
"""What is drawn, and on what: #rrggbb."""
