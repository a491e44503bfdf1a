"""Checker saddles: predicted from a rough homography, measured on the full picture, fitted robustly."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.layout import TargetLayout
from fitup.scale.lens_model import LensModel

__all__ = [
    "SaddleFit",
    "fit_saddles",
    "in_line",
    "jacobian",
    "looks_like_saddle",
    "measured_saddles",
    "project",
    "refine_corners",
    "saddle_windows",
]

_STOP = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 15, 0.005)
_INLIER_MM = 0.4  # glare moves single corners by up to millimetres; sound ones stay within 0.2 mm
_GATE_SIGMAS = 4.0
_GATE_FLOOR_PX = 0.25  # a tighter gate would throw out sound saddles of an almost perfect picture
_GROWTH_ROUNDS = 4
_CONTRAST_SHARE = 0.3


@dataclass(frozen=True, kw_only=True, eq=False)
class SaddleFit:
    """Saddles kept by the robust fit; `dropped_count` looked like saddles but lie elsewhere.

    common_mm is what neighbouring residuals share: it shows a bent print and is blind to noise. Residuals and
    homography are in ideal pixels where a lens was given.
    """

    ids: NDArray[np.int64]
    points_px: NDArray[np.float64]
    residual_px: NDArray[np.float64]
    common_mm: float
    homography: NDArray[np.float64]
    dropped_count: int


def project(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Apply a homography (3, 3) to points (..., 2)."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[..., :2] / moved[..., 2:])


def jacobian(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(..., 2, 2) derivative of `project` with respect to the points."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    scale = moved[..., 2, None, None]
    return np.asarray(
        (matrix[:2, :2] - (moved[..., :2] / moved[..., 2:])[..., :, None] * matrix[2, :2]) / scale
    )


def refine_corners(
    grey: NDArray[np.uint8], guess: NDArray[np.float64], window: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Refine (N, 2) corners with half windows (N,), in few calls: alike windows share their mean."""
    points = guess.copy()
    left = np.arange(len(guess))
    while len(left):
        size = int(window[left].min())
        now = left[window[left] <= 1.25 * size + 1]
        size = int(np.rint(window[now].mean()))
        corners = np.ascontiguousarray(guess[now, None, :], dtype=np.float32)
        points[now] = cv2.cornerSubPix(grey, corners, (size, size), (-1, -1), _STOP).reshape(-1, 2)
        left = np.setdiff1d(left, now)
    return points


def in_line(points: NDArray[np.float64]) -> bool:
    """Whether points (N, 2) lie so near one line that they carry no scale across it."""
    spread = np.linalg.svd(points - points.mean(0), compute_uv=False)
    return bool(spread[1] < 0.02 * spread[0])


def fit_saddles(
    grey: NDArray[np.uint8],
    layout: TargetLayout,
    start: NDArray[np.float64],
    seen_squares: NDArray[np.int64],
    lens: LensModel | None = None,
) -> SaddleFit:
    """Measure the saddles of a board.

    Those around the markers that were read come first (a homography from a few markers does not
    reach far), then, with the better homography, all that lie in the picture, as long as that finds
    more: also saddles whose own markers were not read.

    Parameters
    ----------
    grey : (H, W) uint8
    start : (3, 3) rough homography px <- mm, good to about half a millimetre near the seen squares
    seen_squares : (M, 2) row and column of the white squares whose marker was read
    lens : the photo's lens; `start` then maps to ideal pixels
    """
    near = _corners_of(layout, seen_squares)
    fit = _measure(grey, layout, start, near, lens)
    everything = np.arange(len(layout.saddles_mm))
    for _ in range(_GROWTH_ROUNDS if len(near) < len(everything) and len(fit.ids) >= 6 else 0):
        wider = _measure(grey, layout, fit.homography, everything, lens)
        grown = len(wider.ids) > len(fit.ids)
        fit = wider if len(wider.ids) >= len(fit.ids) else fit
        if not grown:
            break
    return fit


def _corners_of(layout: TargetLayout, squares: NDArray[np.int64]) -> NDArray[np.int64]:
    """Ids of the saddles at the corners of some squares."""
    row = (squares[:, 0, None] + [0, 0, 1, 1]).ravel()
    column = (squares[:, 1, None] + [0, 1, 0, 1]).ravel()
    inside = (row > 0) & (row < layout.rows) & (column > 0) & (column < layout.columns)
    ids = (row[inside] - 1) * (layout.columns - 1) + column[inside] - 1
    return np.unique(ids).astype(np.int64)


def _measure(
    grey: NDArray[np.uint8],
    layout: TargetLayout,
    start: NDArray[np.float64],
    ids: NDArray[np.int64],
    lens: LensModel | None,
) -> SaddleFit:
    ids, points, sampling = measured_saddles(grey, layout, start, ids, lens)
    if len(ids) == 0:
        return _nothing(start)
    return _robust_fit(ids, layout.saddles_mm[ids], points, sampling, start, lens)


