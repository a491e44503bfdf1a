"""Makes the solid things of hostile_parts.py: grit, wires, blades, tacks, clamps, bars, a second sheet."""

from __future__ import annotations

from typing import Any

import cv2
import hostile_parts as hp
import mitsuba as mi
import numpy as np
from assemble import put
from geometry import Shape, dome, grid_shape
from hostile_scene import HostileScene
from kinds_mesh import oriented_box
from materials import matte, metal_plain
from numpy.typing import NDArray

__all__ = ["add_blade", "add_clamp", "add_cover", "add_doubler", "add_grit", "add_rod", "add_tack"]

Floats = NDArray[np.float64]
Parts = dict[str, Any]


def add_grit(parts: Parts, scene: HostileScene, part: hp.Grit, name: str) -> None:
    """Dust, chips and a packed stretch."""
    rng = np.random.default_rng([103, part.seed])
    x_all = rng.uniform(*part.reach, part.count)
    y_all = rng.normal(0, part.spread_mm, part.count)
    radii = part.radius[0] * (part.radius[1] / part.radius[0]) ** rng.uniform(0, 1, part.count)
    grains: list[tuple[float, float, float | None, float]] = [
        (x, y, None, r) for x, y, r in zip(x_all, y_all, radii, strict=True)
    ]
    if part.plug:
        for x in np.arange(*part.plug, 0.28):
            gap = float(scene.joint.gap(np.array(x)))
            grains += [(x + rng.normal(0, 0.1), rng.uniform(-gap / 2, gap / 2), -rng.uniform(0.05, 0.3),
                        0.3 + 0.2 * rng.uniform()) for _ in range(max(2, int(gap / 0.25)))]  # fmt: skip
    shapes: dict[int, list[Shape]] = {0: [], 1: []}
    for x, y, z, r in grains:
        bounds = scene.joint.bounds(np.array([x]))
        in_gap = bounds.near[0, 0] < y < bounds.far[0, 0]
        height = z if z is not None else (rng.uniform(-1.2, -0.2) if in_gap else 0.6 * r)
        shapes[int(rng.integers(2))].append(_grain(np.array([x, y, height]), r, rng))
    for kind, surface in ((0, metal_plain(0.7, 0.25)), (1, matte((0.10, 0.085, 0.07)))):
        put(parts, f"{name}_{kind}", _merged(shapes[kind]), surface)
    for k in range(part.curls):
        middle = np.array([rng.uniform(*part.reach), rng.normal(0, 2 * part.spread_mm), 0.35])
        put(parts, f"{name}_curl{k}", _curl(middle, rng), metal_plain(0.92, 0.1))


def _grain(at: Floats, radius: float, rng: np.random.Generator) -> Shape:
    """An angular crumb: a coarse ball, dented and squashed."""
    v, u = np.meshgrid(np.linspace(0, np.pi, 5), np.linspace(0, 2 * np.pi, 8), indexing="ij")
    ball = np.stack((np.sin(v) * np.cos(u), np.sin(v) * np.sin(u), np.cos(v)), axis=-1)
    ball *= rng.uniform(0.65, 1.25, (5, 8, 1))
    ball[:, -1], ball[0], ball[-1] = ball[:, 0], ball[0, 0], ball[-1, 0]
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    points = at + radius * (ball * rng.uniform(0.5, 1.2, 3)) @ turn
    return grid_shape(points, np.zeros((5, 8, 2)))


