"""Shapes of a butt joint in millimetres: two plates with rounded arrises, tacks, the strip, ribbons.

World frame: x along the printed strip, y towards the joint, z up, origin on plate A's top plane under
the strip's datum mark. The target frame of the program is the same frame raised by the paper's
thickness. The joint frame (s, n) is turned by the joint's angle: s runs along the joint's centre line
from the foot of the datum mark, n across it, away from the strip.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Joint", "Shape", "box", "dome", "grid_shape", "lathe", "plate_shapes", "ribbon", "waviness"]

Floats = NDArray[np.float64]
STEP_MM = 0.1  # mesh step along the joint: far below a pixel (0.075 mm) times the shortest waviness


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """A triangle mesh: points (N, 3) mm, faces (M, 3), uv (N, 2) and, where smooth, normals (N, 3)."""

    points: Floats
    faces: NDArray[np.int64]
    uv: Floats
    normals: Floats | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Joint:
    """Where the joint runs and how wide it is open.

    `gap` and `bend` are functions of s (mm, any shape): the opening before waviness, and a common
    sideways run of both arrises. `waviness_um` is the rms of each cut edge's own unevenness.
    """

    angle_deg: float
    offset_mm: float
    gap: Callable[[Floats], Floats]
    s_range: tuple[float, float]
    bend: Callable[[Floats], Floats] = field(default=lambda s: np.zeros_like(s))
    waviness_um: float = 6.0
    seed: int = 0
    hi_lo: Callable[[Floats], Floats] = field(default=lambda s: np.zeros_like(s))

    @property
    def along(self) -> Floats:
        """Unit vector of s in world x, y."""
        a = np.radians(self.angle_deg)
        return np.array([np.cos(a), np.sin(a)])

    @property
    def across(self) -> Floats:
        """Unit vector of n in world x, y."""
        return np.array([-self.along[1], self.along[0]])

    @property
    def mesh_s(self) -> Floats:
        """The stations of the mesh, mm."""
        start, end = self.s_range
        return np.linspace(start, end, round((end - start) / STEP_MM) + 1)

    def arrises(self, s: Floats) -> tuple[Floats, Floats]:
        """Give n of the near and far cut face (virtual sharp arris), exactly as the mesh has them."""
        base = self.mesh_s
        middle = self.offset_mm + self.bend(base)
        rough = [waviness(base, self.waviness_um / 1000, self.seed * 2 + k) for k in (0, 1)]
        half = self.gap(base) / 2
        near, far = middle - half + rough[0], middle + half + rough[1]
        far = np.maximum(far, near + 0.01)  # touching edges keep a breath of air
        return np.interp(s, base, near), np.interp(s, base, far)

    def world(self, s: Floats, n: Floats) -> Floats:
        """Joint coordinates to world x, y; (..., 2)."""
        return np.asarray(s)[..., None] * self.along + np.asarray(n)[..., None] * self.across


def waviness(s: Floats, rms_mm: float, seed: int) -> Floats:
    """Unevenness of a sheared or laser-cut edge: a dozen wavelengths from 0.7 to 25 mm."""
    rng = np.random.default_rng([71, seed])
    waves = np.geomspace(0.7, 25.0, 14) * rng.uniform(0.9, 1.1, 14)
    size = waves**0.35 * rng.uniform(0.5, 1.5, 14)
    phase = rng.uniform(0, 2 * np.pi, 14)
    wave = (size[:, None] * np.sin(2 * np.pi * s / waves[:, None] + phase[:, None])).sum(0)
    return np.asarray(rms_mm * wave / np.sqrt((size**2).sum() / 2))


def grid_shape(points: Floats, uv: Floats, normals: Floats | None = None) -> Shape:
    """Mesh of a (rows, columns, 3) grid, front side = right-hand rule of (row step) × (column step)."""
    rows, columns = points.shape[:2]
    corner = (np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)).ravel()
    faces = np.concatenate(
        (
            np.column_stack((corner, corner + columns, corner + columns + 1)),
            np.column_stack((corner, corner + columns + 1, corner + 1)),
        )
    )
    flat = None if normals is None else normals.reshape(-1, 3)
    return Shape(points=points.reshape(-1, 3), faces=faces, uv=uv.reshape(-1, 2), normals=flat)


def plate_shapes(
    joint: Joint,
    far: bool,
    width_mm: float,
    sheet_mm: float,
    radius_mm: float,
    burr_mm: float,
    uv_mm: Floats,
    uv_start_mm: float,
) -> dict[str, Shape]:
    """Sweep a plate's cross-section along its cut edge.

    Gives "top" (to the arris), "arris" (the rounding, smooth) and "face" (cut face and bottom). The top's
    uv are (s - uv_start_mm, n - offset) over the size `uv_mm`, so that the grain lies square to the joint
    and does not follow its bends; the face's u is in 20 mm.
    """
    s = joint.mesh_s
    edge = joint.arrises(s)[1 if far else 0]
    side = 1.0 if far else -1.0
    lift = joint.hi_lo(s) if far else np.zeros_like(s)
    rng = np.random.default_rng([13, joint.seed, int(far)])
    ragged = np.interp(s, s[::7], rng.uniform(0.2, 1.0, len(s[::7])))

    def sweep(depth: Floats, height: Floats, burr: Floats) -> Floats:
        """`depth` = distance from the cut face into the plate; (len(s), K, 3)."""
        n = edge[:, None] + side * depth
        z = lift[:, None] + height + burr * burr_mm * ragged[:, None]
        return np.concatenate((joint.world(np.broadcast_to(s[:, None], n.shape), n), z[..., None]), axis=-1)

    turn = np.linspace(0, np.pi / 2, 7)
    arc = (radius_mm * (1 - np.sin(turn)), -radius_mm * (1 - np.cos(turn)), np.cos(turn))
    flat = np.array([width_mm, 40.0, 8.0, 2.0, 0.4, 0.2, radius_mm])
    lip = np.array([0, 0, 0, 0, 0, 0.25, 1.0])
    down = np.linspace(-radius_mm, -sheet_mm, 5)
    parts = {
        "top": sweep(flat, np.zeros(7), lip),
        "arris": sweep(arc[0], arc[1], arc[2]),
        "face": sweep(np.r_[np.zeros(5), width_mm], np.r_[down, -sheet_mm], np.zeros(6)),
    }
    u, n0 = (s[:, None] - uv_start_mm) / uv_mm[0], (edge - joint.offset_mm)[:, None]
    uv_top = np.stack(np.broadcast_arrays(u, (n0 + side * flat) / uv_mm[1]), axis=-1)
    uv_arris = np.stack(np.broadcast_arrays(u, (n0 + side * arc[0]) / uv_mm[1]), axis=-1)
    uv_face = np.stack(np.broadcast_arrays(s[:, None] / 20.0, np.r_[-down / 3.0, 1.0]), axis=-1)
    normal = _arc_normals(joint, side, turn, len(s))
    order = slice(None, None, -1) if far else slice(None)
    return {
        "top": grid_shape(parts["top"][:, order], uv_top[:, order]),
        "arris": grid_shape(parts["arris"][:, order], uv_arris[:, order], normal[:, order]),
        "face": grid_shape(parts["face"][:, order], uv_face[:, order]),
    }


def _arc_normals(joint: Joint, side: float, turn: Floats, rows: int) -> Floats:
    out = np.stack(
        (-side * np.sin(turn) * joint.across[0], -side * np.sin(turn) * joint.across[1], np.cos(turn))
    )
    return np.broadcast_to(out.T, (rows, len(turn), 3)).copy()


def box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Shape:
    """An upright box with flat faces."""
    corner = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float)
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    low, high = np.array([x[0], y[0], z[0]]), np.array([x[1], y[1], z[1]])
    points = np.concatenate([low + corner[list(q)] * (high - low) for q in quads])
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(6)])
    uv = np.tile(np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), (6, 1))
    return Shape(points=points, faces=faces, uv=uv)


def dome(centre: Floats, size: Floats, rng: np.random.Generator, rippled: bool = True) -> Shape:
    """A tack weld: a flat mound with ripples, half axes `size` (along, across, height) mm; or a drop."""
    radius, angle = np.linspace(0, 1, 40), np.linspace(0, 2 * np.pi, 121)
    r, a = np.meshgrid(radius, angle, indexing="ij")
    turns = (1, 2, 3, 5, 7) if rippled else (2, 3)
    wobble = 1 + sum(rng.normal(0, 0.03) * np.cos(k * a + rng.uniform(0, 6)) for k in turns)
    x, y = size[0] * r * wobble * np.cos(a), size[1] * r * wobble * np.sin(a)
    ripple = (
        0.04
        * rippled
        * np.sin(13 * (x / size[0] + 0.4 * (y / size[1]) ** 2) + rng.uniform(0, 6))
        * (1 - r**2)
    )
    z = size[2] * ((1 - r**2.4) + ripple / max(size[2], 0.1)) - 0.02
    points = np.stack((x + centre[0], y + centre[1], z), axis=-1)
    shape = grid_shape(points, np.stack((r, a), axis=-1))
    normals = np.zeros_like(shape.points)
    corners = shape.points[shape.faces]
    face_normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    for k in range(3):
        np.add.at(normals, shape.faces[:, k], face_normal)
    normals[: len(angle)] = [0, 0, 1.0]
    ends = [
        np.arange(0, len(shape.points), len(angle)),
        np.arange(len(angle) - 1, len(shape.points), len(angle)),
    ]
    normals[ends[0]] = normals[ends[1]] = normals[ends[0]] + normals[ends[1]]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    return Shape(points=shape.points, faces=shape.faces, uv=shape.uv, normals=normals)


def lathe(start: Floats, end: Floats, profile: Floats, sides: int = 48) -> Shape:
    """A body of revolution from `start` to `end`; profile (K, 2) = share of the way, radius mm."""
    axis = (end - start) / np.linalg.norm(end - start)
    side = np.cross(axis, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    round_ = np.cos(angle)[:, None] * side + np.sin(angle)[:, None] * np.cross(axis, side)
    points = start + profile[:, :1, None] * (end - start) + profile[:, 1:, None] * round_
    uv = np.stack(np.broadcast_arrays(profile[:, :1], angle / 6.3), axis=-1)
    return grid_shape(points, uv)


def ribbon(path: Floats, width_mm: Floats, z_mm: float, groove: float = 0.0) -> Shape:
    """A thin mark on a plate along `path` (N, 2) with its width (N,); `groove` tilts its halves inward."""
    direction = np.gradient(path, axis=0)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    side = np.column_stack((-direction[:, 1], direction[:, 0])) * width_mm[:, None] / 2
    rows = [path - side, path, path + side] if groove else [path - side, path + side]
    points = np.stack([np.column_stack((row, np.full(len(path), z_mm))) for row in rows], axis=1)
    if groove:
        points[:, 1, 2] += groove * width_mm / 2
    u = np.linspace(0, 1, len(path))[:, None]
    uv = np.stack(np.broadcast_arrays(u, np.linspace(0, 1, len(rows))), axis=-1)
    return grid_shape(points, uv)
