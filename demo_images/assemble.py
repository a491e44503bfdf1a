"""From a scene to what mitsuba renders, and to the truth beside the photo."""

from __future__ import annotations

from typing import Any

import mitsuba as mi
import numpy as np
from geometry import Joint, Shape, box, dome, plate_shapes, ribbon
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
from props import add_props
from scene import Scene

from fitup.scale import target_layout, target_raster

__all__ = ["build", "paper_patch_mm", "truth"]

PLATE_WIDTH_MM = 150.0
TEXTURE_PX_PER_MM = 32.0
GROUND_MM = {"trough": 26.0, "bench": 0.4, "backlit": 30.0}  # free height under the plates


def build(scene: Scene, detail: float) -> tuple[Any, dict[str, Any]]:
    """Give (mitsuba scene, its dictionary); `detail` < 1 coarsens the plates' textures for trials."""
    parts: dict[str, Any] = {"type": "scene", "light": workshop(3, **scene.light)}
    _add_plates(parts, scene, detail)
    _add_strip(parts, scene)
    _add_ground(parts, scene)
    _add_marks(parts, scene)
    _add_lamps(parts, scene)
    _add_photographer(parts, scene)
    add_props(parts, scene, put)
    return mi.load_dict(parts), parts


def put(parts: dict[str, Any], name: str, shape: Shape, material: Any) -> None:
    """Add a mesh with its material (a dictionary, or already made) to the scene's dictionary."""
    props = mi.Properties()
    props["surface"] = mi.load_dict(material) if isinstance(material, dict) else material
    props["face_normals"] = shape.normals is None
    mesh = mi.Mesh(
        name,
        vertex_count=len(shape.points),
        face_count=len(shape.faces),
        has_vertex_normals=shape.normals is not None,
        has_vertex_texcoords=True,
        props=props,
    )
    params = mi.traverse(mesh)
    params["vertex_positions"] = shape.points.astype(np.float32).ravel()
    params["faces"] = shape.faces.astype(np.uint32).ravel()
    params["vertex_texcoords"] = shape.uv.astype(np.float32).ravel()
    if shape.normals is not None:
        params["vertex_normals"] = shape.normals.astype(np.float32).ravel()
    params.update()
    parts[name] = mesh


def _add_plates(parts: dict[str, Any], scene: Scene, detail: float) -> None:
    joint = scene.joint
    for far in (False, True):
        shapes = plate_shapes(
            joint,
            far,
            PLATE_WIDTH_MM,
            scene.sheet_mm,
            scene.arris_mm,
            scene.burr_mm,
            TOP_UV_MM,
            TOP_ORIGIN_MM,
        )
        seed = 2 * joint.seed + int(far)
        tint = [(t.s, 0.0) for t in scene.tacks]
        top = plate_top(scene.finish, seed, detail, scene.dirt, tint)
        key = "far" if far else "near"
        put(parts, f"{key}_top", shapes["top"], top)
        put(parts, f"{key}_arris", shapes["arris"], metal_plain(0.93, 0.2))
        put(parts, f"{key}_face", shapes["face"], cut_face(scene.cut, seed))
        _add_plate_ends(parts, joint, far, scene.sheet_mm, key)
    for k, tack in enumerate(scene.tacks):
        near, far_n = joint.arrises(np.array(tack.s))
        centre = joint.world(np.array(tack.s), (near + far_n) / 2)
        put(parts, f"tack{k}", dome(centre, np.array(tack.half), np.random.default_rng([61, joint.seed, k])),
            metal_plain(0.7, 0.14))  # fmt: skip


def _add_plate_ends(parts: dict[str, Any], joint: Joint, far: bool, sheet_mm: float, key: str) -> None:
    """The two short sides of a plate, so that no light falls in between top and bottom."""
    side = 1.0 if far else -1.0
    for k, s in enumerate(joint.s_range):
        edge = joint.arrises(np.array(s))[1 if far else 0]
        n = np.array([edge, edge + side * PLATE_WIDTH_MM])
        xy = joint.world(np.full(2, s), n)
        points = np.array([[*xy[0], -0.04], [*xy[1], -0.04], [*xy[1], -sheet_mm], [*xy[0], -sheet_mm]])
        shape = Shape(points=points, faces=np.array([[0, 1, 2], [0, 2, 3]]), uv=np.zeros((4, 2)))
        put(parts, f"{key}_end{k}", shape, metal_plain(0.6, 0.3))


