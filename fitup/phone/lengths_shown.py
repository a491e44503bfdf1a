"""Lengths as a phone shows them, in millimetres or inches. Inside the program there are only millimetres."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from fitup.verdict.lengths import MM_PER_INCH

__all__ = ["DEFAULT_UNITS", "UNITS", "ShownLengths", "shown_lengths"]

DEFAULT_UNITS = "mm"
UNITS = ("mm", "inch")
_SAFETY = 1e-6
_BLANK = "\u00a0"  # a number and its unit stay on one line
_SHORT_MM = 5.0  # a stretch shorter than this is given finer, as in the verdict's own sentences
_NEAR_MM = 0.01


@dataclass(frozen=True, kw_only=True)
class ShownLengths:
    """How one unit is written: decimals of gaps and of places."""

    units: str
    sign: str
    mm_per_unit: float
    gap_decimals: int
    place_decimals: int

    def gap(self, gap_mm: float | None, *, beside_mm: float | None = None) -> str:
        """A gap or limit, "0.90 mm"; "–" for none.

        One decimal more where it lies so near to `beside_mm` that the two would look equal. A reading below
        zero is shown as the closed joint that it is.
        """
        if gap_mm is None or not math.isfinite(gap_mm):
            return "–"
        near = beside_mm is not None and gap_mm != beside_mm and abs(gap_mm - beside_mm) < _NEAR_MM
        return f"{max(gap_mm, 0.0) / self.mm_per_unit:.{self.gap_decimals + near}f}{_BLANK}{self.sign}"

    def spread(self, gap_mm: float | None, u_mm: float | None) -> str:
        """A gap with its expanded uncertainty (k = 2), "0.84 ± 0.05 mm"; never shown smaller than it is."""
        if gap_mm is None or u_mm is None or not math.isfinite(gap_mm + u_mm):
            return self.gap(gap_mm)
        fine = 10**self.gap_decimals
        number = max(gap_mm, 0.0) / self.mm_per_unit
        half = math.ceil(2 * u_mm / self.mm_per_unit * fine - _SAFETY) / fine
        shown = f"{number:.{self.gap_decimals}f}{_BLANK}±{_BLANK}{half:.{self.gap_decimals}f}"
        return f"{shown}{_BLANK}{self.sign}"

    def place(self, place_mm: float | None) -> str:
        """A place along the joint, "155 mm"."""
        if place_mm is None or not math.isfinite(place_mm):
            return "–"
        return f"{place_mm / self.mm_per_unit + 0.0:.{self.place_decimals}f}{_BLANK}{self.sign}"

    def stretch(self, start_mm: float, end_mm: float) -> str:
        """A stretch, "142–168 mm", rounded outwards so that no part of it is left out."""
        start, end = self.ends(start_mm, end_mm)
        joiner = f"{_BLANK}…{_BLANK}" if start_mm < 0 else "\u2060–\u2060"
        return f"{start}{joiner}{end}{_BLANK}{self.sign}"

    def ends(self, start_mm: float, end_mm: float) -> tuple[str, str]:
        """Both ends of a stretch without the unit, rounded outwards."""
        decimals = self.place_decimals + (2 if end_mm - start_mm < _SHORT_MM else 0)
        decimals = min(decimals, self.gap_decimals)
        fine = 10**decimals
        start = math.floor(start_mm / self.mm_per_unit * fine + _SAFETY) / fine + 0.0
        end = math.ceil(end_mm / self.mm_per_unit * fine - _SAFETY) / fine + 0.0
        return f"{start:.{decimals}f}", f"{end:.{decimals}f}"


_SHOWN: Mapping[str, ShownLengths] = {
    "mm": ShownLengths(units="mm", sign="mm", mm_per_unit=1.0, gap_decimals=2, place_decimals=0),
    "inch": ShownLengths(
        units="inch", sign="in", mm_per_unit=float(MM_PER_INCH), gap_decimals=3, place_decimals=2
    ),
}


def shown_lengths(units: str) -> ShownLengths:
    """How lengths are written in these units; millimetres where they are not known."""
    return _SHOWN.get(units, _SHOWN[DEFAULT_UNITS])
