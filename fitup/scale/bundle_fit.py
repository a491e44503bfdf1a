"""Several targets in one photo fitted together: one camera, a pose for each, the stretch of each print.

Fitted one by one, two targets answer with two cameras: where the focal length is believed 3 % off, each
plate comes out 3 % too near or too far, and the place of one relative to the other is wrong by a tenth of a
millimetre or two. Fitted together they tell the focal length, and what error is left is common to both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.scale.plane import (
    CameraPrior,
    PlaneFit,
    noise_px,
    pinhole,
    pixel_shifts,
    plane_matrices,
    printed_matrices,
    run_factor,
    start_pose,
    turn_matrix,
)
from fitup.scale.saddles import project

__all__ = ["BundleFit", "PrintedPlane", "fit_planes"]

Matrix = NDArray[np.float64]

_ROUNDS = 12
_POSE, _CAMERA = 6, 3  # parameters of a pose and of the camera


@dataclass(frozen=True, kw_only=True, eq=False)
class PrintedPlane:
    """One target to be fitted.

    points_mm, points_px (N, 2) its saddles in its face and in the image; free (3, 3) homography px <- mm of
    the face, the start; thickness_mm from its plate to its face.
    """

    points_mm: Matrix
    points_px: Matrix
    free: Matrix
    thickness_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class BundleFit:
    """M targets fitted together; P = 7 M + 3 parameters.

    They are, in this order: for each target three turns about the camera's axes and three shifts [mm] of
    its plate's plane, log focal length, principal point [px], stretch of each print. covariance (P, P);
    gains, M of (P, 2N): the change of all parameters for a change of one target's saddles [1/px].
    rotations, translations: plate's plane to camera.
    """

    rotations: tuple[Matrix, ...]
    translations: tuple[Matrix, ...]
    camera_matrix: Matrix
    stretches: Matrix
    residuals_px: tuple[Matrix, ...]
    covariance: Matrix
    gains: tuple[Matrix, ...]

    @property
    def rms_px(self) -> tuple[float, ...]:
        """Root mean square distance of each target's saddles from the fit."""
        return tuple(float(np.sqrt((residual**2).sum(1).mean())) for residual in self.residuals_px)

    @property
    def focal_px(self) -> float:
        """Focal length."""
        return float(self.camera_matrix[0, 0])

    @property
    def u_focal(self) -> float:
        """Relative standard uncertainty of the focal length."""
        at = _POSE * len(self.rotations)
        return float(np.sqrt(self.covariance[at, at]))

    def own(self, index: int) -> NDArray[np.int64]:
        """(10,) places of one target's own pose, the camera and its stretch among the parameters."""
        return _own(index, len(self.rotations))

    def plane(self, index: int, thickness_mm: float) -> PlaneFit:
        """One target's part, as if it had been fitted alone."""
        own = self.own(index)
        rotation, translation = self.rotations[index], self.translations[index]
        homography, tangents = plane_matrices(
            rotation, translation, self.camera_matrix, np.diag([1.0, 1.0, 0.0])
        )
        return PlaneFit(
            homography=homography,
            tangents=np.concatenate([tangents, np.zeros((1, 3, 3))]),
            covariance=self.covariance[np.ix_(own, own)],
            gain=self.gains[index][own],
            residual_px=self.residuals_px[index],
            rotation=rotation,
            translation=translation + thickness_mm * rotation[:, 2],
            camera_matrix=self.camera_matrix,
            focal_px=self.focal_px,
            u_focal=self.u_focal,
            stretch=float(self.stretches[index]),
        )


