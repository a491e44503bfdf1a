"""From a hostile scene to what mitsuba renders, and to the truth beside the photo."""

from __future__ import annotations

from typing import Any

import cv2
import mitsuba as mi
import numpy as np
from assemble import TEXTURE_PX_PER_MM, put
from geometry import Shape, grid_shape
from hostile_makers import add_part
from hostile_scene import HostileScene, HostileTarget
from kinds_assemble import kind_parts
from kinds_mesh import oriented_box
from kinds_truth import kind_truth
from materials import matte, paper
from numpy.typing import NDArray

from fitup.scale import target_raster

__all__ = ["build_hostile", "hostile_paper_patch_mm", "hostile_truth"]

Floats = NDArray[np.float64]
SELF_MM = 0.35  # a ray that ends this close before its point has met the plate's own edge
FILLED_MM = 0.25
SCREEN_PX_MM = 0.066
PHONE_LOW, PHONE_HIGH = np.array([-13.0, -13.0, -12.0]), np.array([138.0, 60.0, -4.0])


def build_hostile(scene: HostileScene, detail: float, solid: bool = False) -> tuple[Any, dict[str, Any]]:
    """Give (mitsuba scene, its dictionary); `solid` leaves out what one sees through."""
    parts = kind_parts(scene, detail)
    parts["light"]["scale"] = scene.room
    if scene.bare:
        parts = {k: v for k, v in parts.items() if k != "ground" and not k.startswith("bar")}
    _set_photographer(parts, scene)
    for k, target in enumerate(scene.targets):
        if isinstance(target, HostileTarget) and (target.bend or target.made != "print"):
            del parts[f"strip{k}"], parts[f"strip_body{k}"]
            _add_odd_target(parts, scene, k, target)
    for k, part in enumerate(scene.parts):
        add_part(parts, scene, part, k)
    if solid:
        parts = {k: v for k, v in parts.items() if not k.startswith("clear")}
    return mi.load_dict(parts), parts


def _set_photographer(parts: dict[str, Any], scene: HostileScene) -> None:
    """So close, the lens in the phone's corner decides what bare metal shows of the phone."""
    camera = scene.camera
    body = oriented_box(camera.position_mm, camera.rotation, PHONE_LOW, PHONE_HIGH)
    put(parts, "phone", body, matte((0.03, 0.03, 0.035), 0.1))
    hand = camera.position_mm + np.array([150.0, 40.0, -20.0]) @ camera.rotation
    parts["hand"]["center"] = hand.tolist()


def _add_odd_target(parts: dict[str, Any], scene: HostileScene, k: int, target: HostileTarget) -> None:
    left, low, right, high = target.layout.paper_box_mm
    along, across = target.print_factors
    u, v = np.linspace(0, 1, 261), np.linspace(0, 1, 121)
    x, y = np.meshgrid((left + u * (right - left)) * along, (high + v * (low - high)) * across)
    flat = np.stack((x, y, np.zeros_like(x)), axis=-1).reshape(-1, 3)
    points = target.place(flat, scene.joint).reshape(*x.shape, 3)
    uv = np.stack(np.meshgrid(u, v), axis=-1)
    down, right_ = np.gradient(points, axis=0), np.gradient(points, axis=1)
    normals = np.cross(right_, -down)
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    face = grid_shape(points, uv, normals)
    if target.made == "screen":
        parts[f"strip{k}"] = _screen(face, target)
        frame = target.frame(scene.joint)
        body = oriented_box(
            frame.origin,
            frame.axes,
            np.array([left * along - 9.0, low * across - 6.0, -target.lift_mm + 0.3]),
            np.array([right * along + 26.0, high * across + 3.0, -0.05]),
        )
        put(parts, f"strip_body{k}", body, matte((0.012, 0.012, 0.014), 0.06))
    else:
        put(parts, f"strip{k}", face, _printed(target))


def _printed(target: HostileTarget) -> dict[str, Any]:
    raster = target_raster(target.layout, TEXTURE_PX_PER_MM).pixels
    if target.made == "copy":  # softened, toner greyer, specks of dirt from the copier's glass
        rng = np.random.default_rng([73, target.strip])
        raster = cv2.GaussianBlur(raster, (0, 0), 0.085 * TEXTURE_PX_PER_MM)
        raster = np.clip(22 + raster.astype(np.float32) * (0.985 - 22 / 255), 0, 255).astype(np.uint8)
        for x, y in (rng.uniform(0, 1, (90, 2)) * raster.shape[::-1]).astype(int):
            cv2.circle(raster, (int(x), int(y)), int(rng.integers(1, 4)), int(rng.integers(60, 190)), -1)
    return paper(raster, target.strip)


