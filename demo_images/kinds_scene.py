"""What makes a photo of a joint of any kind: the joint, the targets on its plates, the camera, the light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from camera import Picture
from kinds_geometry import KindJoint
from numpy.typing import NDArray
from phones import N1, LensCamera

from fitup.scale import TargetLayout, target_layout

__all__ = ["Frame", "KindScene", "TargetAt", "eye", "many"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Frame:
    """A target's place in the world: origin (3,) = datum mark on the paper's face, axes (3, 3) in rows."""

    origin: Floats
    axes: Floats

    def world(self, points: Floats) -> Floats:
        """Target coordinates (..., 3) to the world's."""
        return self.origin + np.asarray(points) @ self.axes

    def local(self, points: Floats) -> Floats:
        """World coordinates (..., 3) to the target's."""
        return np.asarray((np.asarray(points) - self.origin) @ self.axes.T)


@dataclass(frozen=True, kw_only=True)
class TargetAt:
    """A target on plate `on`, its datum mark offset_mm from the joint at the foot x_mm, turned by angle_deg.

    angle_deg is the joint's direction in the target's frame, as for the butt joints.
    """

    strip: int
    on: str = "A"
    x_mm: float = 0.0
    offset_mm: float = 18.0
    angle_deg: float = 0.0
    form: str = "strip-30x5"
    print_factors: tuple[float, float] = (1.0, 1.0)

    @property
    def layout(self) -> TargetLayout:
        """The printed target."""
        return target_layout(self.strip, self.form)

    def frame(self, joint: KindJoint) -> Frame:
        """Place it: y of the target runs against the plate's `into`, z along its normal."""
        plate = joint.plate(self.on)
        towards, up = np.r_[0.0, -plate.into], np.r_[0.0, plate.normal]
        along = np.cross(towards, up)
        turn = np.radians(self.angle_deg)
        axes = np.stack(
            (
                np.cos(turn) * along - np.sin(turn) * towards,
                np.sin(turn) * along + np.cos(turn) * towards,
                up,
            )
        )
        foot = np.r_[self.x_mm, _joint_foot(joint, self.on)]
        origin = foot - self.offset_mm * towards + self.layout.thickness_mm * up
        return Frame(origin=origin, axes=axes)


def _joint_foot(joint: KindJoint, on: str) -> Floats:
    """(y, z) of the joint's line on a plate's face: its mean outer arris, or where plate A meets it."""
    plate = joint.plate(on)
    if on == "base":
        return np.zeros(2)
    if on == "lower":
        return np.array([0.0, plate.arris[:, 1].mean()])
    return np.asarray(plate.arris.mean(0))


@dataclass(frozen=True, kw_only=True, eq=False)
class KindScene:
    """Everything that makes one photo; `up` = the direction against gravity in the world."""

    name: str
    description: str
    joint: KindJoint
    targets: tuple[TargetAt, ...]
    camera: LensCamera
    picture: Picture
    folder: str = "kinds"
    wire: str = "0.9mm"
    finish: tuple[str, str] = ("along", "along")
    cut: str = "laser"
    bench: str = "steel"
    arris_mm: float = 0.05
    dirt: float = 1.0
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    ground_mm: float = 120.0  # how far below the world's origin the bench lies
    props: tuple[str, ...] = ("magnets",)
    light: dict[str, float] = field(default_factory=dict)
    lamps: tuple[tuple[tuple[float, float, float], float, float], ...] = ()  # (place, size mm, radiance)
    lamp_aim: tuple[float, float, float] = (100.0, 0.0, 0.0)
    taken_at: str = "2026:05:18 09:14:22"
    bytes_limit: int = 1_300_000
    backing: bool = True  # a bar along the whole joint behind a standing plate; else three magnet blocks
    seam_start_mm: float | None = None  # x of the foot of the first datum mark of a seam in several photos
    texture_mm: float = 360.0  # how soon the plates' surface repeats along the joint
    welds_mm: tuple[float, ...] = ()  # x of welds whose temper colours the plates show
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def first(self) -> Frame:
        """The first target's place."""
        return self.targets[0].frame(self.joint)

    @property
    def along_sign(self) -> float:
        """+1 if s runs with the world's x, -1 if against."""
        return float(np.sign(self.first.axes[0, 0]))


def eye(tilt_deg: float, aim: tuple[float, float, float], **changes: Any) -> LensCamera:
    """The phone N1 some 21 cm off, leaning by tilt_deg from plate A's normal, with `changes`."""
    return LensCamera(**({"aim_xyz_mm": aim, "tilt_deg": tilt_deg, "distance_mm": 212.0} | N1 | changes))


def many(
    base: Callable[[Floats], Floats], *bumps: tuple[float, float, float, float]
) -> Callable[[Floats], Floats]:
    """`base` opened at several places: (x, full width at half height, top, power)."""

    def run(x: Floats) -> Floats:
        value = np.asarray(base(x), dtype=float)
        for at, width, top, power in bumps:
            lift = top - float(base(np.array(at)))
            value = value + lift * 0.5 ** (np.abs(2 * (x - at) / width) ** power)
        return value

    return run
