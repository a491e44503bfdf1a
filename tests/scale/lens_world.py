"""Photos of a printed target through any lens, with known truth: saddles by projection, or drawn pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np

from fitup.photo import CameraInfo, Photo
from fitup.scale import TargetLayout, target_layout
from fitup.scale.lens_bundle import LensView
from fitup.scale.lens_model import LensModel
from fitup.scale.raster import target_raster
from tests.scale.drawing_world import INK, PAPER, PLATE, encode

BOARD = target_layout(1, "lens-board")
SIZE = (2000, 1500)
PHONE = LensModel(
    kind="opencv", size_px=SIZE, focal_px=1540.0, centre_px=(1007.0, 742.0),
    coefficients=(0.09, -0.22, 0.0006, -0.0004, 0.12),
)  # fmt: skip
ULTRA_WIDE = LensModel(
    kind="fisheye", size_px=SIZE, focal_px=880.0, centre_px=(1004.0, 743.0),
    coefficients=(0.01, -0.006, 0.002, -0.0006),
)  # fmt: skip
REFERENCE_MM = 340.0  # where the lens's focal length holds
FOCAL_MM = 5.6


@dataclass(frozen=True, kw_only=True, eq=False)
class Pose:
    rotation: np.ndarray
    translation: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Board:
    """What the print is: stretch as log of across over along, bows [mm] at the ends of the diagonal."""

    layout: TargetLayout = BOARD
    stretch: float = 0.0
    bow_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def middle_mm(self) -> np.ndarray:
        return np.array([self.layout.length_mm, -self.layout.width_mm, 0.0]) / 2

    def in_space(self, mm: np.ndarray) -> np.ndarray:
        saddles = self.layout.saddles_mm
        u = (mm - self.middle_mm[:2]) / (np.hypot(*np.ptp(saddles, axis=0)) / 2)
        a, b, c = self.bow_mm
        z = a * u[:, 0] ** 2 + b * u[:, 1] ** 2 + 2 * c * u[:, 0] * u[:, 1]
        return np.column_stack((mm * np.exp(np.array([-0.5, 0.5]) * self.stretch), z))


def focused(lens: LensModel, distance_mm: float, focus: float = 1.0) -> LensModel:
    """The lens at another distance: its focal length grows as f / (1 - f / Z), or by a share of that."""
    grown = np.log1p(-FOCAL_MM / REFERENCE_MM) - np.log1p(-FOCAL_MM / distance_mm)
    return lens.with_focal(lens.focal_px * float(np.exp(focus * grown)))


def pose_at(
    tilt_deg: tuple[float, float], turn_deg: float, distance_mm: float, look_at_mm: np.ndarray
) -> Pose:
    """A camera over a point of the target, leaning; the target's z points to it."""
    lean = cv2.Rodrigues(np.deg2rad(np.array([*tilt_deg, 0.0])))[0]
    turn = cv2.Rodrigues(np.array([0, 0, np.deg2rad(turn_deg)]))[0]
    rotation = lean @ turn @ np.diag([1.0, -1.0, -1.0])
    return Pose(rotation=rotation, translation=np.array([0, 0, distance_mm]) - rotation @ look_at_mm)


