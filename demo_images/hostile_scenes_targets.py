"""Hostile photos h23 to h32: targets that lie badly or are none, and two other kinds of joint."""

from __future__ import annotations

from typing import Any

import numpy as np
from camera import Picture
from hostile_parts import Cover, Doubler, Lamp
from hostile_scene import Bend, HostileScene, HostileTarget, near_eye
from hostile_scenes_light import EVEN, RIGHT, WIDER, butt
from kinds_geometry import KindJoint
from kinds_scene import many
from numpy.typing import NDArray

__all__ = ["TARGETS"]

Floats = NDArray[np.float64]
ANY = ("re-fixture", "gauge", "retake")


def _curl(t: Floats) -> Floats:
    return np.clip((t - 20.0) / 110.0, 0, None)


def _wrinkles(t: Floats) -> Floats:
    fade = np.exp(-0.5 * ((t - 20.0) / 26.0) ** 2)
    return fade * (0.24 * np.sin(2 * np.pi * t / 17.0) + 0.15 * np.sin(2 * np.pi * t / 9.3 + 1.0))


def _droop(t: Floats) -> Floats:
    return -np.clip((t - 30.5) / 42.0, 0, 0.65)


def _ramp(t: Floats) -> Floats:
    return 0.457 * np.sin(np.pi * np.clip((t - 23.5) / 7.0, 0, 1)) ** 2


def _scene(number: int, name: str, factor: str, **changes: Any) -> HostileScene:
    """A butt joint with one target on plate A, like the others, with `changes`."""
    common: dict[str, Any] = {
        "name": f"h{number}_{name}",
        "factor": factor,
        "camera": near_eye(-3.0, slew_deg=1.0, roll_deg=0.4),
        "picture": Picture(seed=100 + number, blur_px=0.95),
        "bench": "steel",
        "light": {"turn_deg": 15.0 * number},
        "verdicts": ANY,
        "taken_at": f"2026:06:04 {number - 15:02d}:12:{number:02d}",
    }
    return HostileScene(**(common | changes))


