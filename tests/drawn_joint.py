"""A drawn photo of a joint beside the printed strip, with known truth: fast enough for every test.

Not a substitute for the rendered demo photos: plates are flat areas of light with brush grain, edges are
blurred steps. Truth is exact to the drawing's float32 arithmetic. All of it is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, gaussian_filter1d
from scipy.special import ndtr

from fitup.edges.response import contrast_curve
from fitup.photo import linear_to_srgb
from fitup.scale import target_layout, target_raster

WIDTH_PX, HEIGHT_PX = 3600, 1500


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What is drawn. Lengths in mm, light linear 0..1, `slant_deg` turns the camera about the joint.

    `step_mm` is the step between the plates, positive where the far one is the higher: seen at a slant, its
    arris is displaced in the picture.
    """

    gap_mm: Callable[[np.ndarray], np.ndarray]
    middle_mm: Callable[[np.ndarray], np.ndarray] = field(default=lambda x: 22.0 + 0.01 * x)
    step_mm: Callable[[np.ndarray], np.ndarray] = field(default=lambda x: 0.0 * x)
    plates: tuple[float, float] = (0.45, 0.38)
    floor: float = 0.012
    face: float = 0.2
    sheet_mm: float = 1.5
    slant_deg: float = 0.0
    turn_deg: float = 0.0
    distance_mm: float = 205.0
    focal_px: float = 3000.0
    blur_px: float = 1.1
    grain: float = 0.03
    grain_along: bool = False
    noise: float = 0.004
    contrast: float = 0.3
    sharpen: float = 0.4
    sharpen_px: float = 1.2
    covered_mm: tuple[tuple[float, float], ...] = ()
    lines: tuple[tuple[float, float, float, float, float], ...] = ()  # x0, x1, y, width, light
    strip_number: int = 1
    quality: int = 92
    seed: int = 1
    centre_mm: tuple[float, float] = (105.0, 5.0)

    def camera(self) -> tuple[np.ndarray, np.ndarray]:
        """Homography px <- mm of the plane and the camera's place in the target frame."""
        slant, turn = np.deg2rad([self.slant_deg, self.turn_deg])
        cs, ss, ct, st = np.cos(slant), np.sin(slant), np.cos(turn), np.sin(turn)
        # Image v runs down, target y up: a half turn about x, then the slant (a positive one moves the camera
        # to larger y, beyond the joint), then a turn in the image plane.
        flip = np.diag([1.0, -1.0, -1.0])
        about_x = np.array([[1, 0, 0], [0, cs, -ss], [0, ss, cs]])
        about_z = np.array([[ct, -st, 0], [st, ct, 0], [0, 0, 1]])
        rotation = about_z @ about_x @ flip
        t = np.array([0, 0, self.distance_mm]) - rotation @ np.array([*self.centre_mm, 0.0])
        K = np.array(
            [[self.focal_px, 0, (WIDTH_PX - 1) / 2], [0, self.focal_px, (HEIGHT_PX - 1) / 2], [0, 0, 1]]
        )
        return K @ np.column_stack([rotation[:, 0], rotation[:, 1], t]), -rotation.T @ t


def draw(scene: Scene) -> np.ndarray:
    """Return the phone's picture as 8-bit grey (H, W)."""
    rng = np.random.default_rng(scene.seed)
    H, camera = scene.camera()
    v, u = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    x, y = _plane(np.linalg.inv(H), u, v)
    px_per_mm = scene.focal_px / scene.distance_mm
    light = _joint(scene, camera, x, y, scene.blur_px / px_per_mm, rng)
    light = _strip(scene, H, light)
    light = light * (1 + 0.04 * (u / WIDTH_PX - 0.5))
    return developed(light, scene, rng)


