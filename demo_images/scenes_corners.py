"""Photos 17 to 22: outside corners. The camera stands beyond the joint (y > 0), the right way up."""

from __future__ import annotations

from camera import Picture
from kinds_geometry import KindJoint
from kinds_scene import KindScene, TargetAt, eye, many
from scene import knots

__all__ = ["CORNERS"]

EVEN = knots((-40, 0.28), (30, 0.34), (90, 0.22), (140, 0.30), (200, 0.20), (260, 0.27))
WIDER = knots((-40, 0.38), (40, 0.30), (100, 0.46), (170, 0.34), (260, 0.42))


CORNERS: tuple[KindScene, ...] = (
    KindScene(
        name="17_corner_full_open",
        description="Joint J17: full open corner, seen along the bisector; opening near 132 mm.",
        joint=KindJoint(
            kind="corner-full-open",
            gap=many(EVEN, (132, 20, 1.2, 2.5)),
            x_range=(-29, 239),
            seed=17,
            width_mm=112,
        ),
        targets=(TargetAt(strip=1, offset_mm=16.0, angle_deg=0.5),),
        camera=eye(45.0, (105.0, -7.0, -3.0), roll_deg=180.6, slew_deg=2.0),
        picture=Picture(seed=17, blur_px=0.9),
        light={"turn_deg": 60, "windows": 0.7},
    ),
    KindScene(
        name="18_corner_full_open_two",
        description="Joint J18: full open corner with a strip on each face, 15 degrees off the bisector.",
        joint=KindJoint(
            kind="corner-full-open",
            gap=many(WIDER, (68, 14, 1.1, 3.0)),
            x_range=(-60, 270),
            seed=18,
            sheet_mm=1.5,
            other_mm=1.5,
            width_mm=112,
            step=knots((-40, 0.05), (120, 0.12), (250, 0.08)),
        ),
        targets=(
            TargetAt(strip=2, offset_mm=14.5, angle_deg=-0.6),
            TargetAt(strip=3, on="B", x_mm=211.0, offset_mm=20.0, angle_deg=0.8),
        ),
        camera=eye(60.0, (105.0, 0.0, -6.0), roll_deg=179.0, slew_deg=-2.0, focus_mm=221.0),
        picture=Picture(seed=18, blur_px=1.0, s_curve=0.3),
        finish=("along", "mill"),
        cut="sheared",
        bench="green",
        light={"turn_deg": 200, "windows": 0.8},
    ),
    KindScene(
        name="19_corner_half_open",
        description="Joint J19: half open corner, short strip, seen 27 degrees from plate A's normal.",
        joint=KindJoint(
            kind="corner-half-open",
            gap=many(EVEN, (112, 12, 0.98, 3.0)),
            x_range=(-32, 242),
            seed=19,
            width_mm=112,
        ),
        targets=(TargetAt(strip=4, form="strip-8x5", x_mm=70.0, offset_mm=17.0, angle_deg=0.9),),
        camera=eye(27.0, (98.0, -6.0, -1.0), roll_deg=181.5, slew_deg=1.0, distance_mm=206.0),
        picture=Picture(seed=19, blur_px=0.9),
        bench="ply",
        light={"turn_deg": 300},
        props=("magnets", "clamps"),
    ),
    KindScene(
        name="20_corner_flush",
        description="Joint J20: flush corner of 2 mm sheets, seen about along the bisector; no opening.",
        joint=KindJoint(
            kind="corner-flush",
            gap=knots((-40, 0.35), (40, 0.22), (110, 0.5), (180, 0.3), (260, 0.6)),
            x_range=(-60, 270),
            seed=20,
            sheet_mm=2.0,
            other_mm=2.0,
            width_mm=112,
        ),
        targets=(TargetAt(strip=5, offset_mm=20.0, angle_deg=-0.4),),
        camera=eye(46.0, (104.0, -7.0, -3.0), roll_deg=180.0, slew_deg=3.0),
        picture=Picture(seed=20, blur_px=1.0),
        finish=("mill", "mill"),
        light={"turn_deg": 120, "windows": 0.7},
    ),
    KindScene(
        name="21_corner_120_two",
        description="Joint J21: full open corner of 120 degrees, a strip on each face; opening near 155 mm.",
        joint=KindJoint(
            kind="corner-full-open",
            included_deg=120.0,
            gap=many(EVEN, (155, 24, 1.3, 2.0)),
            x_range=(-30, 240),
            seed=21,
            sheet_mm=1.5,
            other_mm=1.5,
            width_mm=125,
        ),
        targets=(
            TargetAt(strip=6, offset_mm=17.0, angle_deg=0.7),
            TargetAt(strip=7, on="B", x_mm=208.0, offset_mm=19.0, angle_deg=-0.5),
        ),
        camera=eye(33.0, (104.0, -2.0, -3.0), roll_deg=180.9, slew_deg=-2.0),
        picture=Picture(seed=21, blur_px=0.95),
        finish=("along", "along"),
        bench="rubber",
        light={"turn_deg": 20},
    ),
    KindScene(
        name="22_corner_60_short_land",
        description="Joint J22: full open corner of 60 degrees; B's land ground short over 12 mm near 95 mm.",
        joint=KindJoint(
            kind="corner-full-open",
            included_deg=60.0,
            gap=knots((-40, 0.3), (60, 0.45), (130, 0.35), (180, 0.6), (260, 0.4)),
            ground=many(lambda x: 0.0 * x, (95, 12, 1.15, 6.0)),
            x_range=(-60, 270),
            seed=22,
            width_mm=125,
        ),
        targets=(TargetAt(strip=8, offset_mm=15.0, angle_deg=-0.3),),
        camera=eye(54.0, (104.0, -2.0, -3.0), roll_deg=179.5, slew_deg=1.5),
        picture=Picture(seed=22, blur_px=0.9),
        arris_mm=0.08,
        bench="green",
        light={"turn_deg": 250},
    ),
)