def _add_strip(parts: dict[str, Any], scene: Scene) -> None:
    layout = target_layout(scene.strip)
    raster = target_raster(layout, TEXTURE_PX_PER_MM)
    left, low, right, high = layout.paper_box_mm
    along, across = scene.print_factors
    x, y, z = (left * along, right * along), (low * across, high * across), layout.thickness_mm
    points = np.array([[x[0], y[1], z], [x[1], y[1], z], [x[1], y[0], z], [x[0], y[0], z]])
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    sheet = Shape(points=points, faces=np.array([[0, 2, 1], [0, 3, 2]]), uv=uv)
    put(parts, "strip", sheet, paper(raster.pixels, scene.strip))
    put(parts, "strip_body", box(x, y, (0.004, z - 0.002)), matte((0.75, 0.74, 0.70)))


def _add_ground(parts: dict[str, Any], scene: Scene) -> None:
    """What the plates lie on; the bench is one level, plates on bars when there is a trough."""
    free, joint = GROUND_MM[scene.below], scene.joint
    floor = -scene.sheet_mm - free
    flat = np.array(
        [[-350, -350, floor], [350, -350, floor], [350, 350, floor], [-350, 350, floor]], dtype=float
    )
    flat[:, :2] += [105, 0]
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    put(
        parts,
        "ground",
        Shape(points=flat, faces=np.array([[0, 1, 2], [0, 2, 3]]), uv=uv),
        bench(scene.bench, 5),
    )
    if scene.below == "bench":
        return
    for name, n0, n1 in (("near_bar", -60.0, -9.0), ("far_bar", 9.0, 60.0)):
        ends = joint.s_range[0] - 14.0, joint.s_range[1] + 14.0
        xy = joint.world(
            np.array([ends[0], ends[1], ends[1], ends[0]]), joint.offset_mm + np.array([n0, n0, n1, n1])
        )
        body = box((0, 1), (0, 1), (floor, -scene.sheet_mm - 0.02))
        weight = body.points[:, :1], body.points[:, 1:2]
        flat_xy = xy[0] + weight[0] * (xy[1] - xy[0]) + weight[1] * (xy[3] - xy[0])
        body.points[:, :2] = flat_xy
        put(parts, name, body, metal_plain(0.45, 0.35))
    if scene.below == "backlit":
        xy = joint.world(np.array([-80.0, 320, 320, -80]), joint.offset_mm + np.array([-7.0, -7, 7, 7]))
        points = np.column_stack((xy, np.full(4, floor + 3)))
        lit = {"type": "area", "radiance": {"type": "rgb", "value": [1.2, 1.22, 1.25]}}
        panel = Shape(points=points, faces=np.array([[0, 1, 2], [0, 2, 3]]), uv=uv)
        parts["panel"] = _emitter(panel, lit)


def _emitter(shape: Shape, light: dict[str, Any]) -> dict[str, Any]:
    """A flat four-cornered lamp."""
    p = shape.points
    middle, half_u, half_v = p.mean(0), (p[1] - p[0]) / 2, (p[3] - p[0]) / 2
    normal = np.cross(half_u, half_v)
    matrix = np.eye(4)
    matrix[:3] = np.column_stack((half_u, half_v, normal / np.linalg.norm(normal), middle))
    return {"type": "rectangle", "to_world": mi.ScalarTransform4f(matrix), "emitter": light}


def _add_marks(parts: dict[str, Any], scene: Scene) -> None:
    """Decoys beside the joint: a pen line not over the whole length, a bright scratch."""
    joint, rng = scene.joint, np.random.default_rng([67, scene.joint.seed])
    if "pen" in scene.marks:
        s = np.linspace(22, 171, 1500)
        hand = np.interp(s, s[::150], rng.normal(0, 0.03, len(s[::150])))
        width = 0.62 + 0.05 * np.interp(s, s[::90], rng.normal(0, 1, len(s[::90]))).clip(-1.5, 1.5)
        path = joint.world(s, joint.offset_mm + 8.5 + 0.006 * (s - 100) + hand)
        put(parts, "pen", ribbon(path, width, 0.003), matte((0.02, 0.02, 0.024)))
    if "scratch" in scene.marks:
        s = np.linspace(-14, 212, 2200)
        wander = np.interp(s, s[::220], rng.normal(0, 0.25, len(s[::220])))
        width = 0.10 + 0.03 * np.interp(s, s[::12], rng.normal(0, 1, len(s[::12]))).clip(-2, 2)
        path = joint.world(s, joint.offset_mm - 7.0 - 0.012 * (s - 100) + wander)
        put(parts, "scratch", ribbon(path, width, 0.004, 0.5), metal_plain(0.97, 0.12))


