"""A bowed strip: its middle lies higher than its ends, and the plate's scale comes out wrong."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.scale.plane import PlaneFit, pixel_shifts

__all__ = ["apparent_bow", "bow_field"]

# How far a strip that passes the bent alarm may bow over 210 mm; steadies what short strips cannot tell.
_USUAL_BOW_MM = 0.5
# Of strips bowed by 1.1 to 3 mm, one in 24 passed for flat and seen through a distorting lens (drawn photos):
# the root of that share of the bow that the lens's doing would mean counts as uncertainty.
_BOW_FOR_LENS = 0.2


def apparent_bow(
    fit: PlaneFit,
    mm: NDArray[np.float64],
    length_mm: float,
    guessed_px: NDArray[np.float64] | None = None,
) -> tuple[float, NDArray[np.float64]]:
    """How much the residuals look like a bowed strip, mm, and the fit's response to a bow of 1 mm.

    A bow lifts the strip's middle off the plate, and the scale of the plate is then wrong although
    the saddles fit almost as well as before. guessed_px (N, 2) was taken out as a guessed lens's doing.
    """
    field = bow_field(fit, mm, length_mm)
    response = fit.gain @ field.ravel()
    taken_up = np.einsum("p,pij->ij", response, fit.tangents)[None]
    left = field - pixel_shifts(fit.homography, taken_up, mm)[0]
    prior_mm = _USUAL_BOW_MM * length_mm / 210.0
    steady = (fit.residual_px**2).mean() / prior_mm**2
    weight = (left**2).sum() + steady
    bow = float((left * fit.residual_px).sum() / weight)
    if guessed_px is not None:
        bow = float(np.hypot(bow, _BOW_FOR_LENS * (left * guessed_px).sum() / weight))
    return bow, response


def bow_field(fit: PlaneFit, mm: NDArray[np.float64], length_mm: float) -> NDArray[np.float64]:
    """(N, 2) shift in px of saddles where the strip's middle is lifted by 1 mm over its ends."""
    height = 1 - (2 * (mm[:, 0] - mm[:, 0].mean()) / length_mm) ** 2
    return np.asarray(pixel_shifts(fit.homography, fit.lift_tangent[None], mm)[0] * height[:, None])
