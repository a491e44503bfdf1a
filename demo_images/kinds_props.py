"""What holds the plates of a joint of any kind, and what lies about."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import mitsuba as mi
import numpy as np
from geometry import Shape, lathe
from kinds_mesh import oriented_box
from kinds_scene import KindScene
from materials import matte, metal_plain
from numpy.typing import NDArray

__all__ = ["add_props", "add_supports"]

Floats = NDArray[np.float64]
Put = Callable[[dict[str, Any], str, Shape, dict[str, Any]], None]
WORLD = np.eye(3)


def add_supports(parts: dict[str, Any], scene: KindScene, put: Put) -> None:
    """Bars under the plates, magnet blocks behind a standing one."""
    joint = scene.joint
    x0, x1 = joint.x_range
    t = joint.sheet_mm
    bars: list[tuple[list[float], list[float]]] = []
    if joint.kind.startswith("corner-") and joint.kind != "corner-inside":
        bars = [([x0 - 8, -140, -t - 12], [x1 + 8, -16, -t - 0.02])]
    elif joint.kind in ("tee", "corner-inside"):
        if scene.backing:
            bars = [([x0 - 8, -75, -t - 48], [x1 + 8, -1.6, -t - 0.05])]
        else:
            spots = np.linspace(x0 + 45, x1 - 45, 3)
            bars = [([x - 16, -75, -t - 48], [x + 16, -1.6, -t - 0.05]) for x in spots]
    elif joint.kind in ("butt", "seam"):
        floor = -scene.ground_mm
        bars = [
            ([x0 - 8, -60, floor], [x1 + 8, -9, -t - 0.02]),
            ([x0 - 8, 9, floor], [x1 + 8, 60, -t - 0.02]),
        ]
    elif joint.kind in ("edge", "lap"):
        deep = joint.plates[1].arris[:, 1].min() - joint.other_mm
        bars = [([x0 - 8, -140, -scene.ground_mm], [x1 + 8, -18, deep - 0.05])]
        if joint.kind == "lap":
            bars.append(([x0 - 8, 20, -scene.ground_mm], [x1 + 8, 120, deep - 0.05]))
            bars.append(([x0 - 8, -140, deep - 0.03], [x1 + 8, -42, -t - 0.02]))
    for k, (low, high) in enumerate(bars):
        put(
            parts,
            f"bar{k}",
            oriented_box(np.zeros(3), WORLD, np.array(low), np.array(high)),
            metal_plain(0.45, 0.35),
        )


def add_props(parts: dict[str, Any], scene: KindScene, put: Put) -> None:
    """Add what the scene lists."""
    makers = {"magnets": _magnets, "pencil": _pencil, "clamps": _clamps}
    for name in scene.props:
        makers[name](parts, scene, put)


def _rod(name: str, parts: dict[str, Any], start: Floats, end: Floats, radius: float, surface: Any) -> None:
    """A cylinder with a lid at its end."""
    parts[name] = {"type": "cylinder", "p0": start.tolist(), "p1": end.tolist(), "radius": radius,
                   "surface": surface}  # fmt: skip
    axis = (end - start) / np.linalg.norm(end - start)
    side = np.cross(axis, [0.31, 0.22, 0.93])
    side /= np.linalg.norm(side)
    matrix = np.eye(4)
    matrix[:3] = np.column_stack((radius * side, radius * np.cross(axis, side), axis, end))
    parts[f"{name}_lid"] = {"type": "disk", "to_world": mi.ScalarTransform4f(matrix), "surface": surface}


def _magnets(parts: dict[str, Any], scene: KindScene, _: Put) -> None:
    """Two round magnets on every strip's paper ends."""
    coats = (matte((0.03, 0.03, 0.03), 0.15), matte((0.42, 0.03, 0.03), 0.12), metal_plain(0.8, 0.08))
    for n, target in enumerate(scene.targets):
        frame = target.frame(scene.joint)
        left, low, right, _top = target.layout.paper_box_mm
        for k, (x, y) in enumerate(((left + 1.0, low + 8.5), (right - 0.5, low + 12.0))):
            foot, top = frame.world(np.array([[x, y, 0.0], [x, y, 4.0]]))
            _rod(f"magnet{n}{k}", parts, foot, top, 4.0, coats[(scene.joint.seed + n) % 3])


def _pencil(parts: dict[str, Any], scene: KindScene, put: Put) -> None:
    """A six-sided pencil on the plate beyond the joint (or on the base)."""
    plate = scene.joint.plates[-1]
    up, into = np.r_[0.0, plate.normal], np.r_[0.0, plate.into]
    start = np.r_[0.0, plate.arris.mean(0)] + 3.45 * up + (plate.dent_at_mm + 62.0) * into
    if plate.key == "base":
        start += 60.0 * into
    tip, end = start + 112.0 * WORLD[0], start + 255.0 * WORLD[0] + 24.0 * into
    for name, profile, sides, surface in (
        ("pencil", [(0.125, 3.2), (0.13, 3.6), (1, 3.6), (1, 0)], 6, matte((0.05, 0.16, 0.42), 0.1)),
        ("pencil_wood", [(0.03, 0.85), (0.128, 3.5)], 40, matte((0.55, 0.36, 0.19))),
        ("pencil_lead", [(0, 0.15), (0.03, 0.85)], 30, matte((0.035, 0.035, 0.037), 0.2)),
    ):
        put(parts, name, lathe(tip, end, np.array(profile, dtype=float), sides), surface)


def _clamps(parts: dict[str, Any], scene: KindScene, put: Put) -> None:
    """A clamp's foot and spindle on plate A, far from the joint, its arm running out of the picture."""
    x = scene.joint.x_range[0] + 70.0
    foot, up = np.array([x, -92.0, 0.0]), WORLD[2]
    _rod("foot", parts, foot, foot + 9.0 * up, 9.0, matte((0.05, 0.05, 0.05), 0.4))
    _rod("spindle", parts, foot + 9.0 * up, foot + 40.0 * up, 4.0, metal_plain(0.8, 0.2))
    _rod("nut", parts, foot + 15.0 * up, foot + 20.0 * up, 7.0, metal_plain(0.75, 0.15))
    arm = oriented_box(foot, WORLD, np.array([-9.0, -160.0, 26.0]), np.array([9.0, 12.0, 33.0]))
    put(parts, "arm", arm, matte((0.55, 0.06, 0.03), 0.12))