def developed(light: np.ndarray, scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """What the phone makes of the light (H, W): noise, tone curve, sharpening, 8 bits."""
    light = light + rng.normal(0, 1, light.shape).astype(np.float32) * scene.noise * np.sqrt(light + 0.02)
    encoded = contrast_curve(linear_to_srgb(np.clip(light, 0, 1)), scene.contrast).astype(np.float32)
    soft = gaussian_filter(encoded, scene.sharpen_px)
    return np.clip(np.rint(255 * (encoded + scene.sharpen * (encoded - soft))), 0, 255).astype(np.uint8)


def save(scene: Scene, path: Path) -> Path:
    """Write the drawn photo as a phone's JPEG with EXIF of an invented phone."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", "N1"
    pixels = draw(scene)
    long_side = np.hypot(WIDTH_PX, HEIGHT_PX)
    infinity_px = scene.focal_px * (1 - 5.5 / scene.distance_mm)
    exif.get_ifd(0x8769)[0x920A] = 5.5
    exif.get_ifd(0x8769)[0xA405] = round(infinity_px / long_side * 43.27)
    Image.fromarray(pixels).save(path, quality=scene.quality, exif=exif)
    return path


def _plane(inverse: np.ndarray, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    w = inverse[2, 0] * u + inverse[2, 1] * v + inverse[2, 2]
    x = (inverse[0, 0] * u + inverse[0, 1] * v + inverse[0, 2]) / w
    return x, (inverse[1, 0] * u + inverse[1, 1] * v + inverse[1, 2]) / w


def _joint(
    scene: Scene, camera: np.ndarray, x: np.ndarray, y: np.ndarray, blur_mm: float, rng: np.random.Generator
) -> np.ndarray:
    gap, middle = scene.gap_mm(x), scene.middle_mm(x)
    tangent = (camera[1] - y) / camera[2]
    near, far = middle - gap / 2, middle + gap / 2 - scene.step_mm(x) * tangent
    visible = np.minimum(scene.sheet_mm * np.abs(tangent), far - near)
    left, right = scene.plates
    light = left + (scene.floor - left) * ndtr((y - near) / blur_mm)
    far_face = tangent < 0
    inner = np.where(far_face, far - visible, near + visible)
    step = ndtr((y - inner) / blur_mm)
    if scene.face != scene.floor:
        band_far = (scene.face - scene.floor) * (step - ndtr((y - far) / blur_mm))
        band_near = (scene.face - scene.floor) * (ndtr((y - near) / blur_mm) - step)
        light = light + np.where(far_face, band_far, band_near)
    light = light + (right - scene.floor) * ndtr((y - far) / blur_mm)
    for start, end in scene.covered_mm:
        bump = ndtr((x - start) / blur_mm) * ndtr((end - x) / blur_mm) * (np.abs(y - middle) < 4)
        light = light + bump * (0.42 + 0.1 * np.sin(9 * x) * np.cos(7 * y) - light)
    for x0, x1, y0, width, level in scene.lines:
        cover = ndtr((y - y0 + width / 2) / blur_mm) - ndtr((y - y0 - width / 2) / blur_mm)
        light = light + cover * ((x > x0) & (x < x1)) * (level - light)
    return (light * _grain(scene, x.shape, rng)).astype(np.float32)


def _grain(scene: Scene, shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    white = rng.normal(0, 1, shape).astype(np.float32)
    sigma = (scene.blur_px, 40) if scene.grain_along else (40, scene.blur_px)
    for axis, s in enumerate(sigma):
        white = gaussian_filter1d(white, s, axis=axis)
    return 1 + scene.grain * white / white.std()


def _strip(scene: Scene, H: np.ndarray, light: np.ndarray) -> np.ndarray:
    raster = target_raster(target_layout(scene.strip_number), 30.0)
    matrix = H @ np.linalg.inv(raster.px_from_mm)
    paper = 0.035 + (0.78 - 0.035) * raster.pixels.astype(np.float32) / 255
    # Drawn at three times the photo's size and averaged, so that bars do not alias.
    fine = np.diag([3.0, 3.0, 1.0])
    fine[:2, 2] = 1.0
    size = (3 * WIDTH_PX, 3 * HEIGHT_PX)
    drawn = cv2.warpPerspective(paper, fine @ matrix, size, flags=cv2.INTER_LINEAR)
    mask = cv2.warpPerspective(np.ones_like(paper), fine @ matrix, size, flags=cv2.INTER_LINEAR)
    drawn, mask = (cv2.resize(a, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA) for a in (drawn, mask))
    extra = np.sqrt(max(scene.blur_px**2 - 0.1, 0.01))
    drawn, mask = gaussian_filter(drawn, extra), gaussian_filter(mask, extra)
    return (drawn + (1 - mask) * light).astype(np.float32)
