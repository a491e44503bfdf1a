"""White-noise profiles through the product's estimator against the Cramér–Rao bound with the same priors."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.edges.bound import Slot, width_sd_px
from tests.edges.slots import measure

__all__ = ["bound_ratios"]

BLURS_PX = (0.8, 1.2, 2.0)
WIDTHS_IN_BLURS = (3.4, 4.0, 5.0, 6.5, 8.0, 12.0, 30.0)
COUNT = 4000  # the ratio scatters by 1/sqrt(2 N) = 1.1 %


def bound_ratios() -> dict[str, Any]:
    """RMS error over the bound for gaps above 3.3 blur sigmas: worst and mean over the grid, and the grid."""
    rows = []
    for known, floor_sd, log_blur_sd in (("nothing", np.inf, np.inf), ("blur and floor", 0.012, 0.04)):
        for blur in BLURS_PX:
            for widths in WIDTHS_IN_BLURS:
                slot = Slot(width_px=widths * blur, blur_px=blur, floor_sd=floor_sd, log_blur_sd=log_blur_sd)
                trial = measure(slot, COUNT, seed=round(100 * widths))
                bound = width_sd_px(slot)
                rows.append(
                    {
                        "known": known,
                        "blur_px": blur,
                        "gap_in_blurs": widths,
                        "bound_px": round(bound, 5),
                        "ratio": round(trial.rms_px / bound, 4),
                        "stated_over_rms": round(
                            float(np.sqrt(np.mean(trial.stated_px**2))) / trial.rms_px, 4
                        ),
                    }
                )
    ratios = [row["ratio"] for row in rows]
    return {
        "bound_ratio": max(ratios),
        "bound_ratio_mean": round(float(np.mean(ratios)), 4),
        "bound_ratio_chance": round(1 / np.sqrt(2 * COUNT), 4),
        "grid": rows,
    }
