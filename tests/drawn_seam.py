"""Drawn photos of one long joint with strips laid end to end beside it, with known truth.

The joint and its light are those of `drawn_joint`; here the camera moves along it, several strips lie beside
it in places of their own, and the pictures are smaller. World frame: x along the joint from the foot of the
lowest strip's datum mark, y across it, the strips' zero line near y = 0. All of it is invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from fitup.scale import target_layout, target_raster
from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, Scene, _joint, _plane, developed

PITCH_MM = 232.0


@dataclass(frozen=True, kw_only=True)
class Strip:
    """Where a strip lies: its datum mark in the world, turned by `turn_deg`."""

    x_mm: float
    y_mm: float = 0.0
    turn_deg: float = 0.0
    form: str = "strip-30x5"

    def matrix(self) -> np.ndarray:
        """World mm <- strip mm."""
        c, s = np.cos(np.deg2rad(self.turn_deg)), np.sin(np.deg2rad(self.turn_deg))
        return np.array([[c, -s, self.x_mm], [s, c, self.y_mm], [0, 0, 1.0]])


# Papers touch to within what hands and scissors leave.
STRIPS = {
    10: Strip(x_mm=0.0),
    11: Strip(x_mm=232.25, y_mm=0.2, turn_deg=0.05),
    12: Strip(x_mm=464.05, y_mm=-0.1, turn_deg=-0.08),
    13: Strip(x_mm=696.4, y_mm=0.1, turn_deg=0.04),
}


def long_gap(x: np.ndarray) -> np.ndarray:
    """Gap along the joint: two openings over 0.9 mm, one of them where two photos overlap."""
    wide = 0.8 * np.exp(-(((x - 330) / 10) ** 2)) + 0.9 * np.exp(-(((x - 680) / 8) ** 2))
    return np.asarray(0.35 + 0.1 * np.sin(x / 60) + wide)


SCENE = Scene(
    gap_mm=long_gap,
    middle_mm=lambda x: 22.0 + 0.002 * (x - 450),
    distance_mm=300.0,
    focal_px=2800.0,
    face=0.05,
    noise=0.003,
)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One photo: where the camera looks and how it is held."""

    centre_mm: tuple[float, float]
    scene: Scene = SCENE
    strips: Mapping[int, Strip] = field(default_factory=lambda: STRIPS)
    turn_deg: float = 0.0
    slant_deg: float = 0.0
    size_px: tuple[int, int] = (2560, 1000)
    seed: int = 1

    def held(self) -> Scene:
        """The scene as this camera has it."""
        return replace(
            self.scene,
            centre_mm=self.centre_mm,
            turn_deg=self.turn_deg,
            slant_deg=self.slant_deg,
            seed=self.seed,
        )


SHOTS = {
    name: Shot(centre_mm=(x, 0.0), turn_deg=turn, slant_deg=slant, seed=seed)
    for seed, (name, x, turn, slant) in enumerate(
        [("a", 105.0, 0.5, 1.0), ("b", 340.0, -0.8, -2.0), ("c", 565.0, 0.3, 2.5), ("d", 800.0, -0.4, 0.5)],
        start=31,
    )
}


def draw_shot(shot: Shot) -> np.ndarray:
    """The phone's picture as 8-bit grey (H, W)."""
    scene = shot.held()
    rng = np.random.default_rng(shot.seed)
    H, camera = _camera(shot)
    width, height = shot.size_px
    v, u = np.mgrid[0:height, 0:width].astype(np.float32)
    x, y = _plane(np.linalg.inv(H), u, v)
    light = _joint(scene, camera, x, y, scene.blur_px * scene.distance_mm / scene.focal_px, rng)
    for number, strip in shot.strips.items():
        light = _with_strip(light, number, strip, H, scene.blur_px)
    return developed(light, scene, rng)


def save_shot(shot: Shot, path: Path) -> Path:
    """Write the drawn photo as the JPEG of an invented phone."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", "N1"
    infinity_px = shot.scene.focal_px * (1 - 5.5 / shot.scene.distance_mm)
    exif.get_ifd(0x8769)[0x920A] = 5.5
    exif.get_ifd(0x8769)[0xA405] = round(infinity_px / np.hypot(*shot.size_px) * 43.27)
    Image.fromarray(draw_shot(shot)).save(path, quality=93, exif=exif)
    return path


def _camera(shot: Shot) -> tuple[np.ndarray, np.ndarray]:
    """Homography px <- world mm for this picture's size, and the camera's place."""
    H, camera = shot.held().camera()
    moved = np.eye(3)
    moved[:2, 2] = (np.array(shot.size_px) - [WIDTH_PX, HEIGHT_PX]) / 2
    return moved @ H, camera


def _with_strip(light: np.ndarray, number: int, strip: Strip, H: np.ndarray, blur_px: float) -> np.ndarray:
    """Lay a strip's print over the light, drawn at three times the size and averaged."""
    layout = target_layout(number, strip.form)
    height, width = light.shape
    corners = np.column_stack([layout.paper_outline_mm, np.ones(4)]) @ (H @ strip.matrix()).T
    uv = corners[:, :2] / corners[:, 2:]
    low = np.clip(np.floor(uv.min(axis=0)) - 8, 0, [width, height]).astype(int)
    high = np.clip(np.ceil(uv.max(axis=0)) + 9, 0, [width, height]).astype(int)
    if (high - low < 2).any():
        return light
    raster = target_raster(layout, 30.0)
    paper = 0.035 + (0.78 - 0.035) * raster.pixels.astype(np.float32) / 255
    fine = np.diag([3.0, 3.0, 1.0])
    fine[:2, 2] = 1.0 - 3.0 * low
    matrix = fine @ H @ strip.matrix() @ np.linalg.inv(raster.px_from_mm)
    small = tuple(int(n) for n in high - low)
    size = (3 * small[0], 3 * small[1])
    layers = [
        cv2.resize(
            cv2.warpPerspective(part, matrix, size, flags=cv2.INTER_LINEAR),
            small,
            interpolation=cv2.INTER_AREA,
        )
        for part in (paper, np.ones_like(paper))
    ]
    drawn, mask = (gaussian_filter(layer, np.sqrt(max(blur_px**2 - 0.1, 0.01))) for layer in layers)
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    out = light.copy()
    out[window] = drawn + (1 - mask) * light[window]
    return out
