"""Gap profiles written down by hand: gaps, uncertainties, and reasons where nothing is seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitup.profile import GapProfile
from fitup.verdict import Limit

STEP_MM = 0.5


def profile_of(
    gap_mm: Sequence[float] | np.ndarray,
    u_mm: float | Sequence[float] | np.ndarray = 0.03,
    *,
    first_mm: float = 0.0,
    reason: str = "covered",
) -> GapProfile:
    """A profile with the first station at `first_mm`; NaN gaps are unseen for `reason`."""
    gap = np.array(gap_mm, dtype=np.float64)
    seen = np.isfinite(gap)
    nowhere = np.full((len(gap), 2), np.nan)
    return GapProfile(
        station_mm=first_mm + STEP_MM * np.arange(len(gap)),
        gap_mm=gap,
        u_gap_mm=np.where(seen, np.broadcast_to(u_mm, gap.shape), np.nan),
        near_mm=20.0 - gap / 2,
        far_mm=20.0 + gap / 2,
        near_px=nowhere,
        far_px=nowhere,
        centre_px=nowhere,
        unseen_reason=tuple("" if is_seen else reason for is_seen in seen),
        budget=(),
        notes=(),
        step_mm=STEP_MM,
    )


def limit_of(limit_mm: float) -> Limit:
    return Limit(limit_mm=limit_mm, rule="procedure", sentence="a limit for a test")
