"""Photos 01 to 06: shapes of the gap, in good light."""

from __future__ import annotations

import numpy as np
from camera import Picture
from geometry import Joint
from scene import Scene, bump, knots, view

__all__ = ["SHAPES"]

EVEN = knots((-40, 0.22), (30, 0.27), (90, 0.19), (140, 0.26), (200, 0.17), (260, 0.24))
UNEVEN = knots((-40, 0.33), (40, 0.26), (100, 0.36), (170, 0.28), (260, 0.36))


SHAPES: tuple[Scene, ...] = (
    Scene(
        name="01_good_fit",
        description="Joint J1: sheared 1.5 mm sheets brushed along the joint, well fitted.",
        joint=Joint(angle_deg=0.6, offset_mm=17.0, gap=EVEN, s_range=(-31, 243), seed=1),
        camera=view(2.0, lean_y_deg=-4.0, roll_deg=0.7),
        picture=Picture(seed=1),
        props=("clamp", "magnets"),
        taken_at="2026:05:11 09:14:22",
    ),
    Scene(
        name="02_one_opening",
        description="Joint J2: one opening to 1.2 mm at about 118 mm, 25 mm long; wire 0.9 mm.",
        joint=Joint(
            angle_deg=-1.1, offset_mm=19.0, gap=bump(UNEVEN, 118, 25, 1.2), s_range=(-60, 300), seed=2
        ),
        camera=view(4.0, lean_x_deg=-3.0, lean_y_deg=2.0, roll_deg=-1.2, distance_mm=222.0),
        picture=Picture(seed=2, blur_px=0.9, s_curve=0.35),
        verdict="re-fixture",
        strip=2,
        light={"turn_deg": 40},
        props=("blades", "magnets"),
        taken_at="2026:05:11 09:21:05",
    ),
    Scene(
        name="03_short_opening",
        description="Joint J3: an opening of some 4 mm length just over the wire's diameter near 151 mm.",
        joint=Joint(
            angle_deg=0.9, offset_mm=15.0, gap=bump(UNEVEN, 151, 5.0, 1.06, 4.0), s_range=(-24, 238), seed=3
        ),
        camera=view(0.0, lean_x_deg=4.0, lean_y_deg=-2.0, distance_mm=215.0, aim_mm=(104.0, 2.0)),
        picture=Picture(seed=3, blur_px=0.85, sharpen=0.6),
        verdict="re-fixture",
        finish="mill",
        below="bench",
        bench="rubber",
        light={"turn_deg": 200},
        props=("magnets",),
        taken_at="2026:05:11 09:33:40",
    ),
    Scene(
        name="04_taper",
        description="Joint J4: the gap opens evenly from 0.1 to 1.4 mm; wire 0.9 mm.",
        joint=Joint(
            angle_deg=-2.2, offset_mm=22.0, gap=knots((-10, 0.10), (225, 1.4)), s_range=(-33, 300), seed=4
        ),
        camera=view(4.0, lean_x_deg=-6.0, lean_y_deg=-6.0, roll_deg=1.5, distance_mm=232.0),
        picture=Picture(seed=4, blur_px=1.1, sharpen=0.35),
        verdict="re-fixture",
        strip=3,
        cut="sheared",
        bench="green",
        light={"turn_deg": 110, "windows": 1.3},
        props=("magnets", "pencil"),
        taken_at="2026:05:11 10:02:17",
    ),
    Scene(
        name="05_bow",
        description="Joint J5: bowed sheets, the gap swells from 0.1 mm at the ends to 0.7 mm; wire 1.2 mm.",
        joint=Joint(
            angle_deg=1.4,
            offset_mm=18.0,
            gap=lambda s: np.clip(0.70 - 0.60 * ((s - 100) / 115) ** 2, 0.08, None),
            bend=lambda s: 0.25 - 0.30 * ((s - 100) / 115) ** 2,
            s_range=(-60, 245),
            seed=5,
        ),
        camera=view(2.0, lean_x_deg=5.0, lean_y_deg=5.0, roll_deg=-0.8),
        picture=Picture(seed=5, blur_px=1.0, s_curve=0.15),
        wire="1.2mm",
        sheet_mm=2.0,
        strip=4,
        finish="mill",
        bench="ply",
        below="bench",
        light={"turn_deg": 300},
        props=("clamp", "magnets"),
        taken_at="2026:05:11 10:15:51",
    ),
    Scene(
        name="06_hairline",
        description="Joint J6: pressed together, a hairline of 0.03 to 0.10 mm.",
        joint=Joint(
            angle_deg=0.4,
            offset_mm=14.0,
            gap=knots((-40, 0.09), (20, 0.05), (80, 0.10), (130, 0.035), (180, 0.07), (260, 0.05)),
            s_range=(-60, 300),
            seed=6,
            waviness_um=4.0,
        ),
        camera=view(-1.0, lean_x_deg=2.0, lean_y_deg=-5.0, distance_mm=214.0, aim_mm=(104.0, 1.0)),
        picture=Picture(seed=6, blur_px=0.85),
        sheet_mm=1.2,
        strip=2,
        arris_mm=0.03,
        light={"turn_deg": 75},
        props=("magnets",),
        taken_at="2026:05:11 10:41:09",
    ),
)
