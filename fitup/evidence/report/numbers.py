"""Numbers and times as a report writes them; what is not known is said to be so."""

from __future__ import annotations

import math
from datetime import UTC, datetime

from fitup.evidence.words import COVERAGE_FACTOR, millimetres

__all__ = ["NOT_KNOWN", "gap", "known", "length", "number", "percent", "spread", "when"]

NOT_KNOWN = "not known"


def number(value: float | None, digits: int = 2, unit: str = "") -> str:
    """A number with its unit; minus zero is zero."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    return f"{round(value, digits) + 0.0:.{digits}f} {unit}".rstrip()


def length(value_mm: float | None, digits: int = 2) -> str:
    """A length in mm."""
    return number(value_mm, digits, "mm")


def gap(gap_mm: float | None, u_mm: float | None) -> str:
    """A gap with its expanded uncertainty (k = 2); "not seen" where there is none."""
    return millimetres(math.nan if gap_mm is None else gap_mm, math.nan if u_mm is None else u_mm)


def spread(value: float | None, u: float | None, digits: int, unit: str) -> str:
    """A number with its expanded uncertainty (k = 2), where that is known."""
    if value is None or u is None:
        return number(value, digits, unit)
    return f"{round(value, digits) + 0.0:.{digits}f} ± {COVERAGE_FACTOR * u:.{digits}f} {unit}".rstrip()


def percent(share: float | None, digits: int = 0) -> str:
    """A share in percent; rounded down, so that only the whole is 100 %."""
    if share is None or not math.isfinite(share):
        return NOT_KNOWN
    fine = 10**digits
    return f"{math.floor(100 * share * fine + 1e-6) / fine:.{digits}f} %"


def when(moment: datetime) -> str:
    """A moment in UTC, to the second."""
    return moment.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S UTC")


def known(text: str | None) -> str:
    """A text, or that there is none."""
    return text or "not given"
