"""Photos 23 to 29: tee joints, an inside corner, lap joints, an edge joint."""

from __future__ import annotations

from typing import Any

import numpy as np
from camera import Picture
from kinds_geometry import KindJoint
from kinds_scene import KindScene, TargetAt, eye, many
from scene import knots

__all__ = ["PLATES"]

EVEN = knots((-40, 0.28), (30, 0.34), (90, 0.22), (140, 0.30), (200, 0.20), (260, 0.27))
WIDER = knots((-40, 0.38), (40, 0.30), (100, 0.46), (170, 0.34), (260, 0.42))
STANDING: dict[str, Any] = {"up": (0.0, -1.0, 0.0), "ground_mm": 2.4}


def overhead(elevation_deg: float, radiance: float, x: float = 60.0) -> Any:
    """A lamp in front of a standing plate, elevation above the base."""
    e = np.radians(elevation_deg)
    return ((x, -520.0 * float(np.sin(e)), 520.0 * float(np.cos(e))), 160.0, radiance)


def tee(name: str, description: str, backing: bool) -> KindScene:
    """Joint J23, with a bar behind the standing plate or with light falling in from behind."""
    return KindScene(
        name=name,
        description=description,
        joint=KindJoint(
            kind="tee",
            gap=many(EVEN, (128, 18, 1.15, 2.5)),
            x_range=(-31, 241),
            seed=23,
            other_mm=2.0,
        ),
        targets=(TargetAt(strip=9, offset_mm=17.0, angle_deg=0.6),),
        camera=eye(-30.0, (103.0, -6.0, 0.0), distance_mm=209.0, roll_deg=180.8, slew_deg=2.0),
        picture=Picture(seed=23, blur_px=0.9),
        light={"turn_deg": 60, "windows": 0.15},
        lamps=(overhead(66.0, 9.0),),
        backing=backing,
        bytes_limit=1_100_000,
        **STANDING,
    )


PLATES: tuple[KindScene, ...] = (
    tee("23a_tee", "Joint J23: tee joint on a brushed base, light from above; opening near 128 mm.", True),
    tee(
        "23b_tee_open_behind",
        "Joint J23 again with nothing behind the standing plate: light falls through the slot from behind.",
        False,
    ),
    KindScene(
        name="24_tee_polished",
        description="Joint J24: tee joint on a polished base that mirrors the plate; opening near 60 mm.",
        joint=KindJoint(
            kind="tee",
            gap=many(WIDER, (60, 16, 1.25, 2.0)),
            x_range=(-60, 270),
            seed=24,
            other_mm=2.0,
        ),
        targets=(TargetAt(strip=10, offset_mm=19.0, angle_deg=-0.8),),
        camera=eye(-32.0, (103.0, -6.0, 0.0), distance_mm=209.0, roll_deg=179.2, slew_deg=-2.0),
        picture=Picture(seed=24, blur_px=1.0),
        finish=("along", "polished"),
        light={"turn_deg": 150, "windows": 0.3},
        lamps=(overhead(60.0, 7.0, 150.0),),
        **STANDING,
    ),
    KindScene(
        name="25_corner_inside_two",
        description="Joint J25: inside corner with a strip on each plate; gap 0.2 to 0.75 mm, no opening.",
        joint=KindJoint(
            kind="corner-inside",
            gap=knots((-40, 0.3), (40, 0.55), (105, 0.2), (165, 0.75), (260, 0.4)),
            x_range=(-60, 270),
            seed=25,
            other_mm=1.5,
        ),
        targets=(
            TargetAt(strip=1, offset_mm=18.0, angle_deg=0.4),
            TargetAt(strip=2, on="base", x_mm=209.0, offset_mm=20.0, angle_deg=0.7),
        ),
        camera=eye(-43.0, (104.0, -5.0, 4.0), distance_mm=207.0, roll_deg=180.0, slew_deg=1.0),
        picture=Picture(seed=25, blur_px=1.0),
        finish=("mill", "mill"),
        light={"turn_deg": 30, "windows": 0.2},
        lamps=(overhead(70.0, 8.0, 190.0),),
        **STANDING,
    ),
    KindScene(
        name="26_tee_on_base",
        description="Joint J26: tee joint, the strip lies on the base; opening near 75 mm.",
        joint=KindJoint(
            kind="tee",
            gap=many(WIDER, (135, 15, 1.05, 3.0)),
            x_range=(-30, 240),
            seed=26,
            other_mm=2.0,
        ),
        targets=(TargetAt(strip=3, on="base", x_mm=210.0, offset_mm=21.0, angle_deg=-0.5),),
        camera=eye(-50.0, (104.0, -5.0, 13.0), distance_mm=203.0, roll_deg=180.5, slew_deg=-2.0),
        picture=Picture(seed=26, blur_px=0.9),
        light={"turn_deg": 210, "windows": 0.2},
        bytes_limit=1_100_000,
        lamps=(overhead(74.0, 8.0, 40.0),),
        **STANDING,
    ),
    KindScene(
        name="27_lap",
        description="Joint J27: lap joint, strip on the upper sheet, at 50 degrees; opening near 142 mm.",
        joint=KindJoint(
            kind="lap",
            gap=many(lambda x: 0.24 + 0.0 * x, (142, 24, 1.15, 2.5), (52, 30, 0.5, 2.0)),
            x_range=(-30, 240),
            seed=27,
        ),
        targets=(TargetAt(strip=4, offset_mm=15.0, angle_deg=0.5),),
        camera=eye(50.0, (104.0, -6.0, -2.0), roll_deg=180.7, slew_deg=2.0),
        picture=Picture(seed=27, blur_px=0.9),
        bench="ply",
        ground_mm=30.0,
        props=("magnets", "pencil"),
        light={"turn_deg": 60},
    ),
    KindScene(
        name="28_lap_two",
        description="Joint J28: lap joint of 1.2 mm sheets, strips on both, gap 0.3 to 0.7 mm, no opening.",
        joint=KindJoint(
            kind="lap",
            gap=many(lambda x: 0.30 + 0.0 * x, (70, 34, 0.7, 2.0), (165, 26, 0.55, 2.0)),
            x_range=(-60, 270),
            seed=28,
            sheet_mm=1.2,
            other_mm=1.2,
        ),
        targets=(
            TargetAt(strip=5, offset_mm=17.0, angle_deg=-0.5),
            TargetAt(strip=6, on="lower", x_mm=208.0, offset_mm=24.0, angle_deg=0.6),
        ),
        camera=eye(48.0, (104.0, 2.0, -2.0), roll_deg=179.3, slew_deg=-1.0),
        picture=Picture(seed=28, blur_px=1.0),
        finish=("mill", "along"),
        bench="green",
        ground_mm=30.0,
        light={"turn_deg": 280},
    ),
    KindScene(
        name="29_edge",
        description="Joint J29: edge joint of two sheets face to face, at 55 degrees; opening near 95 mm.",
        joint=KindJoint(
            kind="edge",
            gap=many(EVEN, (95, 26, 1.05, 3.0)),
            x_range=(-31, 241),
            seed=29,
        ),
        targets=(TargetAt(strip=7, offset_mm=16.0, angle_deg=0.3),),
        camera=eye(55.0, (104.0, -5.0, -2.0), roll_deg=180.3, slew_deg=2.0),
        picture=Picture(seed=29, blur_px=0.9),
        bench="steel",
        ground_mm=32.0,
        light={"turn_deg": 100},
    ),
)