def fit_planes(
    planes: tuple[PrintedPlane, ...],
    size_px: tuple[int, int],
    prior: CameraPrior,
    stretch_covariance: Matrix,
) -> BundleFit:
    """Poses, focal length, principal point and stretches by Gauss-Newton with priors, as `fit_pose` does.

    Parameters
    ----------
    size_px : width and height of the picture
    prior : focal length and principal point
    stretch_covariance : (M, M) of the prints' ratios of scale across and along, expected at one
    """
    state = _State.start(planes, prior, size_px)
    precision = _precision(prior, size_px, stretch_covariance)
    sigmas = [noise_px(plane.points_px - project(plane.free, plane.points_mm)) for plane in planes]
    weights = np.concatenate(
        [np.full(plane.points_px.size, s**-2) for plane, s in zip(planes, sigmas, strict=True)]
    )
    for _ in range(_ROUNDS):
        J, miss = _equations(planes, state)
        normal = (J.T * weights) @ J + precision
        even = 1 / np.sqrt(np.diag(normal))  # parameters of different units must not drown one another
        pull = (J.T @ (weights * miss) + precision @ state.from_prior(prior, size_px)) * even
        step = even * np.linalg.solve(normal * even[:, None] * even, pull)
        state = state.moved(step)
        if np.max(np.abs(J @ step)) < 1e-5:
            break
    J, miss = _equations(planes, state)
    ends = np.cumsum([plane.points_px.size for plane in planes])[:-1]
    residuals = tuple(part.reshape(-1, 2) for part in np.split(miss, ends))
    covariance, gain = _spread(J, residuals, precision)
    return BundleFit(
        rotations=state.rotations,
        translations=state.translations,
        camera_matrix=state.camera_matrix,
        stretches=state.stretches,
        residuals_px=residuals,
        covariance=covariance,
        gains=tuple(np.split(gain, ends, axis=1)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _State:
    rotations: tuple[Matrix, ...]
    translations: tuple[Matrix, ...]
    focal: float
    centre: Matrix
    stretches: Matrix

    @classmethod
    def start(cls, planes: tuple[PrintedPlane, ...], prior: CameraPrior, size_px: tuple[int, int]) -> _State:
        centre = prior.centre(size_px)
        faces = [start_pose(plane.free, pinhole(prior.focal_px, centre)) for plane in planes]
        return cls(
            rotations=tuple(rotation for rotation, _ in faces),
            translations=tuple(
                shift - plane.thickness_mm * rotation[:, 2]
                for (rotation, shift), plane in zip(faces, planes, strict=True)
            ),
            focal=prior.focal_px,
            centre=centre,
            stretches=np.zeros(len(planes)),
        )

    @property
    def camera_matrix(self) -> Matrix:
        return pinhole(self.focal, self.centre)

    def from_prior(self, prior: CameraPrior, size_px: tuple[int, int]) -> Matrix:
        """(P,) how far what is expected lies from here."""
        camera = [np.log(prior.focal_px / self.focal), *(prior.centre(size_px) - self.centre)]
        return np.concatenate([np.zeros(_POSE * len(self.rotations)), camera, -self.stretches])

    def moved(self, step: Matrix) -> _State:
        count = len(self.rotations)
        poses = step[: _POSE * count].reshape(count, 2, 3)
        camera = step[_POSE * count :]
        pairs = zip(poses, self.rotations, self.translations, strict=True)
        turned = [(turn_matrix(pose[0]) @ rotation, shift + pose[1]) for pose, rotation, shift in pairs]
        return replace(
            self,
            rotations=tuple(rotation for rotation, _ in turned),
            translations=tuple(shift for _, shift in turned),
            focal=self.focal * float(np.exp(np.clip(camera[0], -0.5, 0.5))),
            centre=self.centre + camera[1:_CAMERA],
            stretches=self.stretches + np.clip(camera[_CAMERA:], -0.05, 0.05),
        )


def _own(index: int, count: int) -> NDArray[np.int64]:
    camera = _POSE * count
    pose = np.arange(_POSE * index, _POSE * (index + 1))
    return np.concatenate([pose, np.arange(camera, camera + _CAMERA), [camera + _CAMERA + index]])


def _precision(prior: CameraPrior, size_px: tuple[int, int], stretch_covariance: Matrix) -> Matrix:
    """(P, P) inverse covariance of what is known before; nothing of the poses."""
    count = len(stretch_covariance)
    u_centre = prior.u_centre_share * float(np.hypot(*size_px))
    poses = _POSE * count
    precision = np.zeros((poses + _CAMERA + count,) * 2)
    precision[poses, poses] = prior.u_relative**-2
    precision[poses + 1, poses + 1] = precision[poses + 2, poses + 2] = u_centre**-2
    precision[poses + _CAMERA :, poses + _CAMERA :] = np.linalg.inv(stretch_covariance)
    return precision


def _equations(planes: tuple[PrintedPlane, ...], state: _State) -> tuple[Matrix, Matrix]:
    """Derivatives (2 ΣN, P) of the saddles in the image, and (2 ΣN,) measured less computed."""
    count = len(planes)
    rows, misses = [], []
    for k, plane in enumerate(planes):
        matrix, tangents = printed_matrices(
            state.rotations[k],
            state.translations[k],
            state.camera_matrix,
            float(state.stretches[k]),
            plane.thickness_mm,
        )
        J = np.zeros((plane.points_px.size, (_POSE + 1) * count + _CAMERA))
        J[:, _own(k, count)] = pixel_shifts(matrix, tangents, plane.points_mm).reshape(len(tangents), -1).T
        rows.append(J)
        misses.append((plane.points_px - project(matrix, plane.points_mm)).ravel())
    return np.concatenate(rows), np.concatenate(misses)


def _spread(J: Matrix, residuals: tuple[Matrix, ...], precision: Matrix) -> tuple[Matrix, Matrix]:
    """Covariance (P, P) and gain (P, 2 ΣN), each target's saddles by their own scatter.

    Residuals that neighbours share raise a target's variance, as for one target alone.
    """
    weights = np.concatenate(
        [np.full(part.size, 1 / (noise_px(part) ** 2 * run_factor(part))) for part in residuals]
    )
    normal = (J.T * weights) @ J + precision
    even = 1 / np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal * even[:, None] * even) * even[:, None] * even
    return covariance, covariance @ (J.T * weights)
