"""Plane, pose and focal length on the chessboard photographs of Debian's package opencv-doc.

left01.jpg to left14.jpg: 9 × 6 inner corners, 25 mm, with the lens that the package publishes in
left_intrinsics.yml (focal length 535.9 px, strong barrel distortion; BSD-3-Clause). Corners come from
OpenCV's own chessboard finder, so that only plane and scale are ours.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from fitup.scale import ScaleMap, TargetSighting, scale_map
from fitup.scale.finding import BENT_MM
from fitup.scale.layout import TargetLayout
from fitup.scale.plane import CameraPrior, fit_pose
from tests.scale.drawing_world import photo_of

DATA = Path("/usr/share/doc/opencv-doc/examples/data")
BOARD = TargetLayout(
    name="chessboard", strip_number=0, columns=10, rows=7, pitch_mm=25.0, marker_mm=15.0,
    dictionary="DICT_4X4_50", first_id=0, thickness_mm=0.0,
)  # fmt: skip
ROWS, COLUMNS = 6, 9
KNOWN_COLUMNS = 4  # the scale comes from here, the other five are predicted
READING_PX = 0.15  # noise of a corner in these photos, from the published reprojection errors
SIZE = (640, 480)
CENTRE = np.array([319.5, 239.5])

pytestmark = pytest.mark.skipif(
    not (DATA / "left_intrinsics.yml").exists(), reason="Debian's package opencv-doc is not installed"
)


@cache
def lens() -> tuple[np.ndarray, np.ndarray]:
    file = cv2.FileStorage(str(DATA / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    return file.getNode("camera_matrix").mat(), file.getNode("distortion_coefficients").mat()


@cache
def raw_corners() -> dict[str, np.ndarray]:
    found = {}
    for path in sorted(DATA.glob("left[01][0-9].jpg")):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        seen, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
        if seen:
            stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.01)
            corners = cv2.cornerSubPix(grey, corners.astype(np.float32), (5, 5), (-1, -1), stop)
            found[path.name] = corners.reshape(-1, 2).astype(np.float64)
    return found


@cache
def corners_without_lens() -> dict[str, np.ndarray]:
    """Undistorted by the published lens, with the principal point moved to the picture's middle."""
    K, distortion = lens()
    ideal = K.copy()
    ideal[:2, 2] = CENTRE
    return {
        name: cv2.undistortPoints(px.reshape(-1, 1, 2), K, distortion, P=ideal).reshape(-1, 2)
        for name, px in raw_corners().items()
    }


def map_from(px: np.ndarray, columns: int) -> ScaleMap:
    keep = BOARD.saddles_mm[:, 0] < (columns + 0.5) * BOARD.pitch_mm
    mm = BOARD.saddles_mm[keep]
    matrix = cv2.findHomography(mm, px[keep], 0)[0]
    sighting = TargetSighting(
        layout=BOARD, saddle_ids=np.flatnonzero(keep), saddles_px=px[keep], saddles_mm=mm,
        residual_px=np.zeros(len(mm)), homography=matrix, marker_count=9, dropped_count=0, reduction=1,
    )  # fmt: skip
    return scale_map(photo_of(np.zeros(SIZE[::-1], np.uint8)), sighting)


