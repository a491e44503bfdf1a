"""The target's plane in space: camera pose, focal length and principal point, fitted with priors.

With wide priors the nine parameters reach every homography that a camera can make; with narrow ones
they steady what few or distant saddles leave open. The fit is carried as a homography px <- mm and, for
every parameter, the derivative of that matrix (a *tangent*): covariance and everything propagated
from it need nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.saddles import project

__all__ = [
    "CameraPrior",
    "PlaneFit",
    "fit_pose",
    "noise_px",
    "pinhole",
    "pixel_shifts",
    "plane_matrices",
    "printed_matrices",
    "run_factor",
    "start_pose",
    "turn_matrix",
]

Matrix = NDArray[np.float64]

_U_SADDLE_FLOOR_PX = 0.03  # what even a perfect picture leaves (grey steps, interpolation)
_ROUNDS = 8


@dataclass(frozen=True, kw_only=True)
class CameraPrior:
    """What is known of the camera before the fit, and where from.

    u_centre_share is the standard uncertainty of the principal point, which is expected at centre_px or
    else in the picture's middle, as a share of the diagonal.
    """

    focal_px: float
    u_relative: float
    u_centre_share: float
    source: str
    centre_px: tuple[float, float] | None = None

    def centre(self, size_px: tuple[int, int]) -> Matrix:
        """(2,) where the principal point is expected in a picture of this size."""
        return (np.array(size_px) - 1) / 2 if self.centre_px is None else np.array(self.centre_px)


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneFit:
    """A fitted plane at height z over the target's face.

    homography (3, 3) px <- mm; tangents (P, 3, 3); covariance (P, P) and gain (P, 2N), the change of
    the parameters for a change of the measured saddles [1/px]. residual_px (N, 2) at the face. rotation,
    translation: target to camera; camera_matrix (3, 3) camera to px.
    """

    homography: Matrix
    tangents: Matrix
    covariance: Matrix
    gain: Matrix
    residual_px: Matrix
    rotation: Matrix
    translation: Matrix
    camera_matrix: Matrix
    focal_px: float
    u_focal: float
    stretch: float

    @property
    def rms_px(self) -> float:
        """Root mean square distance of the saddles from the fit."""
        return float(np.sqrt((self.residual_px**2).sum(1).mean()))

    def left_of(self, fields_px: Matrix, taken_up: Matrix, points_mm: Matrix) -> Matrix:
        """(K, N, 2) what is left at the saddles of shifts of which the parameters took up (K, P)."""
        printed, tangents = printed_matrices(
            self.rotation, self.translation, self.camera_matrix, self.stretch
        )
        shifts = np.einsum("kp,pij->kij", taken_up, tangents)
        return np.asarray(fields_px - pixel_shifts(printed, shifts, points_mm))

    @property
    def lift_tangent(self) -> Matrix:
        """(3, 3) derivative of the homography when points rise by 1 mm towards the camera."""
        tangent = np.zeros((3, 3))
        tangent[:, 2] = self.tangents[3:6, :, 2].T @ self.rotation[:, 2]  # the camera matrix times z
        return tangent


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
    prior: CameraPrior,
    height_mm: float,
    u_stretch: float = 1e-6,
) -> PlaneFit:
    """Pose, focal length, principal point and the print's unequal stretch by Gauss-Newton with priors.

    A print longer along than across by a thousandth looks, from straight above, like a target tilted by
    2.5 degrees. So the stretch is a parameter of its own, expected at zero.

    Parameters
    ----------
    points_mm, points_px : (N, 2) saddles in the target's face and in the image
    free : (3, 3) homography px <- mm of the face, the start
    size_px : width and height of the picture
    prior : focal length and principal point
    height_mm : height of the wanted plane over the face (negative: below it)
    u_stretch : standard uncertainty of the ratio of the print's scales across and along
    """
    middle = prior.centre(size_px)
    u_centre = prior.u_centre_share * float(np.hypot(*size_px))
    precision = np.array([0.0] * 6 + [prior.u_relative**-2, u_centre**-2, u_centre**-2, u_stretch**-2])
    sigma = noise_px(points_px - project(free, points_mm))
    focal, centre, stretch = prior.focal_px, middle, 0.0
    rotation, translation = start_pose(free, pinhole(focal, centre))
    for _ in range(_ROUNDS):
        matrix, tangents = printed_matrices(rotation, translation, pinhole(focal, centre), stretch)
        J = _design(matrix, tangents, points_mm)
        miss = (points_px - project(matrix, points_mm)).ravel()
        known = np.array([0.0] * 6 + [np.log(prior.focal_px / focal), *(middle - centre), -stretch])
        normal = J.T @ J / sigma**2 + np.diag(precision)
        even = 1 / np.sqrt(np.diag(normal))  # parameters of different units must not drown one another
        pull = (J.T @ miss / sigma**2 + precision * known) * even
        step = even * np.linalg.solve(normal * even[:, None] * even, pull)
        rotation = turn_matrix(step[:3]) @ rotation
        translation = translation + step[3:6]
        focal, centre = focal * float(np.exp(np.clip(step[6], -0.5, 0.5))), centre + step[7:9]
        stretch += float(np.clip(step[9], -0.05, 0.05))
        if np.max(np.abs(J @ step)) < 1e-4:
            break
    matrix, tangents = printed_matrices(rotation, translation, pinhole(focal, centre), stretch)
    J = _design(matrix, tangents, points_mm)
    residual = points_px - project(matrix, points_mm)
    covariance, gain = _spread(J, residual, precision)
    lower = np.diag([1.0, 1.0, height_mm])
    lowered, tangents = plane_matrices(rotation, translation, pinhole(focal, centre), lower)
    # The plane itself does not stretch with the print: true millimetres stay what they are.
    tangents = np.concatenate([tangents, np.zeros((1, 3, 3))])
    return PlaneFit(
        homography=lowered,
        tangents=tangents,
        covariance=covariance,
        gain=gain,
        residual_px=residual,
        rotation=rotation,
        translation=translation,
        camera_matrix=pinhole(focal, centre),
        focal_px=focal,
        u_focal=float(np.sqrt(covariance[6, 6])),
        stretch=stretch,
    )


def plane_matrices(
    rotation: Matrix, translation: Matrix, camera_matrix: Matrix, frame: Matrix
) -> tuple[Matrix, Matrix]:
    """Homography px <- mm of any plane in the target's space, and its nine tangents.

    frame (3, 3) has in its columns the plane's two axes and its origin, in the target frame [mm].
    Parameters of the tangents: three small turns about the camera's axes, three shifts, log focal length,
    principal point.
    """
    turned = rotation @ frame
    M = turned.copy()
    M[:, 2] += translation
    tangents = np.zeros((9, 3, 3))
    for k in range(3):
        tangents[k] = camera_matrix @ np.cross(np.eye(3)[k], turned, axisb=0, axisc=0)
        tangents[3 + k, :, 2] = camera_matrix[:, k]
    tangents[6] = np.diag([camera_matrix[0, 0], camera_matrix[1, 1], 0.0]) @ M
    tangents[7, 0] = tangents[8, 1] = M[2]
    return camera_matrix @ M, tangents


def pinhole(focal: float, centre: Matrix) -> Matrix:
    """(3, 3) camera matrix of a focal length and a principal point (2,), px."""
    return np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])


def start_pose(free: Matrix, camera: Matrix) -> tuple[Matrix, Matrix]:
    """Rotation and translation from a homography: its columns are r1, r2, t up to one factor."""
    columns = np.linalg.solve(camera, free)
    columns = columns / np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1]))
    if columns[2, 2] < 0:  # the target lies in front of the camera
        columns = -columns
    r1, r2 = columns[:, 0], columns[:, 1]
    left, _, right = np.linalg.svd(np.column_stack((r1, r2, np.cross(r1, r2))))
    return np.asarray(left @ right), columns[:, 2]


def turn_matrix(vector: Matrix) -> Matrix:
    """Rotation (3, 3) about a vector (3,), by its length in radians."""
    return np.asarray(cv2.Rodrigues(np.ascontiguousarray(vector))[0], dtype=np.float64)


def printed_matrices(
    rotation: Matrix, translation: Matrix, camera_matrix: Matrix, stretch: float, height_mm: float = 0.0
) -> tuple[Matrix, Matrix]:
    """Homography px <- mm as printed, and its ten tangents, the last for the print's unequal stretch.

    The pose is that of a plane over which the print lies at height_mm.
    """
    frame = np.diag([1.0, 1.0, height_mm])
    matrix, tangents = plane_matrices(rotation, translation, camera_matrix, frame)
    half = np.array([np.exp(-stretch / 2), np.exp(stretch / 2), 1.0])
    last = matrix * half * np.array([-0.5, 0.5, 0.0])
    return matrix * half, np.concatenate([tangents * half, last[None]])


def _design(matrix: Matrix, tangents: Matrix, points_mm: Matrix) -> Matrix:
    return pixel_shifts(matrix, tangents, points_mm).reshape(len(tangents), -1).T


def noise_px(residual: Matrix) -> float:
    """Standard deviation of one coordinate of a saddle."""
    freedom = max(residual.size - 8, 1)  # a plane's homography takes eight
    return float(np.hypot(np.sqrt((residual**2).sum() / freedom), _U_SADDLE_FLOOR_PX))


def _spread(J: Matrix, residual: Matrix, precision: Matrix) -> tuple[Matrix, Matrix]:
    """Covariance and gain of the least-squares estimate.

    Residuals of neighbouring saddles are alike where the lens or the paper, not noise, makes them.
    Their number then counts for less: the variance is raised by the ratio of the scatter of means
    over runs of saddles to what independent residuals would give.
    """
    sigma = noise_px(residual) * np.sqrt(run_factor(residual))
    normal = J.T @ J / sigma**2 + np.diag(precision)
    scale = 1 / np.sqrt(np.diag(normal))  # turns, millimetres and pixels differ by orders of magnitude
    covariance = np.linalg.inv(normal * scale[:, None] * scale) * scale[:, None] * scale
    return covariance, covariance @ J.T / sigma**2


def run_factor(residual: Matrix, run: int = 6) -> float:
    """At least 1; saddles come row by row, so that runs are neighbours along the strip."""
    runs = len(residual) // run
    if runs < 3:
        return 1.0
    means = residual[: runs * run].reshape(runs, run, 2).mean(1)
    return max(1.0, run * float((means**2).mean() / max((residual**2).mean(), 1e-12)))
