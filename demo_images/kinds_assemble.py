"""From a scene of any joint kind to what mitsuba renders."""

from __future__ import annotations

from functools import cache
from typing import Any

import mitsuba as mi
import numpy as np
from assemble import TEXTURE_PX_PER_MM, put
from geometry import Shape
from kinds_mesh import oriented_box, plate_meshes, quad
from kinds_props import add_props, add_supports
from kinds_scene import KindScene
from materials import (
    TOP_ORIGIN_MM,
    TOP_UV_MM,
    bench,
    cut_face,
    matte,
    metal_plain,
    paper,
    plate_top,
    workshop,
)
from numpy.typing import NDArray

from fitup.scale import target_layout, target_raster

__all__ = ["build_kind", "kind_paper_patch_mm", "kind_parts"]

Floats = NDArray[np.float64]


def build_kind(scene: KindScene, detail: float) -> tuple[Any, dict[str, Any]]:
    """Give (mitsuba scene, its dictionary); `detail` < 1 coarsens the plates' textures for trials."""
    parts = kind_parts(scene, detail)
    return mi.load_dict(parts), parts


def kind_parts(scene: KindScene, detail: float) -> dict[str, Any]:
    """The scene's dictionary; whoever changes it loads it afterwards."""
    parts: dict[str, Any] = {"type": "scene", "light": _light(scene)}
    _add_plates(parts, scene, detail)
    for k in range(len(scene.targets)):
        _add_target(parts, scene, k)
    _add_ground(parts, scene)
    _add_lamps(parts, scene)
    _add_photographer(parts, scene)
    add_supports(parts, scene, put)
    add_props(parts, scene, put)
    return parts


def _upright(scene: KindScene) -> Any:
    """The turn that takes the workshop's z axis to the scene's `up`."""
    up = np.array(scene.up)
    axis = np.cross([0.0, 0.0, 1.0], up)
    if np.linalg.norm(axis) < 1e-9:
        return mi.ScalarTransform4f()
    return mi.ScalarTransform4f().rotate(axis.tolist(), float(np.degrees(np.arccos(up[2]))))


def _light(scene: KindScene) -> dict[str, Any]:
    room = workshop(3, **scene.light)
    return room | {"to_world": _upright(scene) @ room["to_world"]}


@cache
def _surface(
    finish: str, seed: int, detail: float, dirt: float, length_mm: float, welds: tuple[float, ...]
) -> Any:
    """A plate's face, kept: several photos may show the same plate."""
    size = np.array([length_mm, TOP_UV_MM[1]])
    return mi.load_dict(plate_top(finish, seed, detail, dirt, [(x, 0.0) for x in welds], size))


@cache
def _print(strip: int, form: str) -> Any:
    """A target's printed paper, kept likewise."""
    layout = target_layout(strip, form)
    px_per_mm = TEXTURE_PX_PER_MM if layout.length_mm < 250 else TEXTURE_PX_PER_MM / 2
    return mi.load_dict(paper(target_raster(layout, px_per_mm).pixels, strip))


def _add_plates(parts: dict[str, Any], scene: KindScene, detail: float) -> None:
    joint = scene.joint
    uv = np.array([scene.texture_mm, TOP_UV_MM[1]])
    for k, plate in enumerate(joint.plates):
        seed = 2 * joint.seed + k
        shapes = plate_meshes(plate, joint.mesh_x, scene.arris_mm, uv, TOP_ORIGIN_MM)
        surfaces = {
            "top": _surface(scene.finish[k], seed, detail, scene.dirt, scene.texture_mm, scene.welds_mm),
            "arris": metal_plain(0.93, 0.2),
            "face": cut_face(scene.cut, seed),
            "inner": metal_plain(0.85, 0.22),
        }
        for name, shape in shapes.items():
            put(parts, f"{plate.key}_{name}", shape, surfaces.get(name, metal_plain(0.6, 0.3)))


