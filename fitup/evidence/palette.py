"""How a state looks, everywhere: one colour, one line pattern, one word, so that none is needed alone.

Colours are three of the palette of Okabe and Ito, "Color Universal Design" (2008), as matplotlib ships
it under the name okabe_ito, and a darker shade of its reddish purple, which alone is too pale on white.
Contrast follows the relative luminance of WCAG 2.2.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "BLACK",
    "BLUE",
    "GREY",
    "PURPLE",
    "SHORT_LAND",
    "SPOT_LOOKS",
    "STATE_LOOKS",
    "VERDICT_LOOKS",
    "VERMILLION",
    "WHITE",
    "Look",
    "contrast",
]

BLACK = "#000000"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
WHITE = "#ffffff"
PURPLE = "#93446f"
GREY = "#767676"  # the lightest grey that still reads as text on white


@dataclass(frozen=True, kw_only=True)
class Look:
    """Colour, line pattern and word of one state or verdict."""

    colour: str
    """Mark on a white ground, as #rrggbb."""
    text_colour: str
    """Text on a ground of `colour`, as #rrggbb."""
    pattern: str
    """solid, dashed, thick, dotted or toothed."""
    word: str
    symbol: str
    """One character that tells states apart without colour, ASCII only."""


STATE_LOOKS = {
    "within": Look(colour=BLACK, text_colour=WHITE, pattern="solid", word="within", symbol="-"),
    "doubtful": Look(colour=BLUE, text_colour=WHITE, pattern="dashed", word="doubtful", symbol="~"),
    "over": Look(colour=VERMILLION, text_colour=BLACK, pattern="thick", word="over", symbol="#"),
    "unseen": Look(colour=GREY, text_colour=WHITE, pattern="dotted", word="unseen", symbol="?"),
}

SHORT_LAND = "short land"
SPOT_LOOKS = {
    **STATE_LOOKS,
    SHORT_LAND: Look(colour=PURPLE, text_colour=WHITE, pattern="toothed", word="short land", symbol="<"),
}
"""Looks of all that a spot can be: a station's state, or a land too short beside whatever gap."""

VERDICT_LOOKS = {
    "within": Look(colour=BLACK, text_colour=WHITE, pattern="solid", word="WITHIN", symbol="="),
    "gauge": Look(colour=BLUE, text_colour=WHITE, pattern="dashed", word="GAUGE", symbol="~"),
    "re-fixture": Look(colour=VERMILLION, text_colour=BLACK, pattern="thick", word="RE-FIXTURE", symbol="!"),
    "retake": Look(colour=GREY, text_colour=WHITE, pattern="dotted", word="RETAKE", symbol="?"),
}


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours #rrggbb, 1 to 21 (WCAG 2.2, "contrast ratio")."""
    brighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    """Relative luminance, 0 to 1 (WCAG 2.2, "relative luminance")."""
    encoded = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in encoded)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