def seen(lens: LensModel, pose: Pose, space_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places in the picture (N, 2) of points in the target's space (N, 3), and whether they lie in it."""
    camera = space_mm @ pose.rotation.T + pose.translation
    x = camera[:, :2] / camera[:, 2:]
    px = lens.distort(np.array(lens.centre_px) + lens.focal_px * x)
    inside = np.all((px > 8) & (px < np.array(lens.size_px) - 9), axis=1)
    return px, inside & (np.linalg.norm(x, axis=1) < 3)


def random_poses(
    lens: LensModel, seed: int, count: int, distance_mm: tuple[float, float], tilt_deg: float = 28.0
) -> list[Pose]:
    """Poses as the guide asks for: leaning to all sides, some square on, in the middle and every corner."""
    rng = np.random.default_rng(seed)
    poses = []
    for k in range(count):
        side, distance = rng.uniform(0, 2 * np.pi), float(rng.uniform(*distance_mm))
        lean = rng.uniform(0.4, 1.0) * tilt_deg if k % 4 else 3.0
        turn = float(rng.choice([0, 180]) + rng.normal(0, 8)) + 90 * (k % 5 == 4)
        corner = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])[k // 2 % 4] * (k % 2)
        free = np.array(lens.size_px) / 2 / lens.focal_px * distance - np.array([85.0, 55.0])
        aside = corner * np.maximum(free, 0) * rng.uniform(0.9, 1.1)
        look = np.array([130.0, -90.0, 0.0]) + rng.uniform(-10, 10, 3) * [1, 1, 0]
        tilt = lean * np.cos(side), lean * np.sin(side)
        pose = pose_at(tilt, turn, distance, look)
        poses.append(replace(pose, translation=pose.translation + np.array([*aside, 0.0])))
    return poses


def views_of(
    lens: LensModel,
    poses: list[Pose],
    board: Board,
    *,
    seed: int,
    noise_px: float = 0.1,
    shared_px: float = 0.05,
    focus: float = 1.0,
) -> tuple[LensView, ...]:
    """Saddles as seen, with noise, and with a smooth error of each photo that its saddles share."""
    rng = np.random.default_rng(seed)
    mm = board.layout.saddles_mm
    views = []
    for k, pose in enumerate(poses):
        distance = float(pose.rotation[:, 2] @ pose.translation / pose.rotation[2, 2])
        px, inside = seen(focused(lens, distance, focus), pose, board.in_space(mm))
        waves = rng.normal(0, 2 * np.pi, (2, 2)) / np.array(lens.size_px)
        phases = rng.uniform(0, 2 * np.pi, 2)
        shared = np.sqrt(2) * shared_px * np.cos(px @ waves.T + phases)
        measured = px + shared + rng.normal(0, noise_px, px.shape)
        views.append(LensView(name=f"photo {k}", points_mm=mm[inside], points_px=measured[inside]))
    return tuple(views)


def draw(lens: LensModel, pose: Pose, board: Board, *, blur_px: float = 0.9, seed: int = 1) -> np.ndarray:
    """(H, W) uint8 picture as stored, of a flat board on a plate."""
    layout = board.layout
    sampling = float(np.ceil(lens.focal_px / pose.translation[2]))
    raster = target_raster(layout, 2.0 * sampling)
    width, height = lens.size_px
    x = _directions(lens)
    rays = np.concatenate((x, np.ones((*x.shape[:2], 1), np.float32)), axis=-1) @ pose.rotation
    eye = -pose.rotation.T @ pose.translation
    down = np.where(rays[..., 2] < -1e-6, rays[..., 2], -1e-6)
    mm = eye[:2] + rays[..., :2] * (-eye[2] / down)[..., None]
    mm = np.clip(mm, -1e4, 1e4) * np.exp(np.array([0.5, -0.5]) * board.stretch)
    A = raster.px_from_mm
    where = (mm @ np.diag([A[0, 0], A[1, 1]]) + A[:2, 2]).astype(np.float32)
    ink = INK + (PAPER - INK) / 255 * raster.pixels.astype(np.float32)
    light = cv2.remap(ink, where, None, cv2.INTER_LINEAR, borderValue=PLATE)
    light = cv2.resize(light, (width, height), interpolation=cv2.INTER_AREA)
    return encode(cv2.GaussianBlur(light, (0, 0), blur_px), 1.5, seed)


@cache
def _directions(lens: LensModel) -> np.ndarray:
    """(2H, 2W, 2) undistorted directions of half pixels; between every eighth they run smoothly."""
    width, height = lens.size_px
    v, u = np.mgrid[-8 : height + 12 : 4, -8 : width + 12 : 4] + 1.5  # middles of blocks of 8 × 8 half pixels
    x = (lens.undistort(np.stack((u, v), axis=-1)) - np.array(lens.centre_px)) / lens.focal_px
    fine = cv2.resize(x.astype(np.float32), None, fx=8, fy=8, interpolation=cv2.INTER_LINEAR)
    return fine[16 : 16 + 2 * height, 16 : 16 + 2 * width]


PHONE_INFO = CameraInfo(
    make="Invented", model="N7", software="7.1", focal_length_mm=FOCAL_MM, focal_length_35mm=26.0
)


def photo_of(pixels: np.ndarray, name: str = "board.png", camera: CameraInfo = PHONE_INFO) -> Photo:
    return Photo(
        name=name, sha256="0" * 64, byte_count=1, format="PNG",
        pixels=np.ascontiguousarray(pixels), camera=camera, notes=(),
    )  # fmt: skip


def with_orientation(photo: Photo, orientation: int) -> Photo:
    """The same stored picture with an EXIF orientation, opened: turned upright."""
    from fitup.photo.picture import turn_upright

    turned = turn_upright(photo.pixels, orientation)
    return replace(photo, pixels=turned, camera=replace(photo.camera, orientation=orientation))
