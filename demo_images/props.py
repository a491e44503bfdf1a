"""Things that lie about: magnets on the strip, a toggle clamp's foot, feeler blades, a pencil, a marker."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import mitsuba as mi
import numpy as np
from geometry import Shape, box, lathe
from materials import matte, metal_plain
from scene import Scene

from fitup.scale import target_layout

__all__ = ["add_props"]

COATS = (matte((0.03, 0.03, 0.03), 0.15), matte((0.42, 0.03, 0.03), 0.12), metal_plain(0.8, 0.08))
ARMS = ((0.55, 0.06, 0.03), (0.05, 0.14, 0.38), (0.05, 0.05, 0.055))
Put = Callable[[dict[str, Any], str, Shape, dict[str, Any]], None]


def add_props(parts: dict[str, Any], scene: Scene, put: Put) -> None:
    """Add what the scene lists."""
    makers = {"magnets": _magnets, "clamp": _clamp, "blades": _blades, "pencil": _pencil, "marker": _marker}
    for name in scene.props:
        makers[name](parts, scene, put)


def _rod(start: tuple[float, float, float], end: tuple[float, float, float], radius: float) -> dict[str, Any]:
    return {"type": "cylinder", "p0": list(start), "p1": list(end), "radius": radius}


def _disc(
    parts: dict[str, Any],
    name: str,
    at: tuple[float, float, float],
    radius: float,
    height: float,
    surface: dict[str, Any],
) -> None:
    """An upright short cylinder with a lid."""
    top = (at[0], at[1], at[2] + height)
    parts[name] = _rod(at, top, radius) | {"surface": surface}
    turn = mi.ScalarTransform4f().translate(list(top)).scale([radius, radius, 1])
    parts[f"{name}_lid"] = {"type": "disk", "to_world": turn, "surface": surface}


def _magnets(parts: dict[str, Any], scene: Scene, _: Put) -> None:
    left, low, right, _top = target_layout(scene.strip).paper_box_mm
    coat = COATS[scene.joint.seed % len(COATS)]
    for k, (x, y) in enumerate(((left - 0.5, low + 8.5), (right + 0.5, low + 12.0))):
        _disc(parts, f"magnet{k}", (x, y, 0.1), 4.0, 4.0, coat)


def _clamp(parts: dict[str, Any], scene: Scene, put: Put) -> None:
    """A bar with a rubber foot that holds the far plate, coming in from the picture's edge."""
    y = scene.joint.offset_mm + 52.0
    x = 30.0 if scene.joint.seed % 2 else 168.0
    _disc(parts, "foot", (x, y, 0.0), 9.0, 9.0, matte((0.05, 0.05, 0.05), 0.4))
    _disc(parts, "spindle", (x, y, 9.0), 4.0, 26.0, metal_plain(0.8, 0.2))
    _disc(parts, "nut", (x, y, 15.0), 7.0, 5.0, metal_plain(0.75, 0.15))
    put(
        parts,
        "arm",
        box((x - 9, x + 9), (y - 12, y + 160), (24, 30)),
        matte(ARMS[scene.joint.seed // 2 % len(ARMS)], 0.12),
    )


def _turned(shape: Shape, angle_deg: float, at: tuple[float, float]) -> Shape:
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    points = shape.points.copy()
    points[:, :2] = points[:, :2] @ turn + at
    return Shape(points=points, faces=shape.faces, uv=shape.uv)


def _blades(parts: dict[str, Any], scene: Scene, put: Put) -> None:
    """A fan of feeler blades on the far plate."""
    y = scene.joint.offset_mm + 58.0
    for k, angle in enumerate((8, 17, 25, 36, 52)):
        blade = _turned(box((0, 88), (-6, 6), (0.2 + 0.5 * k, 0.5 + 0.5 * k)), angle - 14, (20.0, y))
        put(parts, f"blade{k}", blade, metal_plain(0.85 - 0.05 * k, 0.14))
    case = _turned(box((-40, 8), (-7.5, 7.5), (0.05, 4.2)), 14, (20.0, y))
    put(parts, "case", case, metal_plain(0.55, 0.22))
    _disc(parts, "pivot", (20.0, y, 0.1), 4.5, 5.2, metal_plain(0.8, 0.1))


def _pencil(parts: dict[str, Any], scene: Scene, put: Put) -> None:
    """A six-sided pencil, sharpened."""
    y = scene.joint.offset_mm + 46.0
    tip, end = np.array([112.0, y, 3.4]), np.array([262.0, y + 29.0, 3.4])
    for name, profile, sides, surface in (
        ("pencil", [(0.125, 3.2), (0.13, 3.6), (1, 3.6), (1, 0)], 6, matte((0.62, 0.30, 0.02), 0.1)),
        ("pencil_wood", [(0.03, 0.85), (0.128, 3.5)], 40, matte((0.55, 0.36, 0.19))),
        ("pencil_lead", [(0, 0.15), (0.03, 0.85)], 30, matte((0.035, 0.035, 0.037), 0.2)),
    ):
        put(parts, name, lathe(tip, end, np.array(profile, dtype=float), sides), surface)


def _marker(parts: dict[str, Any], scene: Scene, put: Put) -> None:
    """A marking-out pen with its cap off."""
    y = scene.joint.offset_mm + 44.0
    tip, end = np.array([48.0, y, 6.6]), np.array([176.0, y + 17.0, 6.6])
    for name, profile, surface in (
        (
            "barrel",
            [(0.12, 3.0), (0.16, 5.4), (0.3, 6.3), (0.97, 6.3), (1, 5.2), (1, 0)],
            matte((0.03, 0.03, 0.034), 0.12),
        ),
        ("band", [(0.42, 6.36), (0.8, 6.36)], matte((0.72, 0.72, 0.70), 0.2)),
        ("nib", [(0, 0.2), (0.015, 1.4), (0.05, 1.7), (0.12, 2.6)], matte((0.02, 0.02, 0.02))),
    ):
        put(parts, name, lathe(tip, end, np.array(profile, dtype=float)), surface)
