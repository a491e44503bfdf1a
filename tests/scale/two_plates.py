"""Two plates with a target each, seen by an ideal camera: sightings with known truth, no drawn photo.

The joint runs along the first plate's x at y = joint_mm. The second plate is folded down behind it; its own
joint edge lies gap_mm further on across the opening and its target's arrow points to the joint too.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fitup.photo import Photo
from fitup.scale import TargetLayout, TargetSighting, target_layout
from fitup.scale.saddles import project
from tests.scale.drawing_world import photo_of

Array = NDArray[np.float64]


def turn(axis: int, degrees: float) -> Array:
    """Rotation about a coordinate axis."""
    a = np.deg2rad(degrees)
    i, j = (axis + 1) % 3, (axis + 2) % 3
    R = np.eye(3)
    R[i, i] = R[j, j] = np.cos(a)
    R[i, j], R[j, i] = -np.sin(a), np.sin(a)
    return R


@dataclass(frozen=True, kw_only=True)
class TwoPlates:
    """view_deg: how far the camera stands beyond the joint, from the first plate's normal."""

    layouts: tuple[TargetLayout, TargetLayout] = field(
        default_factory=lambda: (target_layout(1, "strip-8x5"), target_layout(2, "strip-8x5"))
    )
    focal_px: float = 3100.0
    size_px: tuple[int, int] = (4032, 3024)
    centre_px: tuple[float, float] = (2015.5, 1511.5)
    distance_mm: float = 200.0
    view_deg: float = 45.0
    lean_deg: float = 5.0
    roll_deg: float = 3.0
    included_deg: float = 90.0
    sheet_mm: float = 2.0
    gap_mm: float = 1.0
    step_mm: float = 0.0
    joint_mm: float = 12.0
    second_joint_mm: float = 12.0
    thicknesses_mm: tuple[float, float] = (0.1, 0.1)
    scales: tuple[tuple[float, float], tuple[float, float]] = ((1.0, 1.0), (1.0, 1.0))
    noise_px: float = 0.0
    seed: int = 0

    @property
    def fold(self) -> float:
        return np.deg2rad(180 - self.included_deg)

    @property
    def across(self) -> Array:
        """Across the opening plane of the inner arrises, in the first plate's frame."""
        b = self.fold / 2
        return np.array([0, np.cos(b), -np.sin(b)])

    @property
    def square(self) -> Array:
        b = self.fold / 2
        return np.array([0, np.sin(b), np.cos(b)])

    def near_inner(self, x: Array) -> Array:
        return np.column_stack((x, np.full_like(x, self.joint_mm), np.full_like(x, -self.sheet_mm)))

    def far_inner(self, x: Array) -> Array:
        return self.near_inner(x) + self.gap_mm * self.across + self.step_mm * self.square

    @property
    def second_rotation(self) -> Array:
        """Second target's axes in the first plate's frame, in columns."""
        z = np.array([0, np.sin(self.fold), np.cos(self.fold)])
        y = np.array([0, -np.cos(self.fold), np.sin(self.fold)])
        return np.column_stack((np.cross(y, z), y, z))

    @property
    def second_origin(self) -> Array:
        """Datum mark of the second plate's target, on the plate."""
        length = self.layouts[1].length_mm
        arris = self.far_inner(np.array([length]))[0] + self.sheet_mm * self.second_rotation[:, 2]
        return arris - self.second_joint_mm * self.second_rotation[:, 1]

    @property
    def rotation(self) -> Array:
        look = np.diag([1.0, -1.0, -1.0]) @ turn(0, self.view_deg) @ turn(1, self.lean_deg)
        return turn(2, self.roll_deg) @ look

    @property
    def translation(self) -> Array:
        middle = np.array([self.layouts[0].length_mm / 2, self.joint_mm, 0])
        return np.array([0, 0, self.distance_mm]) - self.rotation @ middle

    def to_px(self, points: Array) -> Array:
        """Truth: where points of the first plate's space are seen."""
        q = points @ self.rotation.T + self.translation
        return self.focal_px * q[:, :2] / q[:, 2:] + np.array(self.centre_px)

    def saddles(self, index: int) -> Array:
        mm = self.layouts[index].saddles_mm * np.array(self.scales[index])
        points = np.column_stack((mm, np.full(len(mm), self.thicknesses_mm[index])))
        return points if index == 0 else points @ self.second_rotation.T + self.second_origin

    def sightings(self) -> tuple[TargetSighting, TargetSighting]:
        rng = np.random.default_rng(self.seed)
        return self._sighting(0, rng), self._sighting(1, rng)

    def _sighting(self, index: int, rng: np.random.Generator) -> TargetSighting:
        mm = self.layouts[index].saddles_mm
        px = self.to_px(self.saddles(index))
        px = px + self.noise_px * rng.standard_normal(px.shape)
        H = homography(mm, px)
        return TargetSighting(
            layout=self.layouts[index], saddle_ids=np.arange(len(mm)), saddles_px=px, saddles_mm=mm,
            residual_px=np.linalg.norm(px - project(H, mm), axis=1), homography=H,
            marker_count=20, dropped_count=0, reduction=1,
        )  # fmt: skip

    def photo(self, focal_error: float = 0.0) -> Photo:
        """An empty picture of the right size, whose EXIF tells the focal length with a relative error."""
        blank = np.full(self.size_px[::-1], 120, np.uint8)
        near = self.distance_mm / (self.distance_mm - 5.6)
        f35 = self.focal_px * (1 + focal_error) / near / np.hypot(*self.size_px) * np.hypot(36, 24)
        return photo_of(blank, f35, 5.6)

    def with_noise(self, noise_px: float, seed: int) -> TwoPlates:
        return replace(self, noise_px=noise_px, seed=seed)


def homography(mm: Array, px: Array) -> Array:
    """Direct linear transform with scaled coordinates."""

    def scaled(p: Array) -> tuple[Array, Array]:
        s = np.sqrt(2) / np.linalg.norm(p - p.mean(0), axis=1).mean()
        T = np.array([[s, 0, -s * p[:, 0].mean()], [0, s, -s * p[:, 1].mean()], [0, 0, 1.0]])
        return p @ T[:2, :2].T + T[:2, 2], T

    (a, Ta), (b, Tb) = scaled(mm), scaled(px)
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    h = np.column_stack((a, one))
    rows = np.concatenate((np.hstack((h, zero, -b[:, :1] * h)), np.hstack((zero, h, -b[:, 1:] * h))))
    H = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    H = np.linalg.inv(Tb) @ H @ Ta
    return H / H[2, 2]