def measured_saddles(
    grey: NDArray[np.uint8],
    layout: TargetLayout,
    start: NDArray[np.float64],
    ids: NDArray[np.int64],
    lens: LensModel | None,
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    """Measure some saddles near where `start` expects them; what they say together is not asked.

    Returns the ids (N,) of those that look like saddles, places (N, 2) px and sampling (N,) px/mm.
    """
    mm = layout.saddles_mm[ids]
    guess, local = project(start, mm), jacobian(start, mm)
    if lens is not None:
        local = lens.slope(guess) @ local
        guess = lens.distort(guess)
    sampling = np.sqrt(np.abs(np.linalg.det(local)))
    window = saddle_windows(layout, sampling)
    edge = window + 2
    inside = np.all(
        (guess > edge[:, None]) & (guess < np.array(grey.shape[::-1]) - 1 - edge[:, None]), axis=1
    )
    ids, guess, local = ids[inside], guess[inside], local[inside]
    window, sampling = window[inside], sampling[inside]
    if len(ids) == 0:
        return ids, guess, sampling
    points = refine_corners(grey, guess, window)
    sound = looks_like_saddle(grey, layout, ids, points, local)
    sound &= np.linalg.norm(points - guess, axis=1) < np.maximum(window, 2 * _INLIER_MM * sampling)
    return ids[sound], points[sound], sampling[sound]


def saddle_windows(layout: TargetLayout, sampling: NDArray[np.float64]) -> NDArray[np.int64]:
    """Half side of the refinement window, 0.7 of the distance to the nearest marker.

    Wider windows bring less noise until the marker comes in: 0.6 to 0.8 is best at 7 and 13 px/mm.
    """
    free_mm = (layout.pitch_mm - layout.marker_mm) / np.sqrt(2)
    return np.asarray(np.clip(np.rint(0.7 * free_mm * sampling), 5, 20).astype(np.int64))


def looks_like_saddle(
    grey: NDArray[np.uint8],
    layout: TargetLayout,
    ids: NDArray[np.int64],
    points: NDArray[np.float64],
    local: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Whether the four squares around each point are dark and bright where they should be."""
    reach = 0.3 * (layout.pitch_mm - layout.marker_mm)
    offsets = reach * np.array([[-1.0, 1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, -1.0]])
    places = (points[:, None, :] + np.einsum("nij,kj->nki", local, offsets)).astype(np.float32)
    values = cv2.remap(grey, places[..., 0], places[..., 1], cv2.INTER_LINEAR).astype(np.float64)
    row, column = np.divmod(ids, layout.columns - 1)
    swap = (row + column) % 2 == 1  # else the falling diagonal is black
    dark = np.where(swap[:, None], values[:, 2:], values[:, :2]).max(1)
    bright = np.where(swap[:, None], values[:, :2], values[:, 2:]).min(1)
    contrast = bright - dark
    typical = np.median(contrast[contrast > 0]) if np.any(contrast > 0) else np.inf
    return np.asarray(contrast > _CONTRAST_SHARE * typical)


def _robust_fit(
    ids: NDArray[np.int64],
    mm: NDArray[np.float64],
    points: NDArray[np.float64],
    sampling: NDArray[np.float64],
    start: NDArray[np.float64],
    lens: LensModel | None,
) -> SaddleFit:
    """Homography by consensus within 0.4 mm, then least squares with a gate at four robust sigmas."""
    if len(ids) < 5:
        return _nothing(start)
    if in_line(mm):  # no homography; kept, so that the refusal can say so
        return SaddleFit(
            ids=ids,
            points_px=points,
            residual_px=np.zeros(len(ids)),
            common_mm=0.0,
            homography=start,
            dropped_count=0,
        )
    widest = _INLIER_MM * float(np.median(sampling))
    ideal = points if lens is None else lens.undistort(points)
    matrix, mask = cv2.findHomography(mm, ideal, cv2.RANSAC, widest)
    if matrix is None:
        return _nothing(start)
    keep = mask.ravel() > 0
    for _ in range(3):
        if np.count_nonzero(keep) < 5:
            return _nothing(start)
        matrix, _ = cv2.findHomography(mm[keep], ideal[keep], 0)
        if matrix is None:
            return _nothing(start)
        miss = ideal - project(matrix.astype(np.float64), mm)
        residual = np.linalg.norm(miss, axis=1)
        gate = max(_GATE_SIGMAS / 1.1774 * float(np.median(residual[keep])), _GATE_FLOOR_PX)
        again = residual < min(gate, widest)
        if np.array_equal(again, keep):
            break
        keep = again
    return SaddleFit(
        ids=ids[keep],
        points_px=points[keep],
        residual_px=residual[keep],
        common_mm=_common(miss[keep] / sampling[keep, None]),
        homography=np.asarray(matrix, dtype=np.float64),
        dropped_count=int(np.count_nonzero(~keep)),
    )


def _common(miss: NDArray[np.float64], run: int = 6) -> float:
    """Root mean square of the means over runs of neighbours; saddles come row by row."""
    if len(miss) < run:
        return np.inf
    means = miss[: len(miss) // run * run].reshape(-1, run, 2).mean(1)
    return float(np.sqrt((means**2).sum(1).mean()))


def _nothing(start: NDArray[np.float64]) -> SaddleFit:
    return SaddleFit(
        ids=np.empty(0, dtype=np.int64),
        points_px=np.empty((0, 2)),
        residual_px=np.empty(0),
        common_mm=np.inf,
        homography=start,
        dropped_count=0,
    )
