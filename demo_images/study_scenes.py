"""The gauge study's photos: eight joints, three invented phones, three repeats, all light and poses new.

All parts are of one drawing: butt joints of 1.5 mm sheets, open by 0.2 to 1.3 mm, about even along the joint
but for their edges' waviness and a slight swell. Whoever takes a photo lays the strip anew, its datum mark at
a mark on the part, and reads the mean gap over a marked place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from camera import Picture
from hostile_scene import HostileScene, HostileTarget
from kinds_geometry import KindJoint
from phones import LensCamera
from scene import knots

__all__ = ["PART_GAPS_MM", "PHONES", "PLACE_MM", "REPEATS", "STUDY", "StudyScene"]

SEED = 7
PART_GAPS_MM = (0.20, 0.34, 0.48, 0.62, 0.78, 0.94, 1.12, 1.30)
REPEATS = 3
PLACE_MM = (22.0, 32.0)  # the marked place: s from the foot of the datum mark
LAID_MM = 0.25  # how well the datum mark is laid to the part's mark, standard uncertainty
FINISHES = ("along", "mill", "along", "across", "mill", "along", "across", "mill")
BENCHES = ("steel", "green", "ply", "rubber")


@dataclass(frozen=True, kw_only=True)
class Phone:
    """A phone: its lens and sensor, the distance it is held at, and what it makes of the light."""

    name: str
    camera: dict[str, Any]
    distance_mm: float
    picture: dict[str, Any]


PHONES: tuple[Phone, ...] = (
    Phone(
        name="N1",
        camera={"model": "N1", "focal_mm": 5.6, "focal_35mm": 26, "width_px": 2016, "height_px": 1512,
                "f_number": 2.2, "distortion": 0.0008},
        distance_mm=98.0,
        picture={"blur_px": 0.9, "s_curve": 0.25, "sharpen": 0.45, "photons": 9000.0, "quality": 92},
    ),
    Phone(
        name="N2",
        camera={"model": "N2", "focal_mm": 6.2, "focal_35mm": 27, "width_px": 1824, "height_px": 1368,
                "f_number": 1.9, "distortion": -0.0012},
        distance_mm=104.0,
        picture={"blur_px": 1.1, "s_curve": 0.4, "sharpen": 0.7, "sharpen_radius_px": 1.4, "photons": 6000.0,
                 "paper_level": 0.6, "white_balance": (1.05, 1.0, 0.95), "quality": 88},
    ),
    Phone(
        name="W5",
        camera={"make": "Moorbirke", "model": "W5", "focal_mm": 4.2, "focal_35mm": 22, "width_px": 2304,
                "height_px": 1728, "f_number": 2.2, "distortion": -0.0035, "margin_px": 12},
        distance_mm=84.0,
        picture={"blur_px": 1.2, "corner_blur_px": 1.2, "vignetting": 0.28, "s_curve": 0.12, "sharpen": 0.3,
                 "photons": 4500.0, "noise_grain_px": 0.8, "paper_level": 0.72,
                 "white_balance": (0.97, 1.0, 1.04), "quality": 90},
    ),
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class StudyScene(HostileScene):
    """One photo of the study: which part, whose phone, which repeat (from 1)."""

    part: int
    phone: str
    repeat: int


def _joint(part: int) -> KindJoint:
    """The part's joint, the same in all its photos."""
    rng = np.random.default_rng([SEED, part])
    gap = PART_GAPS_MM[part - 1]
    at = np.array([-50.0, -10.0, 15.0, 40.0, 70.0, 105.0])
    swell = gap * (1 + rng.uniform(-0.07, 0.07, len(at)))
    return KindJoint(
        kind="butt",
        gap=knots(*zip(at.tolist(), swell.tolist(), strict=True)),
        x_range=(-58.0, 108.0),
        seed=400 + part,
        width_mm=110.0,
        waviness_um=float(rng.uniform(5.0, 10.0)),
    )


def _scene(part: int, joint: KindJoint, phone: Phone, repeat: int, count: int) -> StudyScene:
    rng = np.random.default_rng([SEED, part, *phone.name.encode(), repeat])
    camera = LensCamera(
        aim_xyz_mm=(27.0 + float(rng.uniform(-2, 2)), -19.0 + float(rng.uniform(-2, 2)), 0.0),
        tilt_deg=float(rng.uniform(-6, 6)),
        slew_deg=float(rng.uniform(-5, 5)),
        roll_deg=float(rng.uniform(-2.5, 2.5)),
        **(phone.camera | {"distance_mm": phone.distance_mm * float(rng.uniform(0.96, 1.06))}),
    )
    laid = HostileTarget(
        strip=20 + part,
        x_mm=float(rng.normal(0, LAID_MM)),
        offset_mm=float(rng.uniform(16.5, 20.0)),
        angle_deg=float(rng.uniform(-1.0, 1.0)),
    )
    return StudyScene(
        name=f"p{part}_{phone.name}_{repeat}",
        description=f"Part {part} of the gauge study through the phone {phone.name}, repeat {repeat}.",
        factor="study",
        expected="the reading of the marked place repeats",
        verdicts=("within", "re-fixture", "gauge"),
        joint=joint,
        targets=(laid,),
        camera=camera,
        picture=Picture(seed=4000 + count, **phone.picture),
        finish=(FINISHES[part - 1],) * 2,
        arris_mm=0.03 + 0.006 * part,
        bench=str(rng.choice(BENCHES)),
        light={
            "turn_deg": float(rng.uniform(0, 360)),
            "tubes": float(rng.uniform(0.6, 1.2)),
            "windows": float(rng.uniform(0.3, 1.0)),
        },
        taken_at=f"2026:06:{22 + repeat:02d} {8 + part:02d}:{(count * 7) % 60:02d}:{(count * 23) % 60:02d}",
        folder="study",
        bytes_limit=520_000,
        part=part,
        phone=phone.name,
        repeat=repeat,
    )


def _all() -> tuple[StudyScene, ...]:
    joints = {part: _joint(part) for part in range(1, len(PART_GAPS_MM) + 1)}
    keys = [(part, phone, k + 1) for part in joints for phone in PHONES for k in range(REPEATS)]
    return tuple(_scene(part, joints[part], phone, k, n) for n, (part, phone, k) in enumerate(keys))


STUDY: tuple[StudyScene, ...] = _all()
