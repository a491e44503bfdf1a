"""A correction of the gap that a person accepted after a bias study; it is kept with the print's record.

Readings follow reading = intercept + slope × gap by the study's straight line; the correction goes back from
the reading to the gap. It holds for the print whose record carries it, and for one phone where it names one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date as calendar_date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError

__all__ = ["LARGEST_INTERCEPT_MM", "LARGEST_SLOPE_ERROR", "GapCorrection", "correction_from"]

LARGEST_INTERCEPT_MM = 0.5
LARGEST_SLOPE_ERROR = 0.2
"""More than these is no bias of a sound instrument: wrong units, a wrong print check, other references."""
_LONGEST_TEXT = 200
_TEXTS = ("accepted_by", "accepted_on", "method", "references", "readings_sha256", "phone")
_MAY_BE_EMPTY = ("references", "phone")


@dataclass(frozen=True, kw_only=True)
class GapCorrection:
    """The line, how well it is known, where it holds, who accepted it when, on what readings.

    covariance_mm is that of intercept [mm] and slope; low_mm and high_mm are the smallest and largest
    reference of the study. Beyond them the shift is that at the nearer end. `phone` is the camera's make and
    model, "" for all.

    Raises UsageError with what is wrong for numbers that cannot be true.
    """

    intercept_mm: float
    slope: float
    u_intercept_mm: float
    u_slope: float
    covariance_mm: float
    low_mm: float
    high_mm: float
    accepted_by: str
    accepted_on: str
    method: str
    references: str
    readings_sha256: str
    phone: str = ""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name in _TEXTS:
                _check_text(field.name, value, may_be_empty=field.name in _MAY_BE_EMPTY)
            else:
                _check_number(field.name, value)
        if not re.fullmatch(r"[0-9a-f]{64}", self.readings_sha256):
            raise UsageError("The correction's readings must be named by a SHA-256 of 64 hexadecimal digits.")
        _check_date(self.accepted_on)
        _check_line(self)

    def gap_mm(self, reading_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """The gap that readings belong to [mm]."""
        return np.asarray(reading_mm - self._shift_mm(self._inside(reading_mm)))

    def u_mm(self, reading_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Standard uncertainty of the correction itself [mm]."""
        at = self._inside(reading_mm)
        u2 = self.u_intercept_mm**2 + 2 * self.covariance_mm * at + (self.u_slope * at) ** 2
        return np.asarray(np.sqrt(np.maximum(u2, 0.0)) / self.slope)

    def beyond(self, reading_mm: NDArray[np.float64]) -> bool:
        """Whether a reading belongs to a gap outside of the references."""
        gap = (reading_mm - self.intercept_mm) / self.slope
        seen = gap[np.isfinite(gap)]
        return bool(seen.size and (seen.min() < self.low_mm or seen.max() > self.high_mm))

    def meant_for(self, phone: str) -> bool:
        """Whether it holds for photos of this phone, by make and model."""
        return not self.phone or _plain(self.phone) == _plain(phone)

    @property
    def sentence(self) -> str:
        """What it does, who accepted it when."""
        return (
            f"gap = (reading {-self.intercept_mm:+.4f} mm) / {self.slope:.5f}, from a bias study with "
            f"references from {self.low_mm:g} to {self.high_mm:g} mm, accepted by {self.accepted_by} on "
            f"{self.accepted_on}"
        )

    def _inside(self, reading_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Gaps of readings, kept to the range of the references."""
        gap = (reading_mm - self.intercept_mm) / self.slope
        return np.asarray(np.clip(gap, self.low_mm, self.high_mm))

    def _shift_mm(self, gap_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(self.intercept_mm + (self.slope - 1.0) * gap_mm)


def correction_from(data: Mapping[str, Any]) -> GapCorrection:
    """Make it from the fields of a file; raises UsageError where some are unknown, missing or wrong."""
    names = {field.name for field in fields(GapCorrection)}
    if not isinstance(data, Mapping) or set(data) != names:
        raise UsageError("The correction has the wrong entries: accept the bias study again.")
    return GapCorrection(**data)


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _check_text(name: str, value: object, *, may_be_empty: bool) -> None:
    sound = isinstance(value, str) and value.isprintable() and len(value) <= _LONGEST_TEXT
    if not sound or not (may_be_empty or str(value).strip()):
        raise UsageError(
            f"The correction's {name} must be one line of text of up to {_LONGEST_TEXT} letters: who accepts "
            "it gives a name (--who)."
        )


def _check_number(name: str, value: object) -> None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise UsageError(f"The correction's {name} must be a finite number, not {value}.")


def _check_date(text: str) -> None:
    try:
        sound = bool(re.fullmatch(r"\d{4}-\d{2}-\d{2}", text)) and bool(calendar_date.fromisoformat(text))
    except ValueError:
        sound = False
    if not sound:
        raise UsageError(f"The correction's date {text!r} is no date; write it as 2026-03-31.")


def _check_line(line: GapCorrection) -> None:
    if abs(line.intercept_mm) > LARGEST_INTERCEPT_MM or abs(line.slope - 1.0) > LARGEST_SLOPE_ERROR:
        raise UsageError(
            f"A correction of {line.intercept_mm:+.3f} mm and {100 * (line.slope - 1):+.1f} % is more than "
            "any bias of a sound instrument: check units, references and the print."
        )
    if not 0 <= line.low_mm < line.high_mm:
        raise UsageError(
            "The correction's references must run from a smaller to a larger gap, none below zero."
        )
    bound = line.u_intercept_mm * line.u_slope * (1 + 1e-9)
    if line.u_intercept_mm < 0 or line.u_slope < 0 or abs(line.covariance_mm) > bound:
        raise UsageError("The correction's uncertainties must not be negative, nor its covariance too large.")