def _curl(at: Floats, rng: np.random.Generator) -> Shape:
    """A curled chip: a narrow band wound to a helix."""
    t = np.linspace(0, rng.uniform(2.5, 6.0) * np.pi, 160)
    radius, pitch = rng.uniform(0.25, 0.55), rng.uniform(0.08, 0.2)
    axis = np.stack((pitch * t, radius * np.cos(t), radius * np.sin(t)), axis=-1)
    band = np.stack((axis, axis + np.array([0.32, 0, 0])), axis=1)
    a = rng.uniform(0, np.pi)
    turn = np.array([[np.cos(a), np.sin(a), 0], [-np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
    points = (band - band.mean((0, 1))) @ turn + at + [0, 0, radius - 0.3]
    return grid_shape(points, np.zeros((*points.shape[:2], 2)))


def _merged(shapes: list[Shape]) -> Shape:
    starts = np.cumsum([0] + [len(s.points) for s in shapes[:-1]])
    return Shape(
        points=np.concatenate([s.points for s in shapes]),
        faces=np.concatenate([s.faces + n for s, n in zip(shapes, starts, strict=True)]),
        uv=np.concatenate([s.uv for s in shapes]),
    )


def add_rod(parts: Parts, scene: HostileScene, part: hp.Rod, name: str) -> None:
    """A wire: a tube around a smooth run through its places."""
    at = np.array(part.through)
    way = np.r_[0, np.cumsum(np.linalg.norm(np.diff(at, axis=0), axis=1))]
    t = np.linspace(0, way[-1], 400)
    line = np.column_stack(
        [cv2.GaussianBlur(np.interp(t, way, at[:, k])[None], (0, 0), 12)[0] for k in range(3)]
    )
    ahead = np.gradient(line, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    side = np.cross(ahead, [0, 0, 1.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    angle = np.linspace(0, 2 * np.pi, 33)[None, :, None]
    round_ = np.cos(angle) * side[:, None] + np.sin(angle) * np.cross(side, ahead)[:, None]
    points = line[:, None] + part.diameter_mm / 2 * round_
    shape = grid_shape(points, np.zeros((*points.shape[:2], 2)), round_.copy())
    surface = metal_plain(0.88, 0.2)
    if part.copper:
        surface = {"type": "twosided", "bsdf": {"type": "roughconductor", "material": "Cu", "alpha": 0.2}}
    put(parts, name, _outward(shape), surface)


def _outward(shape: Shape) -> Shape:
    assert shape.normals is not None
    corner = shape.points[shape.faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    if (flat * shape.normals[shape.faces[:, 0]]).sum() > 0:
        return shape
    return Shape(points=shape.points, faces=shape.faces[:, ::-1], uv=shape.uv, normals=shape.normals)


def _turned_axes(turn_deg: float) -> Floats:
    a = np.radians(turn_deg)
    return np.array([[np.cos(a), np.sin(a), 0.0], [-np.sin(a), np.cos(a), 0.0], [0.0, 0.0, 1.0]])


def add_blade(parts: Parts, scene: HostileScene, part: hp.Blade, name: str) -> None:
    """A feeler blade that stands in the gap."""
    lean_y, lean_x = np.tan(np.radians(part.lean_deg))
    up = np.array([lean_x, lean_y, 1.0]) / np.linalg.norm([lean_x, lean_y, 1.0])
    along = np.array([1.0, 0.0, 0.0]) - up[0] * up
    along /= np.linalg.norm(along)
    axes = np.stack((along, np.cross(up, along), up))
    half = part.width_mm / 2
    body = oriented_box(np.array([part.x, 0.0, 0.0]), axes, np.array([-half, -part.thick_mm / 2, -1.3]),
                        np.array([half, part.thick_mm / 2, part.tall_mm]))  # fmt: skip
    put(parts, name, body, metal_plain(0.85, 0.13))


def add_tack(parts: Parts, scene: HostileScene, part: hp.Tack, name: str) -> None:
    """A tack weld."""
    mound = dome(
        np.array([part.x, 0.0, 0.0]), np.array(part.half), np.random.default_rng([107, round(part.x) + 500])
    )
    put(parts, name, mound, metal_plain(0.7, 0.14))


def add_clamp(parts: Parts, scene: HostileScene, part: hp.Clamp, name: str) -> None:
    """A rubber foot, its spindle, and a bar that comes from beyond the strip over the joint."""
    x, y = part.x, part.foot_y
    for key, low, high, radius, surface in (
        ("foot", 0.0, 8.0, 7.5, matte((0.05, 0.05, 0.05), 0.4)),
        ("spindle", 8.0, 27.0, 3.0, metal_plain(0.8, 0.2)),
        ("nut", 12.0, 17.0, 5.5, metal_plain(0.75, 0.15)),
    ):
        parts[f"{name}_{key}"] = {"type": "cylinder", "p0": [x, y, low], "p1": [x, y, high],
                                  "radius": radius, "surface": surface}  # fmt: skip
        lid = mi.ScalarTransform4f().translate([x, y, high]).scale([radius, radius, 1])
        parts[f"{name}_{key}_lid"] = {"type": "disk", "to_world": lid, "surface": surface}
    arm = oriented_box(np.array([x, y, 0.0]), _turned_axes(8.0), np.array([-6.0, -160.0, 17.0]),
                       np.array([6.0, 9.0, 22.0]))  # fmt: skip
    put(parts, f"{name}_arm", arm, matte((0.55, 0.06, 0.03), 0.12))


def add_cover(parts: Parts, scene: HostileScene, part: hp.Cover, name: str) -> None:
    """A flat bar."""
    half = np.array(part.half)
    surface = metal_plain(0.8, part.gloss) if part.colour is None else matte(part.colour, part.gloss)
    put(parts, name, oriented_box(np.array(part.centre), _turned_axes(part.turn_deg), -half, half), surface)


def add_doubler(parts: Parts, scene: HostileScene, part: hp.Doubler, name: str) -> None:
    """A second sheet on plate A."""
    body = oriented_box(np.zeros(3), np.eye(3), np.array(part.low), np.array(part.high))
    put(parts, name, body, metal_plain(0.62, 0.3))