def _add_lamps(parts: dict[str, Any], scene: Scene) -> None:
    for k, (place, size, radiance) in enumerate(scene.lamps):
        aim = [100.0, scene.joint.offset_mm, 0.0]
        turn = mi.ScalarTransform4f().look_at(origin=list(place), target=aim, up=[0, 0, 1])
        light = {
            "type": "area",
            "radiance": {"type": "rgb", "value": [radiance, radiance * 0.93, radiance * 0.82]},
        }
        parts[f"lamp{k}"] = {
            "type": "rectangle",
            "to_world": turn @ mi.ScalarTransform4f().scale(size / 2),
            "emitter": light,
        }


def _add_photographer(parts: dict[str, Any], scene: Scene) -> None:
    """The phone, a hand and a head: what bare metal shows of whoever takes the photo."""
    eye = scene.camera.position_mm
    phone = box((eye[0] - 62, eye[0] + 85), (eye[1] - 36, eye[1] + 36), (eye[2] + 4, eye[2] + 12))
    put(parts, "phone", phone, matte((0.03, 0.03, 0.035), 0.1))
    hand = {"type": "sphere", "center": [eye[0] + 100, eye[1] - 20, eye[2] + 25], "radius": 42.0}
    head = {"type": "sphere", "center": [eye[0] + 20, eye[1] - 190, eye[2] + 260], "radius": 110.0}
    parts["hand"] = hand | {"surface": matte((0.45, 0.27, 0.19))}
    parts["head"] = head | {"surface": matte((0.25, 0.16, 0.12))}


def paper_patch_mm(scene: Scene) -> NDArray[np.float64]:
    """World points on plain white paper (right end margin), where exposure is set."""
    layout = target_layout(scene.strip)
    x, y = np.meshgrid(np.linspace(1.5, 5.5, 12) + layout.length_mm, np.linspace(-30, -4, 40))
    return np.stack(
        (x.ravel() * scene.print_factors[0], y.ravel(), np.full(x.size, layout.thickness_mm)), axis=-1
    )


def truth(scene: Scene, quality: int) -> dict[str, Any]:
    """The truth file's content; lengths in mm, target frame, s from the foot of the datum mark."""
    joint, layout = scene.joint, target_layout(scene.strip)
    s = np.arange(np.ceil(joint.s_range[0] * 2), np.floor(joint.s_range[1] * 2) + 1) / 2
    near, far = joint.arrises(s)
    centre = joint.world(s, (near + far) / 2)
    seen = scene.camera.project(np.column_stack((centre, np.zeros(len(s)))))
    size = np.array([scene.camera.width_px, scene.camera.height_px])
    hidden = ((seen < 4) | (seen > size - 5)).any(1)
    for tack in scene.tacks:
        hidden |= np.abs(s - tack.s) < tack.half[0] + 0.5
    return {
        "name": scene.name,
        "invented": True,
        "description": scene.description,
        "target": {
            "form": layout.name,
            "strip_number": scene.strip,
            "print_scale_along": scene.print_factors[0],
            "print_scale_across": scene.print_factors[1],
            "thickness_mm": layout.thickness_mm,
        },
        "joint": {"angle_deg": joint.angle_deg, "offset_mm": joint.offset_mm, "kind": "butt"},
        "sheet_mm": scene.sheet_mm,
        "wire": scene.wire,
        "finish": scene.finish,
        "below_the_gap": scene.below,
        "arris_radius_mm": scene.arris_mm,
        "burr_mm": scene.burr_mm,
        "hi_lo_mm": [round(float(v), 4) for v in joint.hi_lo(s)],
        "camera": scene.camera.truth(layout.thickness_mm)
        | {"picture": scene.picture.truth() | {"quality": quality}},
        "tacks_s_mm": [t.s for t in scene.tacks],
        "stations": {
            "s_mm": s.tolist(),
            "gap_mm": np.round(far - near, 5).tolist(),
            "near_xy_mm": np.round(joint.world(s, near), 4).tolist(),
            "far_xy_mm": np.round(joint.world(s, far), 4).tolist(),
            "hidden": hidden.tolist(),
        },
        "largest_gap_mm": round(float((far - near)[~hidden].max()), 4),
        "expected_verdict": scene.verdict,
        **scene.more,
    }
