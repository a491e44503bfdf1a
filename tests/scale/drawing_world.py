"""Drawn photos of a target with known truth: an ideal camera, blur, tone curve, noise.

The picture is made from the exact-area raster by inverse mapping with supersampling in linear
light; nothing of the code under test is used except the layout and its raster.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.photo import CameraInfo, Photo, linear_to_srgb
from fitup.scale import TargetLayout, target_layout
from fitup.scale.raster import TargetRaster, target_raster

INK, PAPER, PLATE = 0.04, 0.80, 0.45  # linear reflectances, usual orders of magnitude
FULL_FRAME_DIAGONAL_MM = 43.27


@dataclass(frozen=True, kw_only=True)
class Camera:
    width_px: int = 2016
    height_px: int = 1512
    focal_px: float = 1560.0  # about 26.8 mm equivalent
    distortion: float = 0.0  # displacement at the corner as a share of the radius (cubic term)
    centre_offset_px: tuple[float, float] = (0.0, 0.0)

    @property
    def centre(self) -> NDArray[np.float64]:
        return np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2]) + self.centre_offset_px

    @property
    def half_diagonal(self) -> float:
        return float(np.hypot(self.width_px, self.height_px)) / 2

    def distort(self, px):
        d = px - self.centre
        r2 = (d**2).sum(-1, keepdims=True) / self.half_diagonal**2
        return self.centre + d * (1 + self.distortion * r2)

    def undistort(self, px):
        if self.distortion == 0:
            return px
        out = px
        for _ in range(8):
            out = px - (self.distort(out) - out)
        return out


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A strip on a plate and a camera over it; angles in degrees, lengths in mm."""

    layout: TargetLayout = field(default_factory=lambda: target_layout(1))
    camera: Camera = field(default_factory=Camera)
    look_at_mm: tuple[float, float] = (105.0, 10.0)
    distance_mm: float = 230.0
    tilt_x_deg: float = 6.0  # leaning about the strip's long direction
    tilt_y_deg: float = -4.0
    roll_deg: float = 2.0
    blur_px: float = 0.9
    noise: float = 1.5  # standard deviation, grey levels of 255
    print_factors: tuple[float, float] = (1.0, 1.0)
    thickness_mm: float = 0.1
    bow_mm: float = 0.0  # height of the strip's middle over its ends
    seed: int = 1

    @property
    def rotation(self) -> NDArray[np.float64]:
        a, b, c = np.deg2rad([self.tilt_x_deg, self.tilt_y_deg, self.roll_deg])
        turn = cv2.Rodrigues(np.array([0, 0, c]))[0] @ cv2.Rodrigues(np.array([a, 0, 0.0]))[0]
        turn = turn @ cv2.Rodrigues(np.array([0, b, 0.0]))[0]
        return turn @ np.diag([1.0, -1.0, -1.0])

    @property
    def translation(self) -> NDArray[np.float64]:
        return np.array([0, 0, self.distance_mm]) - self.rotation @ np.array([*self.look_at_mm, 0.0])

    def ideal_homography(self, z_mm: float) -> NDArray[np.float64]:
        """Undistorted px <- true mm of the plane at height z over the target's printed face."""
        f, (cx, cy) = self.camera.focal_px, self.camera.centre
        K = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
        R, t = self.rotation, self.translation
        return K @ np.column_stack((R[:, 0], R[:, 1], t + z_mm * R[:, 2]))

    def to_px(self, points_mm, z_mm: float | None = None):
        """Truth: where points of the joint's plane (the target lowered by its thickness) are seen."""
        H = self.ideal_homography(-self.thickness_mm if z_mm is None else z_mm)
        q = np.asarray(points_mm) @ H[:, :2].T + H[:, 2]
        return self.camera.distort(q[..., :2] / q[..., 2:])


@lru_cache(maxsize=6)
def _raster(layout: TargetLayout, px_per_mm: float) -> TargetRaster:
    return target_raster(layout, px_per_mm)