def _add_target(parts: dict[str, Any], scene: KindScene, k: int) -> None:
    """The printed paper; z = 0 of its frame is the printed face."""
    target = scene.targets[k]
    layout, frame = target.layout, target.frame(scene.joint)
    left, low, right, high = layout.paper_box_mm
    along, across = target.print_factors
    x, y = (left * along, right * along), (low * across, high * across)
    corners = np.array([[x[0], y[1], 0], [x[1], y[1], 0], [x[1], y[0], 0], [x[0], y[0], 0]])
    sheet = quad(frame.world(corners))
    faces = np.array([[0, 2, 1], [0, 3, 2]])
    put(
        parts,
        f"strip{k}",
        Shape(points=sheet.points, faces=faces, uv=sheet.uv),
        _print(target.strip, target.form),
    )
    body = oriented_box(
        frame.origin,
        frame.axes,
        np.array([x[0], y[0], -layout.thickness_mm + 0.004]),
        np.array([x[1], y[1], -0.002]),
    )
    put(parts, f"strip_body{k}", body, matte((0.75, 0.74, 0.70)))


def _add_ground(parts: dict[str, Any], scene: KindScene) -> None:
    up = np.array(scene.up)
    side = np.array([1.0, 0.0, 0.0])
    deep = np.cross(up, side)
    x0, x1 = scene.joint.x_range
    middle = np.array([(x0 + x1) / 2, 0.0, 0.0]) - scene.ground_mm * up
    size = 450.0 + max(0.0, (x1 - x0) / 2 - 200.0)
    corners = [middle + size * (i * side + j * deep) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    put(parts, "ground", quad(np.array(corners)), bench(scene.bench, 5))


def _add_lamps(parts: dict[str, Any], scene: KindScene) -> None:
    for k, (place, size, radiance) in enumerate(scene.lamps):
        turn = mi.ScalarTransform4f().look_at(
            origin=list(place), target=list(scene.lamp_aim), up=[0.97, 0.1, 0.21]
        )
        colour = [radiance, radiance * 0.93, radiance * 0.82]
        parts[f"lamp{k}"] = {
            "type": "rectangle",
            "to_world": turn @ mi.ScalarTransform4f().scale(size / 2),
            "emitter": {"type": "area", "radiance": {"type": "rgb", "value": colour}},
        }


def _add_photographer(parts: dict[str, Any], scene: KindScene) -> None:
    """The phone, a hand and a head behind it: what bare metal shows of whoever takes the photo."""
    camera = scene.camera
    place, axes, up = camera.position_mm, camera.rotation, np.array(scene.up)
    phone = oriented_box(place, axes, np.array([-62.0, -36.0, -12.0]), np.array([85.0, 36.0, -4.0]))
    put(parts, "phone", phone, matte((0.03, 0.03, 0.035), 0.1))
    hand = place + np.array([100.0, 20.0, -25.0]) @ axes
    head = place - 230.0 * axes[2] + 120.0 * up
    parts["hand"] = _ball(hand, 42.0) | {"surface": matte((0.45, 0.27, 0.19))}
    parts["head"] = _ball(head, 110.0) | {"surface": matte((0.25, 0.16, 0.12))}


def _ball(centre: Floats, radius: float) -> dict[str, Any]:
    return {"type": "sphere", "center": centre.tolist(), "radius": radius}


def kind_paper_patch_mm(scene: KindScene) -> Floats:
    """World points on plain white paper (the first target's end margin), where exposure is set."""
    target = scene.targets[0]
    layout = target_layout(target.strip, target.form)
    _, low, right, _ = layout.paper_box_mm
    if layout.length_mm > 250:  # a lens board may fill the picture: the rims of its white squares
        row, column = layout.marker_squares.T
        x, y = column * layout.pitch_mm + 1.5, -(row + np.linspace(0.2, 0.8, 12)[:, None]) * layout.pitch_mm
        x, y = np.broadcast_arrays(x, y)
    else:
        y = np.linspace(max(low + 6.0, -30.0), -4.0, 40)
        x, y = np.meshgrid(np.linspace(layout.length_mm + 1.5, right - 2.5, 12), y)
    flat = np.stack((x.ravel() * target.print_factors[0], y.ravel(), np.zeros(x.size)), axis=-1)
    return target.frame(scene.joint).world(flat)
