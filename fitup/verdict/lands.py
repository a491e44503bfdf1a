"""Short lands: stretches beside the gap of an open corner or an edge where no cut face guides the wire.

A land's length is compared with the sheet's thickness, which it has where the plate is cut square and whole.
Lands that were not seen make no spot; a note on the joint's shape says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.verdict.spots import runs_of, with_breaks_closed, without_short

if TYPE_CHECKING:
    from fitup.profile import JointShape

__all__ = ["LandRule", "LandState", "LandsToJudge", "ShortLand", "find_short_lands", "lands_to_judge"]


class LandState(StrEnum):
    """What a stretch of a land can be that needs a person."""

    SHORT = "short land"


@dataclass(frozen=True, kw_only=True)
class LandRule:
    """From when a land is called short (common practice, no source).

    Raises
    ------
    UsageError
        When a length is negative or no number, or the share is not in 0 to 1.
    """

    least_share: float = 0.6
    """Share of the sheet's thickness that a land must have."""
    shortest_mm: float = 2.0
    """Shorter stretches are dropped: a nick does not let the wire go [mm along the joint]."""
    merge_mm: float = 1.0
    """Stretches closer than this are one [mm]."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (math.isfinite(value) and value >= 0):
                raise UsageError(f"{field.name} must be a number of 0 or more, not {value:g}.")
        if self.least_share > 1:
            raise UsageError(f"least_share must be from 0 to 1, not {self.least_share:g}.")


@dataclass(frozen=True, kw_only=True, eq=False)
class LandsToJudge:
    """Lengths (N,) [mm] of one or two lands by the word for their side, and the sheet's thickness [mm]."""

    length_mm: dict[str, NDArray[np.float64]]
    sheet_mm: float


@dataclass(frozen=True, kw_only=True)
class ShortLand:
    """Stations `first` to `last` (both included) beside which the land on one side is short."""

    side: str
    first: int
    last: int
    land_mm: float
    """Median length of the land there [mm]."""
    sheet_mm: float


def lands_to_judge(shape: JointShape, sheet_mm: float | None) -> LandsToJudge | None:
    """Lands that the joint has by its kind, or None."""
    both = zip(shape.sides, (shape.near_land_mm, shape.far_land_mm), strict=True)
    lengths = {side: land for side, land in both if land is not None}
    return LandsToJudge(length_mm=lengths, sheet_mm=sheet_mm) if lengths and sheet_mm else None


def find_short_lands(lands: LandsToJudge, step_mm: float, rule: LandRule) -> tuple[ShortLand, ...]:
    """Stretches with a short land, side by side and in order along the joint."""
    found = []
    for side, length_mm in lands.length_mm.items():
        short = length_mm < rule.least_share * lands.sheet_mm  # False for NaN
        # A break is closed only where the land was nowhere seen to be whole.
        short = with_breaks_closed(short, np.isnan(length_mm), rule.merge_mm, step_mm)
        for first, last in runs_of(without_short(short, rule.shortest_mm, step_mm)):
            found.append(
                ShortLand(
                    side=side,
                    first=first,
                    last=last,
                    land_mm=float(np.nanmedian(length_mm[first : last + 1])),
                    sheet_mm=lands.sheet_mm,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.first, one.side)))
