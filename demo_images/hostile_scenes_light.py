"""Hostile photos h01 to h13: clean ones to compare with, light, and what the camera does to a picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from camera import Picture
from hostile_parts import Flash, Lamp, Panel
from hostile_scene import HostileScene, HostileTarget, near_eye
from kinds_geometry import KindJoint
from kinds_scene import many
from numpy.typing import NDArray
from scene import knots

__all__ = ["LIGHT", "butt"]

Run = Callable[[NDArray[np.float64]], NDArray[np.float64]]
RIGHT = "re-fixture, with an opening at its place; stations that are not sure are unseen, never within"


def butt(gap: Run, seed: int, **changes: Any) -> KindJoint:
    """A butt joint of 1.5 mm sheets, 166 mm long."""
    return KindJoint(**({"kind": "butt", "gap": gap, "x_range": (-58.0, 108.0), "seed": seed,
                         "width_mm": 110.0} | changes))  # fmt: skip


EVEN = knots((-40, 0.30), (0, 0.24), (30, 0.34), (60, 0.26), (100, 0.32))
WIDER = knots((-40, 0.38), (0, 0.46), (40, 0.34), (70, 0.48), (100, 0.40))
CLEAN = HostileScene(
    name="h01_clean",
    factor="clean",
    description="Nothing in the way: brushed along the joint, opening to 1.25 mm near 44 mm.",
    expected=RIGHT + "; nearly all seen",
    verdicts=("re-fixture",),
    joint=butt(many(EVEN, (44, 9, 1.25, 2.5)), 101),
    targets=(HostileTarget(strip=21, offset_mm=18.0, angle_deg=0.6),),
    camera=near_eye(-3.0, slew_deg=2.0, roll_deg=0.7),
    picture=Picture(seed=101, blur_px=0.9),
    bench="green",
    light={"turn_deg": 85},
    taken_at="2026:06:02 09:04:11",
)
MILL = HostileScene(
    name="h02_clean_mill",
    factor="clean",
    description="Nothing in the way: mill finish, opening to 1.15 mm over some 4 mm near 12 mm.",
    expected=RIGHT + "; nearly all seen",
    verdicts=("re-fixture",),
    joint=butt(many(WIDER, (12, 5.5, 1.15, 4.0)), 102),
    targets=(HostileTarget(strip=22, offset_mm=20.0, angle_deg=-0.8),),
    camera=near_eye(4.0, slew_deg=-3.0, roll_deg=-1.2, distance_mm=94.0),
    picture=Picture(seed=102, blur_px=1.0, sharpen=0.6),
    finish=("mill", "mill"),
    bench="ply",
    light={"turn_deg": 200, "windows": 0.6},
    taken_at="2026:06:02 09:09:40",
)
ACROSS = HostileScene(
    name="h03_clean_across",
    factor="clean",
    description="Nothing in the way: brushed across the joint, opening to 1.5 mm near 12 mm.",
    expected=RIGHT + "; nearly all seen",
    verdicts=("re-fixture",),
    joint=butt(many(WIDER, (12, 14, 1.5, 2.0)), 103),
    targets=(HostileTarget(strip=23, offset_mm=17.0, angle_deg=1.1),),
    camera=near_eye(-5.0, slew_deg=3.0, roll_deg=1.5, distance_mm=101.0),
    picture=Picture(seed=103, blur_px=0.95),
    finish=("across", "across"),
    bench="steel",
    light={"turn_deg": 300, "windows": 0.8},
    taken_at="2026:06:02 09:15:02",
)


def _camera_only(base: HostileScene, name: str, factor: str, words: str, **changes: Any) -> HostileScene:
    """The same linear light as `base`, through another camera chain."""
    same = {k: getattr(base, k) for k in base.__dataclass_fields__}
    told = {"name": name, "factor": factor, "description": words, "linear_of": base.name}
    return HostileScene(**(same | told | changes))


LIGHT: tuple[HostileScene, ...] = (
    CLEAN,
    MILL,
    ACROSS,
    HostileScene(
        name="h04_clean_good",
        factor="clean",
        description="Nothing in the way and no opening: 0.2 to 0.45 mm, brushed along the joint.",
        expected="within, or gauge for a few stations that are unseen; never a false opening",
        verdicts=("within", "gauge"),
        joint=butt(knots((-40, 0.22), (0, 0.40), (30, 0.25), (60, 0.45), (100, 0.30)), 104),
        targets=(HostileTarget(strip=24, offset_mm=18.5, angle_deg=-0.5),),
        camera=near_eye(2.0, slew_deg=-2.0, roll_deg=0.4),
        picture=Picture(seed=104, blur_px=0.9),
        bench="rubber",
        light={"turn_deg": 40},
        taken_at="2026:06:02 09:21:33",
    ),
    HostileScene(
        name="h05_glare",
        factor="glare",
        description="A lamp's streak runs over the joint at 40 mm, where it opens to 1.3 mm; another at "
        "-14 mm.",
        expected="re-fixture or gauge; the streak is unseen or measured right, never within at the opening",
        verdicts=("re-fixture", "gauge", "retake"),
        joint=butt(many(EVEN, (40, 8, 1.3, 2.5)), 105),
        targets=(HostileTarget(strip=25, offset_mm=18.0, angle_deg=0.3),),
        camera=near_eye(-2.0, slew_deg=1.0, roll_deg=0.5),
        picture=Picture(seed=105, blur_px=0.95),
        bench="steel",
        light={"turn_deg": 85, "tubes": 0.5},
        parts=(
            Lamp(place=(97.0, 92.0, 400.0), size_mm=42.0, colour=(210.0, 200.0, 180.0), aim=(40.0, 0.0, 0.0)),
            Lamp(
                place=(-160.0, 92.0, 400.0), size_mm=34.0, colour=(120.0, 122.0, 126.0), aim=(-14.0, 0.0, 0.0)
            ),
        ),
        disturbed=((28.0, 52.0), (-22.0, -6.0)),
        taken_at="2026:06:02 09:40:05",
    ),
    HostileScene(
        name="h06_hi_lo_shadow",
        factor="hi-lo shadow",
        description="The far sheet lies up to 0.55 mm higher and a low lamp behind it casts its shadow on "
        "the near one; opening to 1.3 mm near 45 mm, where the step is small.",
        expected="re-fixture; the shadow beside the gap is never taken for its width: no false opening at "
        "0 to 30 mm, and unseen there is honest",
        verdicts=("re-fixture", "gauge", "retake"),
        joint=butt(
            many(EVEN, (45, 8, 1.3, 2.5)),
            106,
            step=knots((-40, 0.40), (0, 0.5), (20, 0.55), (30, 0.45), (38, 0.12), (100, 0.08)),
        ),
        targets=(HostileTarget(strip=26, offset_mm=19.0, angle_deg=-0.6),),
        camera=near_eye(-4.0, slew_deg=2.0, roll_deg=-0.8),
        picture=Picture(seed=106, blur_px=0.95, s_curve=0.35),
        finish=("mill", "mill"),
        bench="green",
        light={"turn_deg": 200, "tubes": 0.3, "windows": 0.2},
        room=0.22,
        parts=(Lamp(place=(60.0, 260.0, 130.0), size_mm=26.0, colour=(290.0, 270.0, 236.0)),),
        disturbed=((-58.0, 38.0),),
        taken_at="2026:06:02 09:52:47",
    ),
    HostileScene(
        name="h07_light_through",
        factor="light through",
        description="A light panel under the joint: the gap is brighter than the plates; opening to 1.2 mm "
        "near 20 mm, 0.2 to 0.4 mm elsewhere.",
        expected=RIGHT,
        verdicts=("re-fixture", "gauge"),
        joint=butt(many(EVEN, (20, 7, 1.2, 3.0)), 107),
        targets=(HostileTarget(strip=27, offset_mm=17.5, angle_deg=0.7),),
        camera=near_eye(3.0, slew_deg=-1.0, roll_deg=1.0),
        picture=Picture(seed=107, blur_px=1.0),
        finish=("along", "along"),
        bare=True,
        light={"turn_deg": 150, "tubes": 0.7},
        parts=(Panel(z=-18.0, colour=(2.6, 2.65, 2.8)),),
        disturbed=((-58.0, 108.0),),
        taken_at="2026:06:02 10:11:20",
    ),
    HostileScene(
        name="h08_flash",
        factor="flash",
        description="The phone's lamp in a dark corner of the shop, its hot spot on the joint near 31 mm; "
        "opening to 1.3 mm near 47 mm.",
        expected="re-fixture or retake for glare; the hot spot unseen or measured right",
        verdicts=("re-fixture", "gauge", "retake"),
        joint=butt(many(WIDER, (47, 8, 1.3, 2.5)), 108),
        targets=(HostileTarget(strip=28, offset_mm=18.0, angle_deg=0.4),),
        camera=near_eye(10.0, slew_deg=1.0, roll_deg=0.6),
        picture=Picture(seed=108, blur_px=1.0, photons=5000.0, flash=True),
        bench="steel",
        light={"turn_deg": 20},
        room=0.07,
        parts=(Flash(radiance=2600.0),),
        disturbed=((22.0, 42.0),),
        taken_at="2026:06:02 10:30:14",
    ),
    HostileScene(
        name="h09_mixed_light",
        factor="mixed light",
        description="A warm lamp from the left, cold daylight from the right; opening to 1.2 mm near 10 mm.",
        expected=RIGHT,
        verdicts=("re-fixture",),
        joint=butt(many(EVEN, (10, 9, 1.2, 2.5)), 109),
        targets=(HostileTarget(strip=29, offset_mm=18.0, angle_deg=-0.9),),
        camera=near_eye(-3.0, slew_deg=-2.0, roll_deg=-0.5),
        picture=Picture(seed=109, blur_px=0.95, awb=0.6),
        bench="ply",
        light={"turn_deg": 120, "tubes": 0.15, "windows": 0.1},
        room=0.45,
        parts=(
            Lamp(place=(-260.0, 40.0, 240.0), size_mm=130.0, colour=(30.0, 16.5, 6.5)),
            Lamp(place=(300.0, 120.0, 260.0), size_mm=190.0, colour=(7.5, 11.0, 17.0)),
        ),
        taken_at="2026:06:02 10:44:51",
    ),
    _camera_only(
        CLEAN,
        "h10_low_light",
        "low light",
        "h01 in the dark: strong noise and the noise filter's smear.",
        expected="re-fixture, gauge or retake for noise; never within at the opening",
        verdicts=("re-fixture", "gauge", "retake"),
        picture=Picture(
            seed=110,
            blur_px=1.3,
            photons=150.0,
            read_noise=6.0,
            noise_grain_px=1.1,
            paper_level=0.30,
            sharpen=0.8,
            quality=85,
        ),
        taken_at="2026:06:02 10:58:02",
        bytes_limit=290_000,
    ),
    _camera_only(
        MILL,
        "h11_hdr_sharpened",
        "hdr halo",
        "h02 with local tone mapping, halos and strong sharpening.",
        expected="re-fixture or gauge; halos and overshoot do not make a false opening",
        verdicts=("re-fixture", "gauge", "retake"),
        picture=Picture(
            seed=111,
            blur_px=1.0,
            halo=0.55,
            halo_radius_px=14.0,
            s_curve=0.5,
            sharpen=2.2,
            sharpen_radius_px=2.0,
        ),
        taken_at="2026:06:02 11:03:27",
        bytes_limit=290_000,
    ),
    _camera_only(
        CLEAN,
        "h12_motion_across",
        "motion",
        "h01 with the phone moved square to the joint by 14 px.",
        expected="retake for motion, or gauge; never within at the opening",
        verdicts=("retake", "gauge", "re-fixture"),
        picture=Picture(seed=112, blur_px=0.9, motion_px=14.0, motion_deg=84.0),
        taken_at="2026:06:02 11:05:50",
    ),
    _camera_only(
        ACROSS,
        "h13_motion_along",
        "motion",
        "h03 with the phone moved along the joint by 12 px.",
        expected="re-fixture (the joint's edges stay sharp), or retake for motion",
        verdicts=("re-fixture", "gauge", "retake"),
        picture=Picture(seed=113, blur_px=0.95, motion_px=12.0, motion_deg=4.0),
        taken_at="2026:06:02 11:08:13",
    ),
)
