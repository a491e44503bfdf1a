"""How much of a joint must be seen for a verdict other than retake."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fitup.errors import UsageError

__all__ = ["SeenRule"]


@dataclass(frozen=True, kw_only=True)
class SeenRule:
    """How much of a joint must be seen for a verdict other than retake.

    Raises
    ------
    UsageError
        When the share is not in 0 to 1 or the length is negative.
    """

    least_seen_share: float = 0.80
    """Share of the stations that must have a measured gap; tacks may hide a tenth of a thin joint."""
    longest_unseen_mm: float = 10.0
    """Longest unseen stretch that may be left to a person looking at it (a tack, a clamp's jaw) [mm]."""

    def __post_init__(self) -> None:
        if not 0 <= self.least_seen_share <= 1:  # also false for NaN
            raise UsageError(f"least_seen_share must be from 0 to 1, not {self.least_seen_share:g}.")
        if not (math.isfinite(self.longest_unseen_mm) and self.longest_unseen_mm >= 0):
            raise UsageError(f"longest_unseen_mm must be 0 mm or more, not {self.longest_unseen_mm:g}.")
