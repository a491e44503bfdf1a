"""Filler wire as the trade writes it -> diameter in mm: `035`, `.035`, `0.035in`, `1/16in`, `0.9`."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from fitup.errors import UsageError
from fitup.verdict.lengths import MM_PER_INCH, Quantity, format_mm, format_number, read_quantity, show_text

__all__ = ["PUBLISHED_WIRES_SOURCE", "WIRE_RANGE_MM", "Wire", "parse_wire", "published_wires"]

# Filler wires run from 0.6 to 2.4 or 3.2 mm (common practice, no source); 0.4 leaves room below.
WIRE_RANGE_MM = (0.4, 3.2)

PUBLISHED_WIRES_SOURCE = "ISO 544, AWS A5.02, second-hand"
_METRIC = ("0.6mm", "0.8mm", "0.9mm", "1.0mm", "1.2mm", "1.6mm")
_INCH = ("0.023in", "0.030in", "0.035in", "0.040in", "0.045in", "1/16in")


@dataclass(frozen=True, kw_only=True)
class Wire:
    """A filler wire by its nominal diameter.

    Raises
    ------
    UsageError
        When the diameter is no number between 0.4 and 3.2 mm.
    """

    diameter_mm: float
    as_written: str
    """What the user wrote, such as "035"."""
    reading: str = ""
    """How it was understood, such as "0.035 in = 0.889 mm"."""

    def __post_init__(self) -> None:
        low, high = WIRE_RANGE_MM
        if not low <= self.diameter_mm <= high:  # also false for NaN
            raise UsageError(f"a wire of {self.diameter_mm:g} mm is outside {low:g} to {high:g} mm.")


def parse_wire(text: str) -> Wire:
    """Read a wire diameter as the trade writes it.

    A number without unit is in mm (`0.9`), unless it leads with a zero and has no point (`035`: thousandths
    of an inch) or has three decimals and makes sense in inches only (`.035`, `0.035`); no number fits the
    range both ways. A common fraction (`1/16`) is in inches.

    Raises
    ------
    UsageError
        One sentence with, where there is one, the nearest sensible reading.
    """
    quantity = read_quantity(text, "the wire diameter")
    unit = quantity.unit or _silent_unit(quantity)
    diameter_mm = quantity.to_mm(unit)
    if not _in_range(diameter_mm):
        low, high = WIRE_RANGE_MM
        raise UsageError(
            f"wire {show_text(text)} would be {format_mm(diameter_mm)}, outside {low:g} to {high:g} mm"
            f"{_did_you_mean(quantity)}"
        )
    return Wire(diameter_mm=float(diameter_mm), as_written=text.strip(), reading=quantity.reading(unit))


def published_wires(*, inches: bool) -> tuple[Wire, ...]:
    """Sizes that wires are sold in, thinnest first; by ISO 544 in mm, or by AWS A5.02 in inches."""
    return tuple(parse_wire(size) for size in (_INCH if inches else _METRIC))


def _silent_unit(quantity: Quantity) -> str:
    if quantity.leads_with_zero:
        return "thou"
    return "in" if quantity.looks_like_inches and _in_range(quantity.to_mm("in")) else "mm"


def _in_range(diameter_mm: Fraction) -> bool:
    # Compared as decimal numbers: 3.2 mm itself is inside, and so is the float64 made from it.
    low, high = (Fraction(str(bound)) for bound in WIRE_RANGE_MM)
    return low <= diameter_mm <= high


def _did_you_mean(quantity: Quantity) -> str:
    """Slips that really happen: a lost decimal point, a lost leading zero, the other unit."""
    if "/" in quantity.digits:
        return "."
    guesses = {
        format_mm(quantity.number): quantity.number,
        format_mm(quantity.number / 10): quantity.number / 10,
        f"{format_number(quantity.number)} in": quantity.number * MM_PER_INCH,
        f"{format_number(quantity.number / 1000)} in": quantity.number * MM_PER_INCH / 1000,
    }
    sensible = [guess for guess, diameter_mm in guesses.items() if _in_range(diameter_mm)]
    return f": did you mean {' or '.join(sensible)}?" if sensible else "."
