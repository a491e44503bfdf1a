"""A drawn photo of an edge joint beside the printed strip, with known truth; all of it invented.

Two sheets face to face, ends flush: onto the end faces one sees land, gap, land. Every pixel's ray meets
the upper sheet's face or, beyond its end, the plane of the end faces; light in both is blurred steps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.special import ndtr

from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, Scene, _strip, developed

THICKNESS_MM, SHEET_MM, END_MM = 0.1, 1.5, 14.0


@dataclass(frozen=True, kw_only=True)
class EdgeScene:
    """Gap and length of the near land along x [mm], whose outer edge is ground off; the far land is whole."""

    gap_mm: Callable[[np.ndarray], np.ndarray] = field(default=lambda x: 0.4 + 0.1 * np.sin(x / 25))
    near_land_mm: Callable[[np.ndarray], np.ndarray] = field(default=lambda x: np.full_like(x, SHEET_MM))
    view: Scene = field(
        default_factory=lambda: Scene(gap_mm=np.zeros_like, slant_deg=45.0, centre_mm=(105.0, 2.0), seed=4)
    )


def save_edge(scene: EdgeScene, path: Path) -> Path:
    """Write the drawn photo as a phone's JPEG."""
    view = scene.view
    rng = np.random.default_rng(view.seed)
    H, _ = view.camera()
    K = np.array([[view.focal_px, 0, (WIDTH_PX - 1) / 2], [0, view.focal_px, (HEIGHT_PX - 1) / 2], [0, 0, 1]])
    pose = np.linalg.inv(K) @ H
    along, across = pose[:, 0], pose[:, 1]
    up = np.cross(along, across)
    plate = pose[:, 2] - THICKNESS_MM * up  # the strip's print lies higher than the sheet by its thickness
    v, u = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float64)
    _, y = _met(K @ np.column_stack([along, across, plate]), u, v)
    x, n = _met(K @ np.column_stack([along, -up, plate + END_MM * across]), u, v)
    blur = view.blur_px / (view.focal_px / view.distance_mm) * np.sqrt(2)
    gap, ground = scene.gap_mm(x), SHEET_MM - scene.near_land_mm(x)
    grain = 1 + 0.04 * rng.normal(0, 1, n.shape)
    ends = np.full(n.shape, 0.02)
    lands = ((ground, SHEET_MM, 0.22), (SHEET_MM + gap, 2 * SHEET_MM + gap, 0.25), (-20.0, ground, 0.5))
    for start, stop, level in lands:
        ends += (level * grain - 0.02) * (ndtr((n - start) / blur) - ndtr((n - stop) / blur))
    face = ndtr((END_MM - y) / blur)
    light = 0.5 * face * grain + (1 - face) * ends
    light = _strip(view, H, light.astype(np.float32))
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", "N1"
    infinity_px = view.focal_px * (1 - 5.5 / view.distance_mm)
    exif.get_ifd(0x8769)[0x920A] = 5.5
    exif.get_ifd(0x8769)[0xA405] = round(infinity_px / np.hypot(WIDTH_PX, HEIGHT_PX) * 43.27)
    Image.fromarray(developed(light, view, rng)).save(path, quality=view.quality, exif=exif)
    return path


def _met(homography: np.ndarray, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where the rays of pixels meet a plane that `homography` takes to px."""
    inverse = np.linalg.inv(homography)
    first, second, third = (row[0] * u + row[1] * v + row[2] for row in inverse)
    return first / third, second / third
