"""Numbers and places in words, the same in the overlay picture, the plot and the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.verdict import JointVerdict, Spot

__all__ = ["COVERAGE_FACTOR", "from_to", "gap_and_where", "limit_and_why", "millimetres", "spot_label"]

COVERAGE_FACTOR = 2.0
"""Expanded uncertainty by standard uncertainty, some 95 % for a normal distribution (JCGM 100, G.6.6)."""


def millimetres(gap_mm: float, u_mm: float) -> str:
    """Gap with its expanded uncertainty, such as "1.12 ± 0.06 mm"; "not seen" for NaN.

    A reading below zero is shown as the closed joint that it is.
    """
    if not math.isfinite(gap_mm):
        return "not seen"
    if not math.isfinite(u_mm):
        return f"{max(gap_mm, 0.0):.2f} mm"
    return f"{max(gap_mm, 0.0):.2f} ± {COVERAGE_FACTOR * u_mm:.2f} mm"


def gap_and_where(verdict: JointVerdict) -> str:
    """The largest gap in words."""
    if not math.isfinite(verdict.largest_gap_mm):
        return "no gap was seen"
    gap = millimetres(verdict.largest_gap_mm, verdict.largest_gap_u_mm)
    return f"{gap} (k = 2) at {_whole(verdict.largest_gap_at_mm)} mm"


def limit_and_why(verdict: JointVerdict) -> str:
    """The limit and how it comes about."""
    return f"{verdict.limit.limit_mm:.2f} mm by {verdict.limit.sentence.strip().rstrip('.')}"


def spot_label(spot: Spot) -> str:
    """One spot in a few words: state, gap and place, or the stretch where nothing was seen."""
    if not math.isfinite(spot.largest_gap_mm):
        length = f": {max(spot.land_mm, 0.0):.1f} mm" if math.isfinite(spot.land_mm) else ""
        return f"{spot.state!s} {from_to(spot.start_mm, spot.end_mm)}{length}"
    return f"{spot.state!s} {max(spot.largest_gap_mm, 0.0):.2f} mm @ {_whole(spot.at_mm)} mm"


def from_to(start_mm: float, end_mm: float) -> str:
    """A stretch, rounded outwards so that no part of it is left out; a short one is given as it is."""
    digits = 2 if end_mm - start_mm < 5 else 0
    fine = 10**digits
    start = math.floor(start_mm * fine + 1e-6) / fine + 0.0
    end = math.ceil(end_mm * fine - 1e-6) / fine + 0.0
    return f"{start:.{digits}f}{' to ' if start < 0 else '–'}{end:.{digits}f} mm"


def _whole(place_mm: float) -> str:
    return f"{round(place_mm) + 0:d}"
