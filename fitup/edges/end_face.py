"""Fit of a gap in which the far plate's end face is seen: flush corners and edge joints.

The end face may be as bright as the plates, so that the gap shows as a shade beside the near arris and
nothing more. Where such a fit begins decides where it ends: it starts from several widths, the best counts.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit, ArrisPriors, fit_arrises
from fitup.edges.arris_model import BAND, FACE, FLOOR, LEFT, LOG_BLUR, NEAR, RIGHT, WIDTH
from fitup.edges.arris_start import Start, flank_used, near_edges
from fitup.edges.end_face_model import EndFace

__all__ = ["fit_end_face"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

FIRST_WIDTHS_MM = (0.12, 0.25, 0.4, 0.7, 1.1)
LINE_MM = 0.6  # how far from the line that was found the near arris is expected
FIRST_WINDOW_MM = 1.5  # behind the near arris: the widest of them and some of the plate
BEHIND_PX = 8.0  # of the far plate's face, taken into the last fit
FLOOR_SHARE, FLOOR_SD = 0.02, 0.05
EVERY, MANY_STATIONS = 3, 30  # of many stations every third is asked where to begin
BLUR_SD = 0.10  # of the print's blur as a guess at the joint's (relative)


def fit_end_face(
    x: Array64,
    profiles: Array,
    clipped: Array,
    model: EndFace,
    flanks: tuple[Array64, Array64],
    sample_mm: float,
    blur_px: float,
) -> tuple[ArrisFit, Start, Array]:
    """Fit all stations of profiles turned so that the end face is on the right.

    Returns the fit, the start values of its best beginning, and the samples' weights (N, M) of the last fit.
    """
    near = near_edges(x, profiles, flanks[0], LINE_MM / sample_mm)
    left, right = _levels(x, profiles, near, flanks[0], sample_mm)
    priors = _priors(left, right, blur_px)
    before = near[:, None] - flank_used(flanks[0], blur_px)[:, None]
    window = (x >= before) & (x <= (near + FIRST_WINDOW_MM / sample_mm)[:, None])
    weights = np.where(clipped > 0.2, 0, window).astype(np.float32)
    stations = np.arange(len(near))
    asked = stations[:: EVERY if len(stations) >= MANY_STATIONS else 1]
    theta = _theta(near, left, right, blur_px)
    used = _counting(weights)
    best: ArrisFit | None = None
    for width_mm in FIRST_WIDTHS_MM:
        theta[:, WIDTH] = width_mm / sample_mm
        fit = fit_arrises(
            x[used],
            profiles[asked, used],
            weights[asked, used],
            theta[asked],
            priors.at(asked),
            iterations=5,
            slot=model,
        )
        best = fit if best is None else best.replaced(np.arange(len(asked)), fit, fit.misfit < best.misfit)
    assert best is not None
    theta = np.stack([np.interp(stations, asked, column) for column in best.parameters.T], axis=1)
    far = near + theta[:, WIDTH]
    window = (x >= before) & (x <= far[:, None] + BEHIND_PX)
    weights = np.where(clipped > 0.2, 0, window).astype(np.float32)
    used = _counting(weights)
    last = fit_arrises(x[used], profiles[:, used], weights[:, used], theta, priors, iterations=6, slot=model)
    floor = last.levels[:, 1]
    start = Start(
        near=near,
        far=far,
        left=left,
        right=right,
        floor=floor,
        lit=np.zeros(len(near), dtype=bool),
        deficit=np.zeros(len(near)),
    )
    return last, start, weights


def _counting(weights: Array) -> slice:
    """Samples from the first to the last one that counts at any station."""
    counting = np.flatnonzero(weights.any(axis=0))
    return slice(counting[0], counting[-1] + 1) if len(counting) else slice(None)


def _levels(
    x: Array64, profiles: Array, near: Array64, flank_px: Array64, sample_mm: float
) -> tuple[Array64, Array64]:
    """Light of the near land and of the plate behind the gap, smoothed along the joint."""
    smooth = cv2.blur(profiles, (3, 5), borderType=cv2.BORDER_REPLICATE).astype(np.float64)
    away = x - near[:, None]
    land = np.minimum(flank_px, 12.0)[:, None]
    own = (away < -0.25 * land) & (away > -0.8 * land)
    behind = (away > 0.8 / sample_mm) & (away < FIRST_WINDOW_MM / sample_mm)
    rows = [np.nanmedian(np.where(mask, smooth, np.nan), axis=1) for mask in (own, behind)]
    return np.maximum(rows[0], 1e-3), np.maximum(rows[1], 1e-3)


def _priors(left: Array64, right: Array64, blur_px: float) -> ArrisPriors:
    plate = np.minimum(left, right)
    return ArrisPriors(
        floor=FLOOR_SHARE * plate,
        floor_sd=FLOOR_SD * plate,
        face=right,
        face_sd=np.maximum(left, right),
        band_px=np.zeros_like(left),
        band_sd_px=np.maximum(left, right) * blur_px,  # a glint about as bright as a plate
        log_blur=np.full_like(left, np.log(blur_px)),
        log_blur_sd=np.full_like(left, BLUR_SD),
    )


def _theta(near: Array64, left: Array64, right: Array64, blur_px: float) -> Array64:
    theta = np.zeros((len(near), 8))
    theta[:, NEAR] = near
    theta[:, LEFT], theta[:, RIGHT] = left, right
    theta[:, FLOOR], theta[:, FACE] = FLOOR_SHARE * left, right
    theta[:, BAND], theta[:, LOG_BLUR] = 0.05 * right, np.log(blur_px)
    return theta
