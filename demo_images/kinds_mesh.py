"""Meshes of a swept plate with rounded arrises, for any direction of its end."""

from __future__ import annotations

import numpy as np
from geometry import Shape, grid_shape
from kinds_geometry import REACH_MM, Plate
from numpy.typing import NDArray

__all__ = ["oriented_box", "plate_meshes", "quad"]

Floats = NDArray[np.float64]
TURN = np.linspace(0, np.pi / 2, 9)


def plate_meshes(
    plate: Plate, x: Floats, radius_mm: float, uv_mm: Floats, uv_start_mm: float
) -> dict[str, Shape]:
    """Give "top", "arris", "face" (cut face), "inner" (the other arris), "bottom" and the two "end"s."""
    outer = radius_mm + plate.ground_mm * 1.4, radius_mm + plate.ground_mm
    top_a, top_b = _top(plate, outer[0])
    arris_a, arris_b, arris_t = _corner(outer[0], outer[1], radius_mm)
    small = np.full(len(x), radius_mm)
    inner_a, inner_b, inner_t = _corner(small, small, radius_mm)
    inner_a, inner_b = inner_a[:, ::-1], plate.sheet_mm - inner_b[:, ::-1]
    inner_t = np.stack((-inner_t[:, ::-1, 0], inner_t[:, ::-1, 1]), axis=-1)
    share = np.linspace(0, 1, 5)
    face_b = outer[1][:, None] * (1 - share) + (plate.sheet_mm - radius_mm) * share
    bottom_a = np.broadcast_to([radius_mm, 3.0, plate.width_mm], (len(x), 3))
    return {
        "top": _top_mesh(plate, x, top_a, top_b, uv_mm, uv_start_mm),
        "arris": _mesh(plate, x, arris_a, arris_b, arris_t),
        "face": _mesh(plate, x, np.zeros_like(face_b), face_b),
        "inner": _mesh(plate, x, inner_a, inner_b, inner_t),
        "bottom": _mesh(plate, x, bottom_a, np.full(bottom_a.shape, plate.sheet_mm)),
        "end0": _end(plate, x, 0),
        "end1": _end(plate, x, -1),
    }


def _top(plate: Plate, start: Floats) -> tuple[Floats, Floats]:
    """Columns of the face: distance from the end and depth below the face's plane."""
    if plate.dent_mm is None:
        steps = np.array([0.0, 0.2, 0.4, 2.0, 8.0, 40.0])
        a = np.concatenate((start[:, None] + steps, np.full((len(start), 1), plate.width_mm)), axis=1)
        return a[:, ::-1], np.zeros_like(a)
    a = np.sort(np.r_[1.0, plate.dent_at_mm + np.arange(-32.0, 32.1, 0.5), plate.width_mm])[::-1]
    a = np.concatenate((np.broadcast_to(a, (len(start), len(a))), start[:, None]), axis=1)
    b = plate.dent_mm[:, None] * np.exp(-0.5 * ((a - plate.dent_at_mm) / REACH_MM) ** 2)
    return a, b


def _corner(ca: Floats, cb: Floats, radius: float) -> tuple[Floats, Floats, Floats]:
    """A rounded or ground corner from (ca, 0) on the face to (0, cb) on the end: (S, K) and its tangent."""
    u, s, c = TURN / TURN[-1], np.sin(TURN), np.cos(TURN)
    long_a, long_b = (ca - radius)[:, None], (cb - radius)[:, None]
    a, b = long_a * (1 - u) + radius * (1 - s), long_b * u + radius * (1 - c)
    slope = 1 / TURN[-1]
    return a, b, np.stack((-long_a * slope - radius * c, long_b * slope + radius * s), axis=-1)


def _place(plate: Plate, x: Floats, a: Floats, b: Floats) -> Floats:
    """(S, K, 3) world points of distances a from the end and b below the face."""
    flat = plate.arris[:, None] + a[..., None] * plate.into - b[..., None] * plate.normal
    return np.concatenate((np.broadcast_to(x[:, None, None], (*a.shape, 1)), flat), axis=-1)


def _mesh(plate: Plate, x: Floats, a: Floats, b: Floats, tangent: Floats | None = None) -> Shape:
    uv = np.stack(np.broadcast_arrays(x[:, None] / 20.0, b / 3.0 + a / 30.0), axis=-1)
    normals = None
    if tangent is not None:
        flat = -tangent[..., 1:] * plate.into - tangent[..., :1] * plate.normal
        flat = flat / np.linalg.norm(flat, axis=-1, keepdims=True)
        normals = np.concatenate((np.zeros((*a.shape, 1)), flat), axis=-1)
    return _facing(grid_shape(_place(plate, x, a, b), uv, normals))


def _top_mesh(plate: Plate, x: Floats, a: Floats, b: Floats, uv_mm: Floats, uv_start_mm: float) -> Shape:
    """The face; its grain lies square to the joint and does not follow the cut edge's bends."""
    points = _place(plate, x, a, b)
    lag = (plate.arris - plate.arris.mean(0)) @ plate.into
    u = (x[:, None] - uv_start_mm) / uv_mm[0]
    uv = np.stack(np.broadcast_arrays(u, (lag[:, None] + a) / uv_mm[1]), axis=-1)
    normals = None
    if plate.dent_mm is not None:
        along, across = np.gradient(points, axis=0), np.gradient(points, axis=1)
        normals = np.cross(along, across)
        normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
        up = np.concatenate(([0.0], plate.normal))
        normals *= np.sign(normals @ up)[..., None]
    return _facing(grid_shape(points, uv, normals))


def _facing(shape: Shape) -> Shape:
    """Turn the triangles to the side of the vertex normals; else the renderer sees no surface there."""
    if shape.normals is None:
        return shape
    corner = shape.points[shape.faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    if (flat * shape.normals[shape.faces[:, 0]]).sum() > 0:
        return shape
    return Shape(points=shape.points, faces=shape.faces[:, ::-1], uv=shape.uv, normals=shape.normals)


def _end(plate: Plate, x: Floats, k: int) -> Shape:
    """One short side, so that no light falls in between the faces."""
    inset = 0.04
    a = np.array([[inset, plate.width_mm, plate.width_mm, inset]])
    b = np.array([[inset, inset, plate.sheet_mm, plate.sheet_mm - inset]])
    arris = plate.arris[k : k + 1] if k >= 0 else plate.arris[k:]
    corner = Plate(key="", arris=arris, into=plate.into, normal=plate.normal, sheet_mm=plate.sheet_mm,
                   width_mm=plate.width_mm, ground_mm=np.zeros(1))  # fmt: skip
    return quad(_place(corner, x[[k]], a, b)[0])


def quad(points: Floats) -> Shape:
    """A flat four-cornered face; uv run from corner 0."""
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    return Shape(points=points, faces=np.array([[0, 1, 2], [0, 2, 3]]), uv=uv)


def oriented_box(origin: Floats, axes: Floats, low: Floats, high: Floats) -> Shape:
    """A box given in a frame with rows `axes`, corners from `low` to `high` in that frame."""
    corner = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float)
    sides = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    local = np.concatenate([np.asarray(low) + corner[list(q)] * (np.asarray(high) - low) for q in sides])
    faces = np.concatenate([np.array([[0, 1, 2], [0, 2, 3]]) + 4 * k for k in range(6)])
    uv = np.tile(np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), (6, 1))
    return Shape(points=origin + local @ axes, faces=faces, uv=uv)
