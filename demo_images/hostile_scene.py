"""Photos of what a shop does to a photo: a joint scene with what disturbs it and what must come of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from kinds_geometry import KindJoint
from kinds_scene import Frame, KindScene, TargetAt
from numpy.typing import NDArray
from phones import N1, LensCamera

__all__ = ["Bend", "HostileScene", "HostileTarget", "near_eye"]

Floats = NDArray[np.float64]
STEP_MM = 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class Bend:
    """Paper bent without stretching: `slope` (rad) over the way t (mm) along `direction_deg` of its x axis.

    Where t = 0 the paper keeps its place; its lowest point within `reach_mm` touches the plate, or with
    `hang` the place at t = 0 does.
    """

    slope: Callable[[Floats], Floats]
    direction_deg: float = 0.0
    reach_mm: float = 80.0
    hang: bool = False

    def lifted(self, points: Floats) -> Floats:
        """Points (N, 3) of the flat print to where the bent paper holds them, in the target's frame."""
        a = np.radians(self.direction_deg)
        along, across = np.array([np.cos(a), np.sin(a), 0.0]), np.array([-np.sin(a), np.cos(a), 0.0])
        t = np.arange(-self.reach_mm, self.reach_mm + STEP_MM, STEP_MM)
        slope = self.slope(t)
        way, rise = np.cumsum(np.cos(slope)) * STEP_MM, np.cumsum(np.sin(slope)) * STEP_MM
        way -= np.interp(0.0, t, way)
        rise -= np.interp(0.0, t, rise) if self.hang else rise.min()
        at = points @ along
        flat = np.interp(at, t, way)[:, None] * along + (points @ across)[:, None] * across
        return np.asarray(flat + (points[:, 2] + np.interp(at, t, rise))[:, None] * np.array([0, 0, 1.0]))


@dataclass(frozen=True, kw_only=True)
class HostileTarget(TargetAt):
    """A target that lies badly or is none: lifted off the plate, bent, copied, shown on a screen."""

    form: str = "strip-8x5"
    lift_mm: float = 0.0
    bend: Bend | None = None
    made: str = "print"  # "print", "copy", "screen"

    def frame(self, joint: KindJoint) -> Frame:
        """Where the flat target would lie."""
        flat = super().frame(joint)
        return Frame(origin=flat.origin + self.lift_mm * flat.axes[2], axes=flat.axes)

    def place(self, points: Floats, joint: KindJoint) -> Floats:
        """Points (N, 3) of the flat print in the world."""
        return self.frame(joint).world(points if self.bend is None else self.bend.lifted(points))


@dataclass(frozen=True, kw_only=True, eq=False)
class HostileScene(KindScene):
    """One scene with what disturbs it (`parts`, see hostile_parts.py).

    `linear_of` names the scene whose linear light is developed, where only the camera differs.
    `disturbed` = ranges of x (mm) in which something other than the joint's own look lies on the gap.
    `verdicts` = what the program may say of it; `expected` says so in words.
    """

    factor: str
    expected: str
    verdicts: tuple[str, ...]
    parts: tuple[Any, ...] = ()
    disturbed: tuple[tuple[float, float], ...] = ()
    linear_of: str | None = None
    room: float = 1.0  # brightness of the workshop's light
    bare: bool = False  # nothing lies under the plates
    folder: str = "hostile"
    texture_mm: float = 180.0
    ground_mm: float = 27.5
    bytes_limit: int = 178_000


def near_eye(
    tilt_deg: float = 0.0, aim: tuple[float, float, float] = (26.0, -20.0, 0.0), **changes: Any
) -> LensCamera:
    """The phone N1 set to small pictures, some 10 cm off, leaning by tilt_deg from plate A's normal."""
    small: dict[str, Any] = {"width_px": 2016, "height_px": 1512, "distance_mm": 98.0}
    return LensCamera(**({"aim_xyz_mm": aim, "tilt_deg": tilt_deg} | N1 | small | changes))
