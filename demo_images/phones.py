"""Cameras that look at a joint from any side, and three invented phones with their lenses.

The lens model is the usual one of camera calibration: on the plane at distance 1,
x' = x (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x y + p2 (r^2 + 2 x^2), likewise for y with p1 and p2 exchanged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from camera import Camera
from numpy.typing import NDArray

__all__ = ["N1", "TELE", "WIDE", "LensCamera"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class LensCamera(Camera):
    """A camera aimed at a point of the world; `tilt` leans towards +y, `slew` towards +x (from the z axis).

    `lens` = (k1, k2, p1, p2, k3); `off_centre_px` = the principal point less the picture's middle.
    """

    aim_xyz_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    aim_mm: tuple[float, float] = (0.0, 0.0)
    lean_x_deg: float = 0.0
    lean_y_deg: float = 0.0
    tilt_deg: float = 0.0
    slew_deg: float = 0.0
    focus_mm: float | None = None  # None: as far as the aim point
    lens: tuple[float, float, float, float, float] | None = None
    off_centre_px: tuple[float, float] = (0.0, 0.0)

    @property
    def towards(self) -> Floats:
        """Unit vector from the aim point to the lens."""
        tilt, slew = np.radians([self.tilt_deg, self.slew_deg])
        return np.array([np.sin(slew), np.cos(slew) * np.sin(tilt), np.cos(slew) * np.cos(tilt)])

    @property
    def position_mm(self) -> Floats:
        """Place of the lens in the world frame."""
        return np.array(self.aim_xyz_mm) + self.distance_mm * self.towards

    @property
    def rotation(self) -> Floats:
        """(3, 3) world to camera; without roll the world's +y points up in the picture."""
        forward = -self.towards
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right /= np.linalg.norm(right)
        down = np.cross(forward, right)
        turn = np.radians(self.roll_deg)
        u = np.cos(turn) * right - np.sin(turn) * down
        return np.stack((u, np.cross(forward, u), forward))

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point."""
        return (
            (self.width_px - 1) / 2 + self.off_centre_px[0],
            (self.height_px - 1) / 2 + self.off_centre_px[1],
        )

    @property
    def coefficients(self) -> tuple[float, float, float, float, float]:
        """(k1, k2, p1, p2, k3) of the lens."""
        if self.lens is not None:
            return self.lens
        half = np.hypot(self.width_px, self.height_px) / 2
        return (self.distortion * (self.focal_px / half) ** 2, 0.0, 0.0, 0.0, 0.0)

    def project(self, points_mm: Floats) -> Floats:
        """World points (..., 3) to stored pixels (..., 2), distortion included."""
        seen = (points_mm - self.position_mm) @ self.rotation.T
        x, y = seen[..., 0] / seen[..., 2], seen[..., 1] / seen[..., 2]
        shift = _shift(x, y, self.coefficients)
        flat = np.stack((x + shift[0], y + shift[1]), axis=-1)
        return np.asarray(flat * self.focal_px + np.array(self.centre_px))

    def film_map(self, height: int, width: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where on the rendered film the pixels of a picture (height, width) come from: (u, v)."""
        scale = width / self.width_px
        v, u = np.mgrid[:height, :width].astype(np.float32)
        focal = np.float32(self.focal_px * scale)
        bent_x = (u - (width - 1) / 2 - self.off_centre_px[0] * scale) / focal
        bent_y = (v - (height - 1) / 2 - self.off_centre_px[1] * scale) / focal
        x, y = bent_x, bent_y
        for _ in range(6):  # converges by a factor of some 20 a step
            shift = _shift(x, y, self.coefficients)
            x, y = bent_x - shift[0], bent_y - shift[1]
        margin = round(self.margin_px * scale)
        at_u = x * focal + np.float32((width - 1) / 2 + margin)
        at_v = y * focal + np.float32((height - 1) / 2 + margin)
        return at_u.astype(np.float32), at_v.astype(np.float32)

    def lens_truth(self) -> dict[str, Any]:
        """Camera matrix and distortion."""
        (cx, cy), f = self.centre_px, self.focal_px
        k1, k2, p1, p2, k3 = self.coefficients
        return {
            "camera_matrix": [[f, 0.0, cx], [0.0, f, cy], [0.0, 0.0, 1.0]],
            "distortion": {
                "k1": k1, "k2": k2, "p1": p1, "p2": p2, "k3": k3,
                "model": "x' = x (1 + k1 r^2 + k2 r^4 + k3 r^6) + 2 p1 x y + p2 (r^2 + 2 x^2), "
                "y' = y (1 + ...) + p1 (r^2 + 2 y^2) + 2 p2 x y, on the plane at distance 1",
            },
        }  # fmt: skip


def _shift(x: Any, y: Any, lens: tuple[float, float, float, float, float]) -> tuple[Any, Any]:
    k1, k2, p1, p2, k3 = lens
    r2 = x * x + y * y
    radial = r2 * (k1 + r2 * (k2 + r2 * k3))
    return (
        x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
        y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
    )


N1: dict[str, Any] = {"focal_mm": 5.6, "focal_35mm": 26, "model": "N1", "f_number": 2.2}
WIDE: dict[str, Any] = {
    "make": "Moorbirke",
    "model": "W5",
    "focal_mm": 4.2,
    "focal_35mm": 22,
    "lens": (-0.0300, 0.0125, 0.00035, -0.00025, -0.0022),
    "off_centre_px": (11.3, -6.7),
    "margin_px": 80,
    "f_number": 2.2,
}
TELE: dict[str, Any] = {
    "make": "Moorbirke",
    "model": "W5 Tele",
    "focal_mm": 9.0,
    "focal_35mm": 52,
    "lens": (0.012, -0.01, -0.0001, 0.0002, 0.0),
    "off_centre_px": (-5.2, 8.9),
    "margin_px": 16,
    "f_number": 2.8,
}
