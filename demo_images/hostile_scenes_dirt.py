"""Hostile photos h14 to h22: what lies on the plates, beside the joint and in the gap."""

from __future__ import annotations

from camera import Picture
from hostile_parts import Blade, Clamp, Drops, Grit, Line, Patch, PlasticFilm, Rod, Strokes, Tack
from hostile_scene import HostileScene, HostileTarget, near_eye
from hostile_scenes_light import EVEN, RIGHT, WIDER, butt
from kinds_scene import many
from scene import knots

__all__ = ["DIRT"]

ANY = ("re-fixture", "gauge", "retake")

DIRT: tuple[HostileScene, ...] = (
    HostileScene(
        name="h14_coolant",
        factor="coolant",
        description="Drops of coolant on the plates, three of them across the gap, one at the opening to "
        "1.3 mm near 44 mm; a wet smear.",
        expected="re-fixture or gauge; drops on the gap are unseen or measured right",
        verdicts=ANY,
        joint=butt(many(EVEN, (44, 9, 1.3, 2.5)), 114),
        targets=(HostileTarget(strip=30, offset_mm=18.0, angle_deg=0.5),),
        camera=near_eye(-3.0, slew_deg=2.0, roll_deg=0.2),
        picture=Picture(seed=114, blur_px=0.95),
        bench="green",
        light={"turn_deg": 85, "windows": 0.6},
        parts=(
            Drops(
                at=(
                    (-19.0, 0.2, 3.4, 2.4, 0.9),
                    (16.0, -0.3, 1.9, 2.2, 0.75),
                    (46.5, 0.3, 2.2, 1.9, 0.8),
                    (-6.0, 5.2, 1.6, 1.5, 0.6),
                    (2.0, -4.4, 1.2, 1.1, 0.45),
                    (28.0, 4.1, 2.4, 2.1, 0.8),
                    (33.5, 2.6, 0.7, 0.7, 0.3),
                    (60.0, -5.2, 2.8, 2.3, 0.9),
                    (69.0, 3.6, 1.4, 1.3, 0.5),
                    (74.0, -2.4, 0.8, 0.9, 0.35),
                    (-27.0, -3.9, 1.1, 1.3, 0.5),
                    (9.0, 8.0, 2.0, 1.8, 0.7),
                    (52.0, 8.6, 1.1, 1.0, 0.4),
                    (-14.0, 9.5, 2.5, 2.2, 0.85),
                    (38.0, -6.4, 0.9, 0.8, 0.35),
                ),
                seed=14,
            ),
            Patch(kind="smear", centre=(62.0, 6.0), half=(16.0, 5.0), turn_deg=14.0, seed=141),
        ),
        disturbed=((-23.0, -15.0), (13.0, 19.0), (43.5, 49.5)),
        taken_at="2026:06:03 08:10:12",
    ),
    HostileScene(
        name="h15_fingerprints",
        factor="fingerprints",
        description="Greasy fingerprints and a smear up to both edges; opening to 1.2 mm near 8 mm.",
        expected=RIGHT,
        verdicts=("re-fixture",),
        joint=butt(many(WIDER, (8, 8, 1.2, 2.5)), 115),
        targets=(HostileTarget(strip=31, offset_mm=18.0, angle_deg=-0.4),),
        camera=near_eye(4.0, slew_deg=-2.0, roll_deg=-0.4),
        picture=Picture(seed=115, blur_px=0.95),
        bench="rubber",
        light={"turn_deg": 240},
        parts=(
            Patch(kind="finger", centre=(-16.0, 1.5), half=(7.0, 9.5), turn_deg=35.0, seed=151),
            Patch(kind="finger", centre=(6.0, -3.0), half=(7.0, 9.5), turn_deg=-20.0, seed=152),
            Patch(kind="finger", centre=(33.0, 4.0), half=(7.5, 10.0), turn_deg=70.0, seed=153),
            Patch(kind="smear", centre=(62.0, -1.0), half=(18.0, 5.5), turn_deg=-9.0, seed=154),
        ),
        taken_at="2026:06:03 08:22:40",
    ),
    HostileScene(
        name="h16_protective_film",
        factor="protective film",
        description="Blue film on the far sheet, torn 1 to 6 mm beside the joint, its edge curled up; "
        "opening to 1.2 mm near 12 mm.",
        expected=RIGHT + "; the film's edge is not the joint's",
        verdicts=ANY,
        joint=butt(many(EVEN, (12, 8, 1.2, 2.5)), 116),
        targets=(HostileTarget(strip=32, offset_mm=18.0, angle_deg=0.8),),
        camera=near_eye(-4.0, slew_deg=1.0, roll_deg=0.9),
        picture=Picture(seed=116, blur_px=0.95),
        bench="steel",
        light={"turn_deg": 60},
        parts=(
            PlasticFilm(
                edge=(
                    (-58.0, 6.5),
                    (-30.0, 4.2),
                    (-8.0, 5.2),
                    (14.0, 2.2),
                    (36.0, 1.2),
                    (58.0, 2.6),
                    (108.0, 4.5),
                ),
                seed=16,
            ),
        ),
        taken_at="2026:06:03 08:41:09",
    ),
    HostileScene(
        name="h17_layout_lines",
        factor="layout lines",
        description="A scribed line 2.4 mm before the joint, an ink line 3 mm behind it, both nearly "
        "parallel to it; opening to 1.15 mm near 38 mm.",
        expected=RIGHT
        + "; never the lines instead of the joint; a retake that asks which line is meant is honest",
        verdicts=ANY,
        joint=butt(many(EVEN, (38, 9, 1.15, 2.5)), 117),
        targets=(HostileTarget(strip=33, offset_mm=18.0, angle_deg=-0.7),),
        camera=near_eye(2.0, slew_deg=3.0, roll_deg=-1.0),
        picture=Picture(seed=117, blur_px=0.9),
        bench="green",
        light={"turn_deg": 330},
        parts=(
            Line(kind="scribed", through=((-58.0, -2.2), (108.0, -2.7)), width_mm=0.12, seed=171),
            Line(kind="scribed", through=((-20.0, -9.0), (-17.0, 11.0)), width_mm=0.10, seed=172),
            Line(kind="ink", through=((-58.0, 3.3), (20.0, 3.0), (108.0, 2.8)), width_mm=0.55, seed=173),
        ),
        taken_at="2026:06:03 09:02:58",
    ),
    HostileScene(
        name="h18_deburring",
        factor="deburring",
        description="Bright strokes of a hand deburring tool along both edges; opening to 1.2 mm near 47 mm.",
        expected=RIGHT + "; the strokes' outer rims are not the joint's edges: no false opening",
        verdicts=ANY,
        joint=butt(many(WIDER, (47, 8, 1.2, 2.5)), 118),
        targets=(HostileTarget(strip=34, offset_mm=18.0, angle_deg=0.2),),
        camera=near_eye(-2.0, slew_deg=-3.0, roll_deg=0.3),
        picture=Picture(seed=118, blur_px=0.9, s_curve=0.35),
        finish=("mill", "mill"),
        bench="steel",
        light={"turn_deg": 110},
        parts=(Strokes(reach=(-50.0, 40.0), count=80, seed=18),),
        disturbed=((-50.0, 40.0),),
        taken_at="2026:06:03 09:18:21",
    ),
    HostileScene(
        name="h19_dust_and_chips",
        factor="dust and chips",
        description="Grinding dust and curled chips around and in the gap, packed full from -4 to 6 mm; "
        "opening to 1.35 mm near 44 mm with grains in it.",
        expected="re-fixture or gauge; the packed stretch is unseen",
        verdicts=ANY,
        joint=butt(many(WIDER, (44, 10, 1.35, 2.5)), 119),
        targets=(HostileTarget(strip=35, offset_mm=18.0, angle_deg=0.5),),
        camera=near_eye(3.0, slew_deg=2.0, roll_deg=1.1),
        picture=Picture(seed=119, blur_px=0.95),
        bench="ply",
        light={"turn_deg": 180},
        parts=(
            Grit(reach=(-30.0, 82.0), count=420, radius=(0.04, 0.22), spread_mm=2.6, curls=9, seed=191),
            Grit(
                reach=(-20.0, 70.0),
                count=110,
                radius=(0.06, 0.26),
                spread_mm=0.35,
                plug=(-4.0, 6.0),
                seed=192,
            ),
        ),
        disturbed=((-30.0, 82.0),),
        taken_at="2026:06:03 09:33:44",
    ),
    HostileScene(
        name="h20_wire_in_gap",
        factor="wire in the gap",
        description="A 0.8 mm wire lies on the joint from 2 to 23 mm; a piece of 0.9 mm wire lies in the "
        "opening to 1.4 mm between 36 and 53 mm.",
        expected="re-fixture, gauge or retake; never within beside or under a wire",
        verdicts=ANY,
        joint=butt(many(EVEN, (44.5, 18, 1.4, 6.0)), 120),
        targets=(HostileTarget(strip=36, offset_mm=18.0, angle_deg=-0.3),),
        camera=near_eye(-3.0, slew_deg=1.0, roll_deg=0.2),
        picture=Picture(seed=120, blur_px=0.95),
        bench="green",
        light={"turn_deg": 30},
        parts=(
            Rod(
                through=(
                    (2.0, 0.05, 0.36),
                    (12.0, -0.05, 0.36),
                    (23.0, 0.1, 0.36),
                    (28.0, 5.0, 0.42),
                    (31.0, 16.0, 0.5),
                    (32.0, 40.0, 1.0),
                ),
                diameter_mm=0.8,
            ),
            Rod(
                through=((39.0, -0.12, -0.5), (45.0, 0.1, -0.45), (51.0, -0.05, -0.5)),
                diameter_mm=0.9,
                copper=True,
            ),
        ),
        disturbed=((1.0, 26.0), (38.0, 52.0)),
        taken_at="2026:06:03 09:51:30",
    ),
    HostileScene(
        name="h21_feeler_blade",
        factor="feeler blade",
        description="A feeler blade stands in the gap from 6 to 19 mm; opening to 1.25 mm near 42 mm.",
        expected="re-fixture; the covered stretch is unseen",
        verdicts=ANY,
        joint=butt(many(WIDER, (42, 9, 1.25, 2.5)), 121),
        targets=(HostileTarget(strip=37, offset_mm=18.0, angle_deg=0.6),),
        camera=near_eye(-5.0, slew_deg=-1.0, roll_deg=-0.6),
        picture=Picture(seed=121, blur_px=0.95),
        bench="rubber",
        light={"turn_deg": 270},
        parts=(Blade(x=12.5, thick_mm=0.3, tall_mm=24.0, lean_deg=(9.0, -6.0)),),
        disturbed=((3.0, 22.0),),
        taken_at="2026:06:03 10:07:17",
    ),
    HostileScene(
        name="h22_tacks_and_clamp",
        factor="tacks and clamp",
        description="Three tacks with temper colours and a clamp's arm over the joint; opening to 1.2 mm "
        "near 34 mm.",
        expected="re-fixture; under tacks and arm unseen",
        verdicts=ANY,
        joint=butt(many(knots((-40, 0.42), (0, 0.34), (60, 0.46), (100, 0.36)), (34, 8, 1.2, 2.5)), 122),
        targets=(HostileTarget(strip=38, offset_mm=18.0, angle_deg=-0.5),),
        camera=near_eye(2.0, slew_deg=1.0, roll_deg=0.8),
        picture=Picture(seed=122, blur_px=0.95),
        bench="ply",
        light={"turn_deg": 20},
        welds_mm=(-20.0, 14.0, 50.0),
        parts=(
            Tack(x=-20.0),
            Tack(x=14.0, half=(2.3, 2.0, 0.5)),
            Tack(x=50.0, half=(3.0, 2.4, 0.7)),
            Clamp(x=72.0),
        ),
        disturbed=((-30.0, -10.0), (5.0, 23.0), (41.0, 59.0)),
        taken_at="2026:06:03 10:25:36",
    ),
)
