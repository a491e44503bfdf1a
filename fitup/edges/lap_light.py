"""How far a lap's lower sheet leads astray that mirrors more than the end face over it.

Before a lap the lower sheet mirrors the end face and, beyond its upper arris, the workshop. Where that is
brighter than the end face, part of the rise that was taken for the gap's is the workshop's: the base seems to
lie farther out the brighter it is, and nearer where all that it mirrors is dark and the first glow under the
arris is taken for it. White paper in the same light tells what bright is. Fourteen laps, rendered in drawn
light with drawn finishes and phones, read (base / paper / 0.31)^0.5 times their gap, with a scatter of some
20 %, each foretold from the others. A bright base that is no brighter than its end face is read as it is; a
dark one is not, for before a wide gap the base is dark whatever the end face is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_start import running_median

__all__ = ["lap_reading"]

Array64 = NDArray[np.float64]

USUAL, SLOPE = 0.31, 0.525  # light over paper's at which a lap is read true; slope of both logarithms
DARKEST, BRIGHTEST = 0.12, 1.0  # over paper: beyond, nothing was seen
OUTSHINES = 0.6  # over the end face's light, from which all of it counts
U_ALIKE, U_OUTSHONE = 0.08, 0.24  # relative, of what is left
U_WITHOUT_PAPER = 0.3
STRETCH = 10  # stations to either side: lamps are mirrored along a stretch


def lap_reading(face: Array64, base: Array64, paper_white: float) -> tuple[Array64, Array64]:
    """Factor (N,) that a lap's reading is to be multiplied with, and its relative standard uncertainty (N,).

    `face` (N,) is the light of the end face over the gap, `base` (N,) that of the sheet before it,
    `paper_white` the print's; NaN where that is not known.
    """
    outshone = running_median(base / np.maximum(face, 1e-3), STRETCH) - 1
    share = np.clip(outshone / OUTSHINES, 0.0, 1.0)
    if not np.isfinite(paper_white):
        return np.ones_like(share), np.hypot(U_ALIKE, U_WITHOUT_PAPER * share)
    light = np.clip(running_median(base, STRETCH) / paper_white, DARKEST, BRIGHTEST)
    share = np.where(light < USUAL, 1.0, share)
    return (USUAL / light) ** (SLOPE * share), np.hypot(U_ALIKE, U_OUTSHONE * share)