TARGETS: tuple[HostileScene, ...] = (
    _scene(
        23,
        "target_curled",
        "target curled",
        description="The target's right end curls up by 9 mm; opening to 1.2 mm near 40 mm.",
        expected="retake for a target that is not flat, or re-fixture with an honest interval",
        joint=butt(many(EVEN, (40, 9, 1.2, 2.5)), 123),
        targets=(HostileTarget(strip=39, offset_mm=18.0, angle_deg=0.4, bend=Bend(slope=_curl)),),
        props=(),
    ),
    _scene(
        24,
        "target_wrinkled",
        "target wrinkled",
        description="The target is wrinkled by some 0.7 mm; opening to 1.2 mm near 44 mm.",
        expected="retake for a target that is not flat, or re-fixture with an honest interval",
        joint=butt(many(EVEN, (44, 9, 1.2, 2.5)), 124),
        targets=(
            HostileTarget(
                strip=40, offset_mm=18.0, angle_deg=-0.4, bend=Bend(slope=_wrinkles, direction_deg=28.0)
            ),
        ),
    ),
    _scene(
        25,
        "target_covered",
        "target covered",
        description="A steel rule and a black magnet lie over a third of the target; opening to 1.2 mm near "
        "20 mm.",
        expected="re-fixture from what is left of the target, or retake for a covered target",
        joint=butt(many(WIDER, (20, 9, 1.2, 2.5)), 125),
        targets=(HostileTarget(strip=41, offset_mm=18.0, angle_deg=0.6),),
        parts=(
            Cover(centre=(36.0, -55.0, 0.65), half=(75.0, 6.5, 0.4), turn_deg=-30.0),
            Cover(centre=(46.0, -25.0, 2.2), half=(6.0, 4.5, 2.0), turn_deg=-12.0, colour=(0.03, 0.03, 0.03)),
        ),
    ),
    _scene(
        26,
        "target_over_end",
        "target over an edge",
        description="The plates end at 30 mm and the target hangs down over their end; opening to 1.2 mm "
        "near 12 mm.",
        expected="retake for a target that is not flat, or re-fixture from the part that lies on the plate",
        joint=butt(many(EVEN, (12, 9, 1.2, 2.5)), 126, x_range=(-70.0, 30.0)),
        targets=(
            HostileTarget(strip=42, offset_mm=18.0, angle_deg=-0.3, bend=Bend(slope=_droop, hang=True)),
        ),
        camera=near_eye(-3.0, (14.0, -20.0, 0.0), slew_deg=-2.0, roll_deg=0.4),
        props=(),
    ),
    _scene(
        27,
        "target_over_step",
        "target over an edge",
        description="Half of the target lies on a 1.5 mm sheet that lies on the plate; opening to 1.2 mm "
        "near 42 mm.",
        expected="retake for a target that is not flat, or re-fixture with an honest interval",
        joint=butt(many(EVEN, (42, 9, 1.2, 2.5)), 127),
        targets=(HostileTarget(strip=43, offset_mm=18.0, angle_deg=0.3, bend=Bend(slope=_ramp, hang=True)),),
        parts=(Doubler(low=(30.5, -100.0, 0.0), high=(125.0, -9.0, 1.5)),),
        props=(),
    ),
    _scene(
        28,
        "two_of_a_number",
        "two of a number",
        description="Two targets of number 44, one on each plate; opening to 1.2 mm near 30 mm.",
        expected="retake for two targets of the same number, or re-fixture from one of them; never a mix "
        "of both",
        joint=butt(many(EVEN, (30, 9, 1.2, 2.5)), 128),
        targets=(
            HostileTarget(strip=44, offset_mm=18.0, angle_deg=0.4),
            HostileTarget(strip=44, on="B", x_mm=58.0, offset_mm=17.0, angle_deg=-0.5),
        ),
        camera=near_eye(-2.0, (27.0, 0.0, 0.0), distance_mm=134.0, roll_deg=0.3),
    ),
    _scene(
        29,
        "target_on_screen",
        "screen",
        description="A tablet shows the target, 6 % too large and 6 mm above the plate; opening to 1.3 mm "
        "near 10 mm.",
        expected="retake for a screen, or no verdict that the wrong scale could turn: never within at the "
        "opening",
        joint=butt(many(WIDER, (10, 9, 1.3, 2.5)), 129),
        targets=(
            HostileTarget(
                strip=45,
                offset_mm=24.0,
                angle_deg=0.2,
                made="screen",
                lift_mm=6.0,
                print_factors=(1.06, 1.06),
            ),
        ),
        camera=near_eye(-3.0, (28.0, -24.0, 0.0), distance_mm=102.0, roll_deg=0.4),
        props=(),
    ),
    _scene(
        30,
        "target_photocopy",
        "photocopy",
        description="A photocopy of the target at 97 %, soft and grey; opening to 1.2 mm near 44 mm.",
        expected="no photo shows this: a print check does, and corrects it; without one, gaps are read "
        "3 % too wide, so never within at the opening",
        joint=butt(many(EVEN, (44, 9, 1.2, 2.5)), 130),
        targets=(
            HostileTarget(strip=46, offset_mm=18.0, angle_deg=-0.6, made="copy", print_factors=(0.97, 0.97)),
        ),
        more={
            "print_check": {
                "invented": True,
                "date": "2026-06-03",
                "instrument": "caliper 150 mm, reading 0.01 mm, standard uncertainty 0.02 mm",
                "along": {"what": "crosses", "nominal_mm": 140.0, "read_mm": [135.79, 135.8, 135.81]},
                "across": {"what": "crosses", "nominal_mm": 140.0, "read_mm": [135.81, 135.8, 135.8]},
            }
        },
    ),
    _scene(
        31,
        "corner_light_through",
        "light through",
        description="Full open corner with a lamp inside: the root is brighter than the lands; opening to "
        "1.2 mm near 42 mm.",
        expected=RIGHT,
        joint=KindJoint(
            kind="corner-full-open",
            gap=many(WIDER, (42, 9, 1.2, 2.5)),
            x_range=(-58.0, 108.0),
            seed=131,
            width_mm=110.0,
        ),
        targets=(HostileTarget(strip=47, offset_mm=17.0, angle_deg=0.4),),
        camera=near_eye(42.0, (26.0, -9.0, -4.0), slew_deg=1.0, roll_deg=180.4, distance_mm=108.0),
        ground_mm=120.0,
        light={"turn_deg": 60.0, "windows": 0.7},
        parts=(
            Lamp(
                place=(26.0, -36.0, -42.0),
                size_mm=60.0,
                long_mm=220.0,
                colour=(6.0, 6.1, 6.3),
                aim=(26.0, 0.0, -1.5),
            ),
        ),
        disturbed=((-58.0, 108.0),),
    ),
    _scene(
        32,
        "tee_polished",
        "mirror",
        description="Tee joint on a polished base that mirrors plate and slot, with a lamp's glare in it; "
        "opening to 1.2 mm near 16 mm.",
        expected="re-fixture, gauge or retake; never within at the opening",
        joint=KindJoint(
            kind="tee",
            gap=many(WIDER, (16, 9, 1.2, 2.5)),
            x_range=(-58.0, 108.0),
            seed=132,
            other_mm=2.0,
            width_mm=110.0,
        ),
        targets=(HostileTarget(strip=48, offset_mm=18.0, angle_deg=-0.5),),
        camera=near_eye(-31.0, (26.0, -16.0, 0.0), slew_deg=1.0, roll_deg=180.5, distance_mm=100.0),
        finish=("along", "polished"),
        up=(0.0, -1.0, 0.0),
        ground_mm=2.4,
        bytes_limit=240_000,
        light={"turn_deg": 150.0, "windows": 0.3},
        parts=(Lamp(place=(60.0, -430.0, 260.0), size_mm=150.0, colour=(8.0, 7.5, 6.6)),),
    ),
)
