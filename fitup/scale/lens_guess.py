"""A lens told from one target alone, where nothing is known of it and the saddles fit no plane.

A distorting lens and a bent strip both move saddles off a plane's picture. They differ: what a lens does
runs evenly with the distance from the picture's middle, what a bow does follows the strip and the slant.
Three radial coefficients about the middle leave 0.004 mm of a lens and 0.015 to 0.03 mm of a bow of 0.7 mm
(drawn and rendered photos, in what neighbouring residuals share).
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.layout import TargetLayout
from fitup.scale.lens_model import LensModel
from fitup.scale.saddles import SaddleFit, fit_saddles, measured_saddles, project

__all__ = ["fit_through_guessed_lens"]

Array = NDArray[np.float64]

_LEFT_BY_LENS_MM = 0.012  # common to neighbouring residuals; more than that is a bow
_LEAST_SADDLES = 40  # a lens, a pose and what is left: a few saddles tell no lens
_U_COEFFICIENT = 0.02  # of the radius, at the picture's corner
_U_SADDLE_PX = 0.15
_ROUNDS = 12
_GATE_SIGMAS, _GATE_FLOOR_PX, _START_PX = 4.5, 0.3, 6.0


def fit_through_guessed_lens(
    grey: NDArray[np.uint8], layout: TargetLayout, start: Array, seen_squares: NDArray[np.int64]
) -> tuple[SaddleFit, LensModel] | None:
    """Fit the saddles again through a lens that they tell themselves; None where no lens explains them.

    Parameters as of `fit_saddles`.
    """
    lens: LensModel | None = None
    everything = np.arange(len(layout.saddles_mm))
    for _ in range(2):
        ids, points, _ = measured_saddles(grey, layout, start, everything, lens)
        if len(ids) < _LEAST_SADDLES:
            return None
        guess = _guess(layout.saddles_mm[ids], points, (grey.shape[1], grey.shape[0]))
        if guess is None:
            return None
        lens, start = guess
    fit = fit_saddles(grey, layout, start, seen_squares, lens)
    if lens is None or len(fit.ids) < _LEAST_SADDLES or fit.common_mm > _LEFT_BY_LENS_MM:
        return None
    return fit, lens


def _guess(mm: Array, px: Array, size_px: tuple[int, int]) -> tuple[LensModel, Array] | None:
    """Three radial coefficients and the homography ideal px <- mm, by Gauss-Newton with gated saddles."""
    half = float(np.hypot(*size_px)) / 2
    middle = ((size_px[0] - 1) / 2, (size_px[1] - 1) / 2)
    lens = LensModel(kind="opencv", size_px=size_px, focal_px=half, centre_px=middle, coefficients=(0.0,) * 5)
    matrix, _ = cv2.findHomography(mm, px, cv2.RANSAC, _START_PX)
    if matrix is None:
        return None
    H = np.asarray(matrix, np.float64) / matrix[2, 2]
    precision = np.array([0.0] * 8 + [_U_COEFFICIENT**-2] * 3)
    kept = np.ones(len(mm), dtype=bool)
    for _ in range(_ROUNDS):
        ideal = project(H, mm)
        by_lens = np.moveaxis(lens.coefficient_shifts(ideal)[[0, 1, 4]], 0, -1)
        J = np.concatenate((lens.slope(ideal) @ _by_homography(H, mm), by_lens), axis=2)
        miss = px - lens.distort(ideal)
        radial = np.array(lens.coefficients)[[0, 1, 4]]
        design = J[kept].reshape(-1, 11) / _U_SADDLE_PX
        normal = design.T @ design + np.diag(precision)
        pull = design.T @ miss[kept].ravel() / _U_SADDLE_PX - precision * np.array([0.0] * 8 + [*radial])
        even = 1 / np.sqrt(np.diag(normal))
        step = even * np.linalg.solve(normal * even[:, None] * even, pull * even)
        H = H + np.append(step[:8], 0.0).reshape(3, 3)
        k1, k2, k3 = (float(k) for k in radial + step[8:])
        lens = replace(lens, coefficients=(k1, k2, 0.0, 0.0, k3))
        if not lens.covers_the_picture:
            return None
        off = np.linalg.norm(px - lens.distort(project(H, mm)), axis=1)
        kept = off < max(_GATE_SIGMAS / 1.1774 * float(np.median(off)), _GATE_FLOOR_PX)
    return lens, H


def _by_homography(H: Array, mm: Array) -> Array:
    """(N, 2, 8) derivative of projected points by the first eight entries."""
    moved = mm @ H[:, :2].T + H[:, 2]
    ends = np.column_stack((mm, np.ones(len(mm)))) / moved[:, 2:]
    place = moved[:, :2] / moved[:, 2:]
    J = np.zeros((len(mm), 2, 8))
    J[:, 0, 0:3] = J[:, 1, 3:6] = ends
    J[:, :, 6:8] = -place[:, :, None] * ends[:, None, :2]
    return J
