"""The target's plane in space: a camera pose with a focal length, fitted with priors, or a free homography.

Both models are carried in one form: a homography px <- mm and, for every parameter, the derivative
of that matrix (a *tangent*). Fit, covariance and everything propagated from it use tangents only.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.saddles import project

__all__ = ["FocalPrior", "PlaneFit", "fit_homography", "fit_pose", "pixel_shifts"]

Matrix = NDArray[np.float64]

# Stabilised lenses and mounting put the principal point off the middle by some tenths of a percent
# of the diagonal (order of magnitude from published phone calibrations).
_U_CENTRE_SHARE = 0.004
_U_SADDLE_FLOOR_PX = 0.03  # what even a perfect picture leaves (grey steps, interpolation)
_ROUNDS = 8


@dataclass(frozen=True, kw_only=True)
class FocalPrior:
    """What is known of the focal length before the fit: value, relative standard uncertainty, where from."""

    focal_px: float
    u_relative: float
    source: str


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneFit:
    """A fitted plane at height z over the target's face.

    homography (3, 3) px <- mm; tangents (P, 3, 3); covariance (P, P) and gain (P, 2N), the change of
    the parameters for a change of the measured saddles [1/px]. rotation, translation: target to camera.
    """

    model: str
    homography: Matrix
    tangents: Matrix
    covariance: Matrix
    gain: Matrix
    rms_px: float
    rotation: Matrix
    translation: Matrix
    focal_px: float
    u_focal: float


def pixel_shifts(homography: Matrix, tangents: Matrix, points_mm: Matrix) -> Matrix:
    """(P, N, 2) shift in the image of N points for a unit change of each parameter."""
    home = points_mm @ homography[:, :2].T + homography[:, 2]
    moved = np.einsum("pij,nj->pni", tangents[:, :, :2], points_mm) + tangents[:, None, :, 2]
    depth = home[:, 2:]
    return np.asarray((moved[..., :2] - home[:, :2] / depth * moved[..., 2:]) / depth)


def fit_pose(
    points_mm: Matrix,
    points_px: Matrix,
    free: Matrix,
    size_px: tuple[int, int],
    prior: FocalPrior,
    height_mm: float,
) -> PlaneFit:
    """Pose, focal length and principal point by Gauss-Newton with priors.

    Parameters
    ----------
    points_mm, points_px : (N, 2) saddles in the target's face and in the image
    free : (3, 3) homography px <- mm of the face, the start
    size_px : width and height of the picture
    prior : focal length
    height_mm : height of the wanted plane over the face (negative: below it)
    """
    middle = np.array([(size_px[0] - 1) / 2, (size_px[1] - 1) / 2])
    u_centre = _U_CENTRE_SHARE * float(np.hypot(*size_px))
    precision = np.array([0.0] * 6 + [prior.u_relative**-2, u_centre**-2, u_centre**-2])
    sigma = _noise_px(points_px - project(free, points_mm), 8)
    focal, centre = prior.focal_px, middle
    rotation, translation = _start(free, _camera(focal, centre))
    for _ in range(_ROUNDS):
        matrix, tangents = _pose_matrices(rotation, translation, focal, centre, 0.0)
        J = _design(matrix, tangents, points_mm)
        miss = (points_px - project(matrix, points_mm)).ravel()
        known = np.array([0.0] * 6 + [np.log(prior.focal_px / focal), *(middle - centre)])
        step = np.linalg.solve(
            J.T @ J / sigma**2 + np.diag(precision), J.T @ miss / sigma**2 + precision * known
        )
        rotation = _turn(step[:3]) @ rotation
        translation = translation + step[3:6]
        focal, centre = focal * float(np.exp(np.clip(step[6], -0.5, 0.5))), centre + step[7:]
        if np.max(np.abs(J @ step)) < 1e-4:
            break
    matrix, tangents = _pose_matrices(rotation, translation, focal, centre, 0.0)
    J = _design(matrix, tangents, points_mm)
    residual = points_px - project(matrix, points_mm)
    covariance, gain = _spread(J, residual, precision, 6)
    lowered, tangents = _pose_matrices(rotation, translation, focal, centre, height_mm)
    return PlaneFit(
        model="pose",
        homography=lowered,
        tangents=tangents,
        covariance=covariance,
        gain=gain,
        rms_px=_rms(residual),
        rotation=rotation,
        translation=translation,
        focal_px=focal,
        u_focal=float(np.sqrt(covariance[6, 6])),
    )


def fit_homography(points_mm: Matrix, points_px: Matrix, free: Matrix, pose: PlaneFit) -> PlaneFit:
    """Free homography of the face, lowered to the pose's plane by the pose's own parallax."""
    middle, size = points_mm.mean(0), float(points_mm.std())
    unit = np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])
    basis = np.zeros((8, 3, 3))
    for k in range(8):  # all entries but the last: scale, shear, shift and perspective
        basis[k].flat[k] = 1.0
    lower = np.linalg.solve(_pose_face(pose), pose.homography)
    tangents = free @ np.linalg.inv(unit) @ basis @ unit
    J = _design(free, tangents, points_mm)
    residual = points_px - project(free, points_mm)
    covariance, gain = _spread(J, residual, np.zeros(8), 8)
    return PlaneFit(
        model="homography",
        homography=free @ lower,
        tangents=tangents @ lower,
        covariance=covariance,
        gain=gain,
        rms_px=_rms(residual),
        rotation=pose.rotation,
        translation=pose.translation,
        focal_px=pose.focal_px,
        u_focal=pose.u_focal,
    )


def _camera(focal: float, centre: Matrix) -> Matrix:
    return np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])


def _start(free: Matrix, camera: Matrix) -> tuple[Matrix, Matrix]:
    """Rotation and translation from a homography: its columns are r1, r2, t up to one factor."""
    columns = np.linalg.solve(camera, free)
    columns = columns / np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1]))
    if columns[2, 2] < 0:  # the target lies in front of the camera
        columns = -columns
    r1, r2 = columns[:, 0], columns[:, 1]
    left, _, right = np.linalg.svd(np.column_stack((r1, r2, np.cross(r1, r2))))
    return np.asarray(left @ right), columns[:, 2]


def _turn(vector: Matrix) -> Matrix:
    return np.asarray(cv2.Rodrigues(np.ascontiguousarray(vector))[0], dtype=np.float64)


def _pose_matrices(
    rotation: Matrix, translation: Matrix, focal: float, centre: Matrix, height_mm: float
) -> tuple[Matrix, Matrix]:
    """Homography of the plane at a height over the face, and its nine tangents.

    Parameters: three small turns about the camera's axes, three shifts, log focal length, principal point.
    """
    K = _camera(focal, centre)
    turned = np.column_stack((rotation[:, 0], rotation[:, 1], height_mm * rotation[:, 2]))
    M = turned.copy()
    M[:, 2] += translation
    tangents = np.zeros((9, 3, 3))
    for k in range(3):
        tangents[k] = K @ np.cross(np.eye(3)[k], turned, axisb=0, axisc=0)
        tangents[3 + k, :, 2] = K[:, k]
    tangents[6] = np.diag([focal, focal, 0.0]) @ M
    tangents[7, 0] = tangents[8, 1] = M[2]
    return K @ M, tangents


def _pose_face(pose: PlaneFit) -> Matrix:
    """Homography of the pose's own target face; the tangents of a shift are the columns of K."""
    face = np.column_stack((pose.rotation[:, 0], pose.rotation[:, 1], pose.translation))
    return np.asarray(pose.tangents[3:6, :, 2].T @ face)


