"""Two plates in one photo as one space: rays, points on the plates, and what is uncertain about them.

Everything is told in the first plate's frame: the target's x and y, z = 0 in the plate's plane. What is not
certain is kept as a list of influences, each with the change that it makes to every point, so that what two
points have in common drops out of the distance between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.scale.opening import PlaneFrame

__all__ = ["CAUSES", "PARAMETERS", "PairSpace", "RelativePose", "SpacePlane", "SpacePoints"]

Array = NDArray[np.float64]

PARAMETERS = 17  # of the fit of two targets: poses, camera, stretches (see bundle_fit.py)
# Influences by cause: the fit itself, scale of each print, thickness and bow of each strip, how deep below
# each plate's face a point lies, and as many terms as the lens needs.
CAUSES: dict[str, slice] = {
    "saddles": slice(0, 17),
    "print": slice(17, 19),
    "thickness": slice(19, 23),
    "sheet": slice(23, 25),
    "lens and distance": slice(25, None),
}
_FOCAL, _CENTRE = 12, slice(13, 15)
_PARALLEL = 1e-4  # sine of the angle below which two planes have no line of intersection worth the name
_Z = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, kw_only=True, eq=False)
class RelativePose:
    """Second plate in the first one's frame: X_first = rotation · X_second + translation_mm.

    covariance (6, 6) of three small turns about the first plate's axes [rad] and three shifts [mm].
    """

    rotation: Array
    translation_mm: Array
    covariance: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class SpacePlane:
    """Points X with normal · X = offset_mm; covariance (4, 4) of the normal and the offset."""

    normal: Array
    offset_mm: float
    covariance: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class SpacePoints:
    """N points of the first plate's space [mm].

    points_mm (N, 3); tangents (N, 3, Q) their change for a unit change of each influence; noise (N, 3, 3)
    covariance that comes from their own places in the image; influence_covariance (Q, Q).
    """

    points_mm: Array
    tangents: Array
    noise: Array
    influence_covariance: Array

    @property
    def covariance(self) -> Array:
        """(N, 3, 3) of each point by itself."""
        common = np.einsum("niq,qr,njr->nij", self.tangents, self.influence_covariance, self.tangents)
        return np.asarray(common + self.noise)


@dataclass(frozen=True, kw_only=True, eq=False)
class PairSpace:
    """Camera and two plates.

    rotations (2, 3, 3), translations_mm (2, 3) plate to camera; camera_matrix (3, 3); responses (17, Q)
    change of the fit's parameters for a unit change of each influence, influence_covariance (Q, Q).
    """

    rotations: Array
    translations_mm: Array
    camera_matrix: Array
    responses: Array
    influence_covariance: Array

    def ray(self, points_px: ArrayLike) -> tuple[Array, Array]:
        """Camera's place (3,) and directions (..., 3) of unit length in which ideal image points are seen."""
        rays = self._rays(np.asarray(points_px, dtype=np.float64)) @ self.rotations[0]
        origin = -self.rotations[0].T @ self.translations_mm[0]
        return origin, rays / np.linalg.norm(rays, axis=-1, keepdims=True)

    def on_plate(
        self,
        index: int,
        points_px: ArrayLike,
        depth_mm: float | Array = 0.0,
        u_depth_mm: float = 0.0,
        covariance_px: ArrayLike | None = None,
        lens_fields: Array | None = None,
    ) -> SpacePoints:
        """Where the rays of image points meet a plate's plane lowered by a depth.

        Parameters
        ----------
        index : 0 the first plate, 1 the second
        points_px : (N, 2) ideal image points
        depth_mm, u_depth_mm : below the plate's face, one or (N,), and its standard uncertainty
        covariance_px : (N, 2, 2) of the image points, none by default
        lens_fields : (K, N, 2) shift of the image points by each term of the lens's influence
        """
        rays = self._rays(np.asarray(points_px, dtype=np.float64))
        face, foot = self.rotations[index][:, 2], self.translations_mm[index]
        down = rays @ face
        seen = ((face @ foot - depth_mm) / down)[:, None] * rays
        by_depth = -rays / down[:, None]
        by_ray = seen[:, 2, None, None] * (np.eye(3) + by_depth[:, :, None] * face)
        by_px = by_ray @ np.linalg.inv(self.camera_matrix)[:, :2]
        by_fit = self._by_fit(index, seen, by_depth, by_px)
        tangents = by_fit @ self.responses
        if lens_fields is not None:
            tangents[:, :, CAUSES["lens and distance"]] += np.einsum("nij,knj->nik", by_px, lens_fields)
        tangents[:, :, CAUSES["sheet"].start + index] += u_depth_mm * by_depth
        noise = np.zeros((len(rays), 3, 3))
        if covariance_px is not None:
            noise = by_px @ np.asarray(covariance_px, dtype=np.float64) @ by_px.transpose(0, 2, 1)
        R = self.rotations[0]
        return SpacePoints(
            points_mm=(seen - self.translations_mm[0]) @ R,
            tangents=R.T @ tangents,
            noise=R.T @ noise @ R,
            influence_covariance=self.influence_covariance,
        )

    @property
    def second_in_first(self) -> RelativePose:
        """Where the second plate lies, and how well that is known."""
        turns = self._relative_tangents
        first = self.rotations[0]
        return RelativePose(
            rotation=first.T @ self.rotations[1],
            translation_mm=first.T @ (self.translations_mm[1] - self.translations_mm[0]),
            covariance=turns @ self.influence_covariance @ turns.T,
        )

    @property
    def second_plane(self) -> SpacePlane:
        """The second plate's face."""
        pose = self.second_in_first
        normal = pose.rotation[:, 2]
        by_pose = np.zeros((4, 6))
        by_pose[:3, :3] = _cross_matrix(normal).T  # a turn w moves the normal by w × normal
        by_pose[3, :3] = by_pose[:3, :3].T @ pose.translation_mm
        by_pose[3, 3:] = normal
        return SpacePlane(
            normal=normal,
            offset_mm=float(normal @ pose.translation_mm),
            covariance=by_pose @ pose.covariance @ by_pose.T,
        )

    @property
    def second_frame(self) -> PlaneFrame:
        """The second plate's face with its target's x and y."""
        pose = self.second_in_first
        return PlaneFrame(
            origin_mm=pose.translation_mm, along=pose.rotation[:, 0], across=pose.rotation[:, 1]
        )

    @property
    def fold_rad(self) -> tuple[float, float]:
        """Angle between the plates' normals and its standard uncertainty [rad]."""
        pose = self.second_in_first
        axis = np.cross(_Z, pose.rotation[:, 2])
        sine = float(np.linalg.norm(axis))
        fold = float(np.arctan2(sine, pose.rotation[2, 2]))
        turns = pose.covariance[:3, :3]
        if sine < _PARALLEL:  # no line of intersection: the worst direction
            return fold, float(np.sqrt(np.linalg.eigvalsh(turns[:2, :2])[-1]))
        return fold, float(np.sqrt(axis @ turns @ axis) / sine)

    def height_over(self, index: int, points: SpacePoints) -> tuple[Array, Array, Array]:
        """(N,) distance of points from a plate's face, towards its target's side.

        Returns with it its change (N, Q) for a unit change of each influence, and the variance (N,) that
        comes from the points' own places in the image.
        """
        if index == 0:
            return points.points_mm[:, 2], points.tangents[:, 2], points.noise[:, 2, 2]
        pose = self.second_in_first
        normal = pose.rotation[:, 2]
        lever = points.points_mm - pose.translation_mm
        turns = self._relative_tangents
        by_turn = np.cross(normal, lever)  # (w × normal) · lever = w · (normal × lever)
        tangents = np.einsum("i,niq->nq", normal, points.tangents) + by_turn @ turns[:3] - normal @ turns[3:]
        noise = np.einsum("i,nij,j->n", normal, points.noise, normal)
        return lever @ normal, np.asarray(tangents), np.asarray(noise)

    def _rays(self, points_px: Array) -> Array:
        """(..., 3) directions in the camera's frame, of unit depth."""
        f, centre = self.camera_matrix[0, 0], self.camera_matrix[:2, 2]
        return np.concatenate(((points_px - centre) / f, np.ones((*points_px.shape[:-1], 1))), axis=-1)

    def _by_fit(self, index: int, seen: Array, by_depth: Array, by_px: Array) -> Array:
        """(N, 3, 17) change of points seen on a plate, told in the camera's directions."""
        face, foot = self.rotations[index][:, 2], self.translations_mm[index]
        by_fit = np.zeros((len(seen), 3, PARAMETERS))
        at = 6 * index
        lever = np.cross(face, foot - seen)  # a turn w of the plate raises it at the point by -w · lever
        by_fit[:, :, at : at + 3] = -by_depth[:, :, None] * lever[:, None, :]
        by_fit[:, :, at + 3 : at + 6] = -by_depth[:, :, None] * face
        by_fit[:, :, :3] += _cross_matrix(seen - self.translations_mm[0])
        by_fit[:, :, 3:6] -= np.eye(3)
        # A longer lens is the same as an image point nearer to the principal point.
        offset = self.camera_matrix[0, 0] * seen[:, :2] / seen[:, 2:]
        by_fit[:, :, _FOCAL] = -np.einsum("nij,nj->ni", by_px, offset)
        by_fit[:, :, _CENTRE] = -by_px
        return by_fit

    @property
    def _relative_tangents(self) -> Array:
        """(6, Q) turns and shifts of the second plate in the first one's frame."""
        first = self.rotations[0].T
        between = self.translations_mm[1] - self.translations_mm[0]
        by_fit = np.zeros((6, PARAMETERS))
        by_fit[:3, 0:3], by_fit[:3, 6:9] = -first, first
        by_fit[3:, 0:3] = first @ _cross_matrix(between)
        by_fit[3:, 3:6], by_fit[3:, 9:12] = -first, first
        return by_fit @ self.responses


def _cross_matrix(vector: Array) -> Array:
    """(..., 3, 3) matrix whose product with w is vector × w."""
    return np.stack([np.cross(vector, axis) for axis in np.eye(3)], axis=-1)
