"""Sheet as the trade writes it -> thickness in mm: `18ga stainless`, `16 gauge steel`, `1.5mm`, `0.060in`."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from fitup.errors import UsageError
from fitup.verdict.gauges import MANUFACTURERS_STANDARD, US_STANDARD, GaugeTable
from fitup.verdict.lengths import MM_PER_INCH, Quantity, format_mm, read_quantity, show_text

__all__ = ["GAUGE_MATERIALS", "SHEET_RANGE_MM", "Sheet", "parse_sheet"]

SHEET_RANGE_MM = (0.3, 12.0)
GAUGE_MATERIALS = ("stainless", "steel")
"""Materials whose gauge numbers are read, each by its own table."""

_GAUGE = re.compile(r"(?P<number>[0-9]{1,7})\s*(?:gauge|gage|ga\.?)(?![a-z])\s*(?P<material>.*)", re.DOTALL)
_TABLE_OF = {
    **dict.fromkeys(("stainless", "stainless steel", "ss", "us", "us standard", "uss"), US_STANDARD),
    **dict.fromkeys(
        ("steel", "carbon", "carbon steel", "mild steel", "manufacturers", "manufacturers' standard", "msg"),
        MANUFACTURERS_STANDARD,
    ),
}


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet or plate by its nominal thickness.

    Raises
    ------
    UsageError
        When the thickness is no number between 0.3 and 12 mm.
    """

    thickness_mm: float
    table: str | None
    """The gauge table that was used, with its source; None when a length was written."""
    as_written: str
    """What the user wrote, such as "18ga stainless"."""
    reading: str = ""
    """How it was understood, such as "18 ga by the US standard gauge (15 U.S.C. 206) = 1.27 mm"."""

    def __post_init__(self) -> None:
        low, high = SHEET_RANGE_MM
        if not low <= self.thickness_mm <= high:  # also false for NaN
            raise UsageError(f"a sheet of {self.thickness_mm:g} mm is outside {low:g} to {high:g} mm.")


def parse_sheet(text: str, material: str | None = None) -> Sheet:
    """Read a sheet thickness, as a length or as a gauge number with its material.

    A gauge number needs the material, because two tables are in use: stainless is read by the US standard
    gauge, steel and carbon steel by the manufacturers' standard. A number without unit is in mm, or in inches
    where it has three decimals and only that makes sense (`0.060`); where both do (`0.375`) it is refused.
    `material` is that of gauge numbers written without one, by the shop's rules.

    Raises
    ------
    UsageError
        One sentence that says what to write instead.
    """
    match = _GAUGE.fullmatch(text.strip().lower()) if isinstance(text, str) else None
    if match:
        written = " ".join(match["material"].split()).strip(" ,.;:()")
        return _from_gauge(text, match["number"], written or material or "")
    quantity = read_quantity(text, "the sheet thickness")
    unit = quantity.unit or _silent_unit(text, quantity)
    thickness_mm = quantity.to_mm(unit)
    _check_range(text, thickness_mm, "" if quantity.unit else _gauge_hint(quantity))
    return Sheet(
        thickness_mm=float(thickness_mm),
        table=None,
        as_written=text.strip(),
        reading=quantity.reading(unit),
    )


def _from_gauge(text: str, number: str, material: str) -> Sheet:
    if not material:
        raise UsageError(_which_table(number))
    table = _TABLE_OF.get(material)
    if table is None:
        raise UsageError(
            f"sheet {show_text(text)}: no gauge table is kept for {show_text(material)}: "
            "write stainless or steel after the gauge number, or give the thickness in mm."
        )
    thickness_in = _look_up(text, table, number)
    thickness_mm = thickness_in * MM_PER_INCH
    _check_range(text, thickness_mm, "")
    source = f"{table.name} ({table.source})"
    return Sheet(
        thickness_mm=float(thickness_mm),
        table=source,
        as_written=text.strip(),
        reading=f"{number} ga by the {source} = {format_mm(thickness_mm, 4)}",
    )


def _look_up(text: str, table: GaugeTable, number: str) -> Fraction:
    if number not in table.thickness_in:
        known = list(table.thickness_in)
        raise UsageError(
            f"sheet {show_text(text)}: the {table.name} kept here runs from {known[0]} to {known[-1]} ga: "
            "give the thickness in mm."
        )
    return table.thickness_in[number]


def _which_table(number: str) -> str:
    readings = [
        f"{word} ({format_mm(table.thickness_in[number] * MM_PER_INCH)} by the {table.name})"
        for word, table in (("stainless", US_STANDARD), ("steel", MANUFACTURERS_STANDARD))
        if number in table.thickness_in
    ]
    if not readings:
        return f"{show_text(number)} is no gauge number that is kept here: give the thickness in mm."
    choice = " or ".join(f"{number}ga {reading}" for reading in readings)
    return f"gauge {number} alone does not say how thick the sheet is: write {choice}."


def _silent_unit(text: str, quantity: Quantity) -> str:
    if quantity.leads_with_zero:
        raise UsageError(
            f"sheet {show_text(text)} may be a gauge number or thousandths of an inch: "
            "write ga, in or mm after it."
        )
    units = ("mm", "in") if quantity.looks_like_inches else ("mm",)
    fitting = [unit for unit in units if _in_range(quantity.to_mm(unit))]
    if len(fitting) > 1:
        raise UsageError(
            f"sheet {show_text(text)} may be {format_mm(quantity.to_mm('mm'))} or "
            f"{format_mm(quantity.to_mm('in'))}: write {quantity.digits}mm or {quantity.digits}in."
        )
    return fitting[0] if fitting else "mm"


def _check_range(text: str, thickness_mm: Fraction, hint: str) -> None:
    low, high = SHEET_RANGE_MM
    if not _in_range(thickness_mm):
        raise UsageError(
            f"sheet {show_text(text)} would be {format_mm(thickness_mm)}, "
            f"outside {low:g} to {high:g} mm{hint}."
        )


def _in_range(thickness_mm: Fraction) -> bool:
    low, high = (Fraction(str(bound)) for bound in SHEET_RANGE_MM)
    return low <= thickness_mm <= high


def _gauge_hint(quantity: Quantity) -> str:
    if quantity.digits not in US_STANDARD.thickness_in:
        return ""
    return f" (for a gauge number write {quantity.digits}ga stainless or {quantity.digits}ga steel)"