def _design(matrix: Matrix, tangents: Matrix, points_mm: Matrix) -> Matrix:
    return pixel_shifts(matrix, tangents, points_mm).reshape(len(tangents), -1).T


def _rms(residual: Matrix) -> float:
    return float(np.sqrt(np.mean((residual**2).sum(1))))


def _noise_px(residual: Matrix, parameters: int) -> float:
    """Standard deviation of one coordinate of a saddle."""
    freedom = max(residual.size - parameters, 1)
    return float(np.hypot(np.sqrt((residual**2).sum() / freedom), _U_SADDLE_FLOOR_PX))


def _spread(J: Matrix, residual: Matrix, precision: Matrix, parameters: int) -> tuple[Matrix, Matrix]:
    """Covariance and gain of the least-squares estimate.

    Residuals of neighbouring saddles are alike where the lens or the paper, not noise, makes them.
    Their number then counts for less: the variance is raised by the ratio of the scatter of means
    over runs of saddles to what independent residuals would give.
    """
    sigma = _noise_px(residual, parameters) * np.sqrt(_run_factor(residual))
    normal = J.T @ J / sigma**2 + np.diag(precision)
    scale = 1 / np.sqrt(np.diag(normal))  # turns, millimetres and pixels differ by orders of magnitude
    covariance = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return covariance, covariance @ J.T / sigma**2


def _run_factor(residual: Matrix, run: int = 6) -> float:
    """At least 1; saddles come row by row, so that runs are neighbours along the strip."""
    runs = len(residual) // run
    if runs < 3:
        return 1.0
    means = residual[: runs * run].reshape(runs, run, 2).mean(1)
    return max(1.0, run * float((means**2).mean() / max((residual**2).mean(), 1e-12)))
