"""Lengths as the trade writes them -> mm: `0.9mm`, `0,9 mm`, `0.035in`, `0.035"`, `1/16in`, `35 thou`.

Inches exist only at this door. One inch is 25.4 mm exactly; numbers are read as exact fractions and rounded
once, so `0.035in` is the float64 nearest to 0.889 mm and not a rounding beside it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from fitup.errors import UsageError

__all__ = [
    "MM_PER_INCH",
    "Quantity",
    "format_mm",
    "format_number",
    "parse_length",
    "parse_length_or_zero",
    "parse_place",
    "read_quantity",
    "show_text",
]

MM_PER_INCH = Fraction(254, 10)

_MM_PER_UNIT = {"mm": Fraction(1), "in": MM_PER_INCH, "thou": MM_PER_INCH / 1000}
_UNIT_WORDS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "″", "”", "''", "′′"), "in"),
    **dict.fromkeys(("thou", "thous"), "thou"),
}
# Digits are counted so that no number of absurd length is ever turned into a float.
_NUMBER = re.compile(
    r"(?P<sign>[+\-−]?)\s*"
    r"(?P<number>[0-9]{1,9}\s*/\s*[0-9]{1,9}|[0-9]{0,9}[.,][0-9]{1,15}|[0-9]{1,9}(?![0-9/]))"
    r"\s*(?P<rest>.*)",
    re.DOTALL,
)
_ZERO = re.compile(r"0{1,9}([.,]0{0,9})?\s*(mm|in|\")?", re.IGNORECASE)
_LONGEST_SHOWN = 40
# No joint is longer: keeps a slip of the decimal point from passing as a length.
_LONGEST_MM = 100_000


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A number as written, with its unit if there was one."""

    number: Fraction
    digits: str
    """The number as written, without blanks, with a decimal point."""
    unit: str
    """One of "mm", "in", "thou", or "" when no unit was written (a common fraction is always in inches)."""

    def to_mm(self, unit: str | None = None) -> Fraction:
        """The length in mm, read in `unit` when none was written."""
        return self.number * _MM_PER_UNIT[unit or self.unit]

    def reading(self, unit: str) -> str:
        """How the quantity was understood, such as "0.035 in = 0.889 mm"."""
        millimetres = format_mm(self.to_mm(unit), 4)
        if unit == "mm":
            return millimetres
        inches = self.digits if "/" in self.digits else format_number(self.to_mm(unit) / MM_PER_INCH, 4)
        return f"{inches} in = {millimetres}"

    @property
    def looks_like_inches(self) -> bool:
        """True for a decimal number as inches are written without their unit: three decimals or more."""
        return len(self.digits.partition(".")[2]) >= 3 or "/" in self.digits

    @property
    def leads_with_zero(self) -> bool:
        """True for the shop's short form without a point, such as 035."""
        return self.digits.isdigit() and len(self.digits) > 1 and self.digits[0] == "0"


def parse_length(text: str, what: str = "the length") -> float:
    """Read one length and return it in mm; a number without unit is in mm.

    Parameters
    ----------
    text : str
        Such as `0.5`, `0.5 mm`, `0,5mm`, `0.02in`, `1/16"`, `20 thou`.
    what : str
        What is being read, for the message.

    Raises
    ------
    UsageError
        When the text is no positive length, or could be meant in inches as well as in mm.
    """
    quantity = read_quantity(text, what)
    if not quantity.unit and (quantity.leads_with_zero or quantity.digits.startswith(".")):
        raise UsageError(
            f"{what} {show_text(text)} may be inches or millimetres: "
            f"write {quantity.digits}in or {quantity.digits}mm with the unit."
        )
    length_mm = quantity.to_mm(quantity.unit or "mm")
    if length_mm > _LONGEST_MM:
        raise UsageError(f"{what} {show_text(text)} is over {_LONGEST_MM // 1000} m: check the number.")
    return float(length_mm)


def parse_place(text: str, what: str = "the place") -> float:
    """Read a place along a joint and return it in mm: written as a length, but it may be zero or negative."""
    words = text.strip()
    unsigned = words.lstrip("+-−")
    if len(words) - len(unsigned) > 1:
        raise UsageError(f"{what} {show_text(text)} cannot be read: write a number with mm or in.")
    place_mm = 0.0 if _ZERO.fullmatch(unsigned) else parse_length(unsigned, what)
    return -place_mm if words[:1] in ("-", "−") and place_mm else place_mm


def parse_length_or_zero(text: str, what: str = "the length") -> float:
    """Read a length that may be zero and return it in mm."""
    return 0.0 if _ZERO.fullmatch(text.strip()) else parse_length(text, what)


def read_quantity(text: str, what: str) -> Quantity:
    """Split text into a positive number and a unit; raises UsageError when that cannot be done."""
    if not isinstance(text, str):
        raise UsageError(f"{what} must be given as text with its unit, such as '0.9mm'.")
    if not text.strip():
        raise UsageError(f"{what} is empty: write it with its unit, such as 0.9mm or 0.035in.")
    match = _NUMBER.fullmatch(text.strip())
    unit = _UNIT_WORDS.get(match["rest"].strip().lower()) if match and match["rest"] else ""
    if match is None or unit is None:
        raise UsageError(f"{what} {show_text(text)} cannot be read: write a number with mm or in.")
    digits = re.sub(r"\s", "", match["number"]).replace(",", ".")
    if re.search(r"/0+$", digits):
        raise UsageError(f"{what} {show_text(text)} divides by zero: write a fraction such as 1/16in.")
    number = Fraction(digits)
    if number == 0 or match["sign"] in ("-", "−"):
        raise UsageError(f"{what} {show_text(text)} must be greater than zero.")
    return Quantity(number=number, digits=digits, unit=unit or ("in" if "/" in digits else ""))


def format_mm(length_mm: float | Fraction, decimals: int = 3) -> str:
    """Write a length with at most `decimals` decimals and no trailing zeros, such as "0.889 mm"."""
    return f"{format_number(length_mm, decimals)} mm"


def format_number(value: float | Fraction, decimals: int = 3) -> str:
    """Write a number with at most `decimals` decimals and no trailing zeros."""
    return f"{float(value):.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{float(value):.0f}"


def show_text(text: str) -> str:
    """Quote what the user wrote, on one line, printable and not endless."""
    shown = repr(text)
    return shown if len(shown) <= _LONGEST_SHOWN else f"{shown[: _LONGEST_SHOWN - 4]}...'"