def _screen(face: Shape, target: HostileTarget) -> Any:
    """A lit screen: each of its pixels is a small square with dark seams between, tinted in three stripes."""
    factor = target.print_factors[0]
    raster = target_raster(target.layout, TEXTURE_PX_PER_MM).pixels.astype(np.float32) / 255
    size = np.array(raster.shape[::-1]) / TEXTURE_PX_PER_MM * factor
    shown = cv2.resize(
        raster, np.rint(size / SCREEN_PX_MM).astype(int).tolist(), interpolation=cv2.INTER_AREA
    )
    cell = np.zeros((6, 6, 3), dtype=np.float32)
    for channel in range(3):
        cell[:5, 2 * channel : 2 * channel + 2, channel] = 2.6
    light = (0.006 + 0.994 * shown)[..., None]
    tiled = np.kron(light, np.ones((6, 6, 1), dtype=np.float32)) * np.tile(cell, (*shown.shape, 1))
    upright = np.ascontiguousarray(tiled[::-1], dtype=np.float32)
    bitmap = {"type": "bitmap", "bitmap": mi.Bitmap(upright), "raw": True,
              "filter_type": "nearest", "wrap_mode": "clamp"}  # fmt: skip
    shape = {"type": "rectangle", "emitter": {"type": "area", "radiance": bitmap},
             "bsdf": matte((0.01, 0.01, 0.012), 0.04)}  # fmt: skip
    corner = face.points.reshape(121, 261, 3)[[0, 0, -1], [0, -1, 0]]
    half_u, half_v = (corner[1] - corner[0]) / 2, (corner[0] - corner[2]) / 2
    matrix = np.eye(4)
    normal = np.cross(half_u, half_v)
    middle = (corner[1] + corner[2]) / 2
    matrix[:3] = np.column_stack((half_u, half_v, normal / np.linalg.norm(normal), middle))
    return shape | {"to_world": mi.ScalarTransform4f(matrix)}


def hostile_paper_patch_mm(scene: HostileScene) -> Floats:
    """World points on plain white paper where exposure is set: the first target's right end."""
    target = scene.targets[0]
    layout = target.layout
    x, y = np.meshgrid(np.linspace(1.0, 5.0, 12) + layout.length_mm, np.linspace(-30, -4, 40))
    flat = np.stack((x.ravel() * target.print_factors[0], y.ravel() * target.print_factors[1],
                     np.zeros(x.size)), axis=-1)  # fmt: skip
    if isinstance(target, HostileTarget):
        return target.place(flat, scene.joint)
    return target.frame(scene.joint).world(flat)


def hostile_truth(scene: HostileScene, quality: int) -> dict[str, Any]:
    """The truth file's content: as for any joint kind, `hidden` also where a solid thing covers the gap."""
    content = kind_truth(scene, quality)
    stations = content["stations"]
    first = scene.first
    near, far = (first.world(np.array(stations[k])) for k in ("near_xyz_mm", "far_xyz_mm"))
    world, _ = build_hostile(scene, 0.05, solid=True)
    covered = _covered(world, scene, near) | _covered(world, scene, far)
    if scene.joint.kind == "butt":
        covered |= _filled(world, scene, near, far)
    hidden = np.array(stations["hidden"]) | covered
    x = near[:, 0]
    disturbed = np.any([(x >= a) & (x <= b) for a, b in scene.disturbed] or [np.zeros(len(x), bool)], axis=0)
    stations["hidden"], stations["disturbed"] = hidden.tolist(), disturbed.tolist()
    largest = float(np.array(stations["gap_mm"])[~hidden].max())
    content["largest_gap_mm"] = round(largest, 4)
    limit = float(scene.wire.removesuffix("mm"))
    content["expected_verdict"] = "re-fixture" if largest > limit else "within"
    content["factor"] = scene.factor
    content["expected"] = {"words": scene.expected, "verdicts": list(scene.verdicts)}
    for place, target in zip(content["targets"], scene.targets, strict=True):
        if isinstance(target, HostileTarget):
            place |= {"made": target.made, "lift_mm": target.lift_mm, "bent": target.bend is not None}
    return content


def _covered(world: Any, scene: HostileScene, points: Floats) -> NDArray[np.bool_]:
    """Whether something stands between the lens and each point (N, 3)."""
    reach, hit = _hits(world, scene, points)
    return np.asarray(hit < reach - SELF_MM)


def _filled(world: Any, scene: HostileScene, near: Floats, far: Floats) -> NDArray[np.bool_]:
    """Whether the gap is packed from edge to edge, less than FILLED_MM below its edges."""
    packed = np.ones(len(near), dtype=bool)
    for share in (0.1, 0.5, 0.9):
        reach, hit = _hits(world, scene, near + share * (far - near))
        packed &= hit < reach + FILLED_MM
    return packed


def _hits(world: Any, scene: HostileScene, points: Floats) -> tuple[Floats, Floats]:
    """How far each point (N, 3) is from the lens, and how far the light comes that falls in from there."""
    eye = scene.camera.position_mm
    way = points - eye
    reach = np.linalg.norm(way, axis=1)
    ray = mi.Ray3f(mi.Point3f(*(np.full(len(way), v) for v in eye)), mi.Vector3f(*(way / reach[:, None]).T))
    return reach, np.array(world.ray_intersect_preliminary(ray).t, dtype=float)