def draw(scene: Scene, fine: int = 2) -> NDArray[np.uint8]:
    """(H, W) uint8 sRGB-encoded picture."""
    camera = scene.camera
    sampling = camera.focal_px / scene.distance_mm
    raster = _raster(scene.layout, 2.0 * np.ceil(sampling))
    x0, y0, x1, y1 = _window(scene)
    v, u = np.mgrid[0 : (y1 - y0) * fine, 0 : (x1 - x0) * fine]
    px = camera.undistort(np.stack(((u + 0.5) / fine - 0.5 + x0, (v + 0.5) / fine - 0.5 + y0), -1))
    mm = _to_mm(scene, px, 0.0)
    for _ in range(4 if scene.bow_mm else 0):
        height = scene.bow_mm * (1 - (2 * mm[..., 0] / scene.layout.length_mm - 1) ** 2)
        mm = _to_mm(scene, px, height)
    nominal = mm / np.array(scene.print_factors, np.float32)
    A = raster.px_from_mm
    where = (nominal * np.float32([A[0, 0], A[1, 1]]) + np.float32([A[0, 2], A[1, 2]])).astype(np.float32)
    coverage = INK + (PAPER - INK) / 255 * raster.pixels.astype(np.float32)
    light = np.full((camera.height_px, camera.width_px), PLATE, np.float32)
    light[y0:y1, x0:x1] = cv2.resize(
        cv2.remap(coverage, where, None, cv2.INTER_LINEAR, borderValue=PLATE),
        (x1 - x0, y1 - y0),
        interpolation=cv2.INTER_AREA,
    )
    light = cv2.GaussianBlur(light, (0, 0), scene.blur_px)
    return encode(light, scene.noise, scene.seed)


def _window(scene: Scene) -> tuple[int, int, int, int]:
    """Pixels that the paper can reach; the rest of the picture is plate."""
    corners = scene.to_px(scene.layout.paper_outline_mm, 0.0)
    size = np.array([scene.camera.width_px, scene.camera.height_px])
    low = np.clip(np.floor(corners.min(0)) - 30, 0, size - 1).astype(int)
    high = np.clip(np.ceil(corners.max(0)) + 30, low + 1, size).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _to_mm(scene: Scene, px, z_mm):
    """Intersect view rays with the plane at height z (a number, or one for each ray)."""
    f = scene.camera.focal_px
    rays = np.concatenate((px - scene.camera.centre, np.full((*px.shape[:-1], 1), f)), -1) @ scene.rotation
    eye = -scene.rotation.T @ scene.translation
    reach = (z_mm - eye[2]) / rays[..., 2]
    return (eye[:2] + rays[..., :2] * reach[..., None]).astype(np.float32)


def encode(light, noise: float, seed: int) -> NDArray[np.uint8]:
    grey = 255 * linear_to_srgb(np.clip(light, 0, 1))
    rng = np.random.default_rng(seed)
    grey += noise * rng.standard_normal(grey.shape, dtype=np.float32)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def photo_of(pixels: NDArray[np.uint8], f35_mm: float | None = None, focal_mm: float | None = None) -> Photo:
    """Wrap a picture as an opened photo, with the focal lengths that its EXIF would carry."""
    info = CameraInfo(
        make=None, model=None, lens_model=None, software=None, focal_length_mm=focal_mm,
        focal_length_35mm=f35_mm, digital_zoom_ratio=None, taken_at=None, orientation=1,
    )  # fmt: skip
    return Photo(
        name="drawn.png", sha256="0" * 64, byte_count=1, format="PNG",
        pixels=np.ascontiguousarray(pixels), camera=info, notes=(),
    )  # fmt: skip


def equivalent_mm(camera: Camera) -> float:
    """The 35 mm equivalent that an honest EXIF would give for this camera at this focus."""
    return camera.focal_px * FULL_FRAME_DIAGONAL_MM / (2 * camera.half_diagonal)


def random_scene(seed: int, **fixed) -> Scene:
    """A hand-held pose within what a fitter would do: square on within 12 degrees, strip in the frame."""
    rng = np.random.default_rng(seed)
    scene = Scene(
        tilt_x_deg=float(rng.uniform(-12, 12)),
        tilt_y_deg=float(rng.uniform(-12, 12)),
        roll_deg=float(rng.uniform(-8, 8)),
        distance_mm=float(rng.uniform(215, 290)),
        look_at_mm=(float(rng.uniform(98, 112)), float(rng.uniform(-20, 25))),
        blur_px=float(rng.uniform(0.6, 1.3)),
        seed=seed,
    )
    return replace(scene, **fixed)
