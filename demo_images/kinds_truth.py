"""The truth beside a photo of any joint kind; lengths in mm in the first target's frame (see README.md)."""

from __future__ import annotations

from typing import Any

import numpy as np
from kinds_scene import KindScene, TargetAt
from numpy.typing import NDArray

__all__ = ["camera_truth", "kind_truth", "stations_of", "target_truth"]

Floats = NDArray[np.float64]
NAMES = {
    ("tee", "A"): "standing",
    ("corner-inside", "A"): "standing",
    ("lap", "A"): "upper",
}


def kind_truth(scene: KindScene, quality: int) -> dict[str, Any]:
    """The truth file's content."""
    joint, first = scene.joint, scene.targets[0]
    content: dict[str, Any] = {
        "name": scene.name,
        "invented": True,
        "description": scene.description,
        "target": target_truth(scene, first),
        "targets": [target_truth(scene, t) for t in scene.targets],
    }
    if joint.kind != "board":
        stations = stations_of(scene)
        frame, bounds = scene.first, joint.bounds(np.zeros(1))
        largest = float(np.array(stations["gap_mm"])[~np.array(stations["hidden"])].max())
        content |= {
            "joint": {
                "kind": joint.kind,
                "included_angle_deg": joint.included_deg if joint.kind.startswith("corner") else None,
                "target_on": NAMES.get((joint.kind, first.on), first.on),
                "angle_deg": first.angle_deg,
                "offset_mm": first.offset_mm,
                "set_in_mm": joint.set_in_mm if joint.kind == "corner-half-open" else None,
                "along": _turned(frame.axes, np.array([scene.along_sign, 0.0, 0.0])),
                "across": _turned(frame.axes, _sign(scene) * np.r_[0.0, bounds.across]),
                "out": _turned(frame.axes, np.r_[0.0, bounds.out]),
            },
            "sheet_mm": joint.sheet_mm,
            "other_sheet_mm": joint.other_mm,
            "wire": scene.wire,
            "finish": list(scene.finish),
            "arris_radius_mm": scene.arris_mm,
        }
    content["camera"] = camera_truth(scene) | {"picture": scene.picture.truth() | {"quality": quality}}
    if joint.kind != "board":
        content |= {
            "stations": stations,
            "largest_gap_mm": round(largest, 4),
            "expected_verdict": "re-fixture" if largest > float(scene.wire.removesuffix("mm")) else "within",
        }
    return content | scene.more


def _turned(axes: Floats, vector: Floats) -> list[float]:
    return [round(float(v), 9) for v in axes @ vector]


def _sign(scene: KindScene) -> float:
    """-1 where the first target lies on what bounds the opening as `far` for plate A."""
    return -1.0 if scene.targets[0].on in ("base", "lower", "B") else 1.0


def target_truth(scene: KindScene, target: TargetAt) -> dict[str, Any]:
    """Which target, how printed, and its pose: p_first = rotation @ p_this + origin."""
    first, frame = scene.first, target.frame(scene.joint)
    return {
        "form": target.form,
        "strip_number": target.strip,
        "on": NAMES.get((scene.joint.kind, target.on), target.on),
        "print_scale_along": target.print_factors[0],
        "print_scale_across": target.print_factors[1],
        "thickness_mm": target.layout.thickness_mm,
        "rotation_to_first": np.round(first.axes @ frame.axes.T, 9).tolist(),
        "origin_in_first_mm": np.round(first.local(frame.origin), 5).tolist(),
    }


def camera_truth(scene: KindScene) -> dict[str, Any]:
    """Pose in the first target's frame, camera matrix, distortion."""
    camera, first = scene.camera, scene.first
    rotation = camera.rotation @ first.axes.T
    return {
        "position_mm": first.local(camera.position_mm).tolist(),
        "rotation_target_to_camera": rotation.tolist(),
        "focal_px": camera.focal_px,
        "principal_point_px": list(camera.centre_px),
        **camera.lens_truth(),
        "size_px": [camera.width_px, camera.height_px],
        "f_number": camera.f_number,
        "focus_mm": camera.focus_mm or camera.distance_mm,
        "exif_orientation": 6 if camera.portrait else 1,
        "pixels_are": "as stored in the file, before the EXIF orientation",
        "tilt_deg": float(np.degrees(np.arccos(-rotation[2, 2]))),
    }


def stations_of(scene: KindScene, step_mm: float = 0.5) -> dict[str, Any]:
    """Stations along the joint, from the foot of the first target's datum mark."""
    joint, camera, first = scene.joint, scene.camera, scene.first
    sign, x0 = scene.along_sign, scene.targets[0].x_mm
    ends = sorted(sign * (np.array(joint.x_range) - x0))
    s = np.arange(np.ceil(ends[0] / step_mm), np.floor(ends[1] / step_mm) + 1) * step_mm
    bounds = joint.bounds(x0 + sign * s)
    near, far = (np.column_stack((x0 + sign * s, b)) for b in (bounds.near, bounds.far))
    seen = camera.project(np.stack((near, far)))
    size = np.array([camera.width_px, camera.height_px])
    hidden = ((seen < 4) | (seen > size - 5)).any((0, 2))
    keep = np.interp(np.arange(len(s)), np.flatnonzero(~hidden), np.flatnonzero(~hidden))
    inside = np.abs(keep - np.arange(len(s))) * step_mm <= 6.0  # a little beyond the picture's edges
    if _sign(scene) < 0:
        near, far = far, near
    content: dict[str, Any] = {
        "s_mm": s[inside].tolist(),
        "gap_mm": np.round(bounds.gap[inside], 5).tolist(),
        "near_xyz_mm": np.round(first.local(near[inside]), 4).tolist(),
        "far_xyz_mm": np.round(first.local(far[inside]), 4).tolist(),
        "step_mm": np.round(bounds.step[inside], 5).tolist(),
    }
    if bounds.land_near is not None and bounds.land_far is not None:
        content["land_near_mm"] = np.round(bounds.land_near[inside], 4).tolist()
        content["land_far_mm"] = np.round(bounds.land_far[inside], 4).tolist()
    content["hidden"] = hidden[inside].tolist()
    if scene.seam_start_mm is not None:
        content["seam_s_mm"] = np.round(x0 + sign * s[inside] - scene.seam_start_mm, 4).tolist()
    return content
