"""Speeds, power and frequency as the trade writes them: `12.7mm/s`, `0.5 in/s`, `30ipm`, `550W`, `80Hz`.

Minutes and inches exist only at this door. A number without its unit is refused: 30 may be inches a minute or
millimetres a second.
"""

from __future__ import annotations

import re
from fractions import Fraction

from fitup.errors import UsageError
from fitup.verdict.lengths import MM_PER_INCH, read_quantity, show_text

__all__ = ["parse_frequency", "parse_power", "parse_speed"]

_MM_S = {
    "mm/s": Fraction(1),
    "cm/s": Fraction(10),
    "in/s": MM_PER_INCH,
    "ips": MM_PER_INCH,
    "mm/min": Fraction(1, 60),
    "cm/min": Fraction(10, 60),
    "m/min": Fraction(1000, 60),
    "in/min": MM_PER_INCH / 60,
    "ipm": MM_PER_INCH / 60,
}
_WATTS = {"w": Fraction(1), "watt": Fraction(1), "watts": Fraction(1), "kw": Fraction(1000)}
_HERTZ = {"hz": Fraction(1), "khz": Fraction(1000)}
_SAME = {"inches": "in", "inch": "in", '"': "in", "per": "/", "seconds": "s", "second": "s", "sec": "s",
         "minutes": "min", "minute": "min"}  # fmt: skip
_WORD = re.compile("|".join(sorted(map(re.escape, _SAME), key=len, reverse=True)))
_SPLIT = re.compile(r"\s*([^A-Za-z\"″”]*?)\s*([A-Za-z\"″”].*)", re.DOTALL)


def parse_speed(text: str, what: str = "the speed") -> float:
    """Read a speed and return it in mm/s; UsageError in one sentence where it is none."""
    return _read(text, what, _MM_S, "12.7mm/s, 0.5in/s or 30in/min")


def parse_power(text: str, what: str = "the power") -> float:
    """Read a power and return it in W."""
    return _read(text, what, _WATTS, "550W")


def parse_frequency(text: str, what: str = "the frequency") -> float:
    """Read a frequency and return it in Hz."""
    return _read(text, what, _HERTZ, "80Hz")


def _read(text: str, what: str, units: dict[str, Fraction], example: str) -> float:
    if not isinstance(text, str):
        raise UsageError(f"{what} must be given as text with its unit, such as {example}.")
    match = _SPLIT.fullmatch(text)
    unit = _plain(match[2]) if match else ""
    if match is None or unit not in units or not match[1]:
        raise UsageError(f"{what} {show_text(text)} cannot be read: write a number with its unit, {example}.")
    return float(read_quantity(match[1], what).number * units[unit])


def _plain(unit: str) -> str:
    """The unit without blanks, its words written short."""
    short = _WORD.sub(lambda word: _SAME[word[0]], unit.strip().lower().replace("″", '"').replace("”", '"'))
    return re.sub(r"\s", "", short).rstrip(".")
