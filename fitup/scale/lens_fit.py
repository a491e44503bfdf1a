"""The lens from many pictures of one board, with an uncertainty that covers it.

OpenCV's calibration gives the start; `lens_bundle.py` does the rest, because three things must be in the
fit that the library's has not: what the board may be (longer along than across, bowed), focus (the focal
length of a phone changes with the distance), and an uncertainty that does not take the saddles of one photo
for independent. For that each photo is left out in turn. The jackknife covariance (B. Efron, The Jackknife,
the Bootstrap and Other Resampling Plans, 1982) holds whatever the saddles of a photo share, and the error
with which the other photos predict one tells how many coefficients pay.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.lens import PARAMETERS
from fitup.scale.lens_bundle import (
    BOARD,
    FOCUS,
    LensView,
    Part,
    Setting,
    State,
    focus_distances,
    part_of,
    reference_mm,
    residual_of,
    setting_of,
    solve,
    solved,
)
from fitup.scale.lens_model import LensKind, LensModel
from fitup.scale.saddles import project

__all__ = ["LensFit", "fit_lens"]

Array = NDArray[np.float64]

_GATES = 3
_LEAST_POINTS = 8
_GATE_SIGMAS = 4.5
_FLOOR_PX = 0.02
_WORTH = 0.99  # more coefficients must bring the prediction error down at least to this share
_CELLS = (6, 8)
_FISHEYE_GUESSES = np.geomspace(0.25, 1.6, 16)  # focal lengths over the picture's width


@dataclass(frozen=True, kw_only=True, eq=False)
class LensFit:
    """A fitted lens. covariance (4 + K, 4 + K) of log focal, centre, focus and the coefficients.

    board (4,) is stretch and three heights [mm]; predicted_px the error with which the other photos predict
    one; left_px what the model leaves that is no noise; tilts (V, 2) sine of each picture's tilt, about the
    camera's axes; residual_px (N, 2) of the kept points, at places_px (N, 2).
    """

    lens: LensModel
    focus: float
    distance_mm: float
    covariance: Array
    board: Array
    rms_px: float
    predicted_px: float
    left_px: float
    views: tuple[LensView, ...]
    distances_mm: Array
    tilts: Array
    residual_px: Array
    places_px: Array

    @property
    def point_count(self) -> int:
        """How many saddles were kept."""
        return sum(len(view.points_mm) for view in self.views)


def fit_lens(
    views: tuple[LensView, ...],
    size_px: tuple[int, int],
    kind: LensKind,
    focal_length_mm: float | None = None,
    focal_px: float | None = None,
) -> LensFit | None:
    """Fit a lens of one kind, with as many coefficients as pay; None where no such lens explains them.

    focal_px is a first guess (from EXIF), focal_length_mm the module's, for focus.
    """
    start = _start(views, size_px, kind, focal_px)
    if start is None:
        return None
    best: LensFit | None = None
    for count in (5, 8) if kind == "opencv" else (4,):
        try:
            fit = _fit(views, start, count, focal_length_mm)
        except np.linalg.LinAlgError:  # equations of pictures that no such lens made
            continue
        if fit is None or not fit.lens.covers_the_picture:
            continue
        if best is None or fit.predicted_px < _WORTH * best.predicted_px:
            best = fit
    return best


def _start(
    views: tuple[LensView, ...], size_px: tuple[int, int], kind: LensKind, focal_px: float | None
) -> State | None:
    """Lens and poses by the library; None where it gives up."""
    objects = [np.column_stack((v.points_mm, np.zeros(len(v.points_mm)))).astype(np.float32) for v in views]
    images = [v.points_px.astype(np.float32) for v in views]
    width, height = size_px
    guess = _fisheye_guess(views, size_px) if kind == "fisheye" else focal_px or 0.8 * width
    K = np.array([[guess, 0, (width - 1) / 2], [0, guess, (height - 1) / 2], [0, 0, 1.0]])
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # with more, the last digits differ from run to run
    try:
        if kind == "fisheye":
            flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_RECOMPUTE_EXTRINSIC
            # OpenCV 5.0 takes points of a fisheye lens in rows only.
            rows = ([part[None].astype(np.float64) for part in parts] for parts in (objects, images))
            _, K, D, turns, shifts = cv2.fisheye.calibrate(
                next(rows), next(rows), size_px, K, np.zeros((4, 1)), flags=flags | cv2.CALIB_FIX_SKEW
            )
        else:
            flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3
            flags |= cv2.CALIB_USE_INTRINSIC_GUESS if focal_px is not None else 0
            _, K, D, turns, shifts = cv2.calibrateCamera(
                objects, images, size_px, K, np.zeros(5), flags=flags
            )
        lens = LensModel(
            kind=kind,
            size_px=size_px,
            focal_px=float(K[0, 0] + K[1, 1]) / 2,
            centre_px=(float(K[0, 2]), float(K[1, 2])),
            coefficients=tuple(float(c) for c in np.ravel(D)[:4]),
        )
    except (cv2.error, ValueError):
        return None
    finally:
        cv2.setNumThreads(threads)
    return State(
        lens=lens,
        focus=FOCUS,
        board=np.zeros(len(BOARD)),
        rotations=np.stack([cv2.Rodrigues(np.ravel(turn))[0] for turn in turns]),
        translations=np.stack([np.ravel(shift) for shift in shifts]),
    )


def _fisheye_guess(views: tuple[LensView, ...], size_px: tuple[int, int]) -> float:
    """Focal length with which a plain fisheye (angle in proportion to radius) sees the boards most flat.

    The library's fit wanders off where it starts far away.
    """
    middle = (np.array(size_px) - 1) / 2
    costs = []
    for focal in _FISHEYE_GUESSES * size_px[0]:
        misses = []
        for view in views:
            arm = (view.points_px - middle) / focal
            angle = np.minimum(np.linalg.norm(arm, axis=1, keepdims=True), 1.4)
            flat = arm * np.tan(angle) / np.maximum(angle, 1e-9)
            matrix, _ = cv2.findHomography(view.points_mm, flat, 0)
            if matrix is None:
                return float(focal)
            # In lengths on the board: in the picture a long lens would always seem to fit best.
            back = project(np.linalg.inv(np.asarray(matrix, np.float64)), flat)
            misses.append(float(((back - view.points_mm) ** 2).mean()))
        costs.append(np.median(misses))
    return float(_FISHEYE_GUESSES[int(np.argmin(costs))] * size_px[0])


def _fit(
    views: tuple[LensView, ...], start: State, count: int, focal_length_mm: float | None
) -> LensFit | None:
    """Solve, leave out what lies far off, and solve again; the distances follow the poses."""
    coefficients = (*start.lens.coefficients, *(0.0,) * (count - len(start.lens.coefficients)))
    state = replace(start, lens=replace(start.lens, coefficients=coefficients))
    sigma = 1.0
    for _ in range(_GATES):
        setting = setting_of(views, state, focal_length_mm)
        state = solve(views, state, setting, sigma)
        misses = [np.linalg.norm(residual_of(v, state, setting, k), axis=1) for k, v in enumerate(views)]
        sigma = float(np.hypot(np.median(np.concatenate(misses)) / 1.1774, _FLOOR_PX))
        views = tuple(
            replace(v, points_mm=v.points_mm[near], points_px=v.points_px[near])
            for v, near in zip(views, (miss < _GATE_SIGMAS * sigma for miss in misses), strict=True)
        )
        if min(len(v.points_mm) for v in views) < _LEAST_POINTS:
            return None
    setting = setting_of(views, state, focal_length_mm)
    return _result(views, solve(views, state, setting, sigma), setting)


def _result(views: tuple[LensView, ...], state: State, setting: Setting) -> LensFit:
    parts = [part_of(view, state, setting, k, 1.0) for k, view in enumerate(views)]
    residual = np.concatenate([part.residual for part in parts])
    freedom = max(len(residual) - 6 * len(parts) - len(setting.prior), 1)
    sigma = float(np.hypot(np.sqrt((residual**2).sum() / freedom), _FLOOR_PX))
    normal = np.sum([part.normal for part in parts], axis=0) + sigma**2 * np.diag(setting.precision)
    left_out = np.array([solved(normal - part.normal, -part.pull) for part in parts])
    covariance = _joined(sigma**2 * solved(normal, np.eye(len(normal))), left_out)
    places = np.concatenate([view.points_px for view in views])
    apart = focus_distances(state, setting.middle_mm)
    size = len(PARAMETERS) + len(state.lens.coefficients)
    two = residual.reshape(-1, 2)
    return LensFit(
        lens=state.lens,
        focus=state.focus,
        distance_mm=reference_mm(apart),
        covariance=covariance[:size, :size],
        board=state.board,
        rms_px=float(np.sqrt((two**2).sum(1).mean())),
        predicted_px=_predicted(parts, left_out),
        left_px=_left(two, places, state.lens.size_px),
        views=views,
        distances_mm=apart,
        tilts=state.rotations[:, :2, 2],
        residual_px=two,
        places_px=places,
    )


def _joined(by_noise: Array, left_out: Array) -> Array:
    """Covariance from independent saddles, raised where photos scatter more than that.

    The jackknife of few photos scatters itself, so that half of it is spread evenly over all directions
    before the larger of both is taken in each.
    """
    count = len(left_out)
    L = np.linalg.cholesky((by_noise + by_noise.T) / 2)
    z = np.linalg.solve(L, left_out.T)
    ratio = (count - 1) / count * z @ z.T
    even = np.trace(ratio) / len(ratio)
    values, vectors = np.linalg.eigh((ratio + even * np.eye(len(ratio))) / 2)
    root = L @ vectors * np.sqrt(np.maximum(values, 1.0))
    return np.asarray(root @ root.T)


def _predicted(parts: list[Part], left_out: Array) -> float:
    """Root mean square error with which the other photos predict each, its pose being free."""
    total, points = 0.0, 0
    for part, change in zip(parts, left_out, strict=True):
        miss = part.residual - part.design @ change
        miss = miss - part.design_pose @ np.linalg.solve(part.pose_normal, part.design_pose.T @ miss)
        total += float((miss**2).sum())
        points += len(miss) // 2
    return float(np.sqrt(total / points))


def _left(residual: Array, places_px: Array, size_px: tuple[int, int]) -> float:
    """Root mean square of what residuals share in one part of the picture, noise taken off."""
    rows, columns = _CELLS
    cell = (places_px / np.array(size_px) * np.array([columns, rows])).astype(int)
    index = np.clip(cell[:, 1], 0, rows - 1) * columns + np.clip(cell[:, 0], 0, columns - 1)
    count = np.bincount(index, minlength=rows * columns)
    full = count >= 8
    if not np.any(full):
        return 0.0
    means = np.stack(
        [np.bincount(index, residual[:, k], minlength=rows * columns)[full] / count[full] for k in (0, 1)]
    )
    noise = float((residual**2).mean())
    excess = float((means**2).sum(0).mean() - (2 * noise / count[full]).mean())
    return float(np.sqrt(max(excess, 0.0)))