def predicted(px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(5, 5) relative errors of the spacings in the columns not used, and their standard uncertainties."""
    scale = map_from(px, KNOWN_COLUMNS)
    mm = scale.to_mm(px).reshape(ROWS, COLUMNS, 2)
    error = (np.linalg.norm(np.diff(mm, axis=0), axis=2) / BOARD.pitch_mm - 1)[:, KNOWN_COLUMNS:]
    grid = BOARD.saddles_mm.reshape(ROWS, COLUMNS, 2)
    middle = ((grid[1:] + grid[:-1]) / 2)[:, KNOWN_COLUMNS:]
    u = scale.relative_u(middle)
    reading = READING_PX * np.sqrt(2) / scale.px_per_mm(middle) / BOARD.pitch_mm
    return error, np.sqrt(u["saddles"] ** 2 + u["lens and distance"] ** 2 + reading**2)


def test_photographs_are_there():
    assert len(raw_corners()) == 13


def test_four_columns_predict_the_other_five():
    for name, px in corners_without_lens().items():
        error, _ = predicted(px)
        assert np.abs(error.mean(0)).max() < 0.0125, name  # 1-1.5 % is what the package's lens model leaves
        assert np.abs(error.mean(0)[0]) < 0.003, name  # the neighbouring column


def test_stated_uncertainty_is_honest_over_all_views():
    pairs = [predicted(px) for px in corners_without_lens().values()]
    z = np.concatenate([(error / u).ravel() for error, u in pairs])
    assert np.mean(np.abs(z) < 2) > 0.88
    assert 0.5 < np.sqrt(np.mean(z**2)) < 1.5


def test_a_lens_left_in_is_far_worse_and_would_be_refused():
    """Why the uncertainty grows with distance and why a residual is an alarm: 5-9 % at the far end."""
    errors, residuals = [], []
    for px in raw_corners().values():
        errors.append(np.abs(predicted(px)[0].mean(0)[-1]))
        residuals.append(map_from(px, COLUMNS).residual_mm)
    assert min(errors) > 0.03
    assert max(errors) > 0.07
    assert min(residuals) > 4 * BENT_MM


def test_pose_is_that_of_the_librarys_solver():
    """cv2.solvePnP (iterative, least squares) with the published focal length as truth."""
    focal = float(lens()[0][0, 0])
    K = np.array([[focal, 0, CENTRE[0]], [0, focal, CENTRE[1]], [0, 0, 1]])
    prior = CameraPrior(focal_px=focal, u_relative=1e-6, u_centre_share=1e-7, source="published")
    points = np.column_stack((BOARD.saddles_mm, np.zeros(len(BOARD.saddles_mm))))
    for name, px in corners_without_lens().items():
        matrix = cv2.findHomography(BOARD.saddles_mm, px, 0)[0]
        fit = fit_pose(BOARD.saddles_mm, px, matrix, SIZE, prior, 0.0)
        _, turn, shift = cv2.solvePnP(points, px, K, None, flags=cv2.SOLVEPNP_ITERATIVE)
        assert fit.translation == pytest.approx(shift.ravel(), abs=0.05), name  # mm at some 400 mm
        assert fit.rotation == pytest.approx(cv2.Rodrigues(turn)[0], abs=2e-4), name
        _, _, start = cv2.solvePnP(points, px, K, None, flags=cv2.SOLVEPNP_SQPNP)
        assert fit.translation == pytest.approx(start.ravel(), abs=3.0), name  # another cost, same place


def test_focal_length_of_single_views_is_the_published_one():
    """No EXIF, nothing known: every tilted view alone gives the focal length within its uncertainty."""
    maps = [map_from(px, COLUMNS) for px in corners_without_lens().values()]
    focal = float(lens()[0][0, 0])
    error = np.log([scale.focal_px / focal for scale in maps])
    u = np.array([scale.u_focal_relative for scale in maps])
    assert np.all(np.abs(error) < 2 * u)
    # An unknown print stretch of 0.7 % costs the worst single view a little of its focal length.
    assert np.abs(error).max() < 0.05
    assert np.median(u) < 0.08


def test_many_views_together_agree_with_calibrate_camera():
    """cv2.calibrateCamera over all views, undistorted: its mean residual is what our single poses leave."""
    px = [p.astype(np.float32) for p in corners_without_lens().values()]
    points = np.column_stack((BOARD.saddles_mm, np.zeros(len(BOARD.saddles_mm)))).astype(np.float32)
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST
    flags |= cv2.CALIB_FIX_K1 | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3 | cv2.CALIB_USE_INTRINSIC_GUESS
    guess = np.array([[500.0, 0, CENTRE[0]], [0, 500.0, CENTRE[1]], [0, 0, 1]])
    rms, K, *_ = cv2.calibrateCamera([points] * len(px), px, SIZE, guess, np.zeros(5), flags=flags)
    ours = [map_from(p.astype(np.float64), COLUMNS) for p in px]
    together = np.sqrt(np.mean([scale.residual_rms_px**2 for scale in ours]))
    assert together == pytest.approx(rms, rel=0.15)
    weights = np.array([scale.u_focal_relative**-2 for scale in ours])
    pooled = np.exp(np.sum(weights * np.log([scale.focal_px for scale in ours])) / weights.sum())
    assert pooled == pytest.approx(K[0, 0], rel=0.015)
