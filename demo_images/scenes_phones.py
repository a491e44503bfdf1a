"""Photos 31a to 31c: one joint through three phones; 32_01 to 32_10: the wide phone looks at a lens board."""

from __future__ import annotations

from typing import Any

from camera import Picture
from kinds_geometry import KindJoint
from kinds_scene import KindScene, TargetAt, eye, many
from phones import TELE, WIDE
from scene import knots

__all__ = ["BOARD", "PHONES"]

JOINT = KindJoint(
    kind="butt",
    gap=many(knots((-40, 0.35), (50, 0.55), (105, 0.3), (165, 0.45), (260, 0.3)), (182, 11, 1.05, 3.0)),
    x_range=(-30, 242),
    seed=31,
)
NAMES = {
    "a": "the phone N1",
    "b": "a wide phone with barrel distortion",
    "c": "a tele module that sharpens strongly",
}
SAME: dict[str, Any] = {
    "folder": "phones",
    "joint": JOINT,
    "targets": (TargetAt(strip=8, offset_mm=18.0, angle_deg=-0.7),),
    "bench": "green",
    "ground_mm": 27.5,
    "light": {"turn_deg": 85},
    "bytes_limit": 1_200_000,
}


def _phone(letter: str, camera: Any, picture: Picture) -> KindScene:
    return KindScene(
        name=f"31{letter}_phone",
        description=f"Joint J31 through {NAMES[letter]}; opening near 182 mm.",
        camera=camera,
        picture=picture,
        **SAME,
    )


PHONES: tuple[KindScene, ...] = (
    _phone("a", eye(-4.0, (104.0, 2.0, 0.0), slew_deg=2.0, roll_deg=0.8), Picture(seed=311, blur_px=0.95)),
    _phone(
        "b",
        eye(3.0, (103.0, -4.0, 0.0), slew_deg=-3.0, roll_deg=-1.1, **(WIDE | {"distance_mm": 180.0})),
        Picture(seed=312, blur_px=0.9, corner_blur_px=1.3, vignetting=0.3),
    ),
    _phone(
        "c",
        eye(-2.0, (104.0, 0.0, 0.0), slew_deg=1.5, roll_deg=0.3, **(TELE | {"distance_mm": 428.0})),
        Picture(
            seed=313,
            blur_px=1.1,
            corner_blur_px=0.5,
            vignetting=0.08,
            sharpen=1.3,
            sharpen_radius_px=1.6,
            s_curve=0.4,
        ),
    ),
)

# Lean towards y, lean towards x, roll, aim past the board's middle (x, y), distance.
VIEWS: tuple[tuple[float, float, float, float, float, float], ...] = (
    (1.0, -1.0, 0.6, 2.0, 1.0, 208.0),
    (-26.0, -3.0, 2.0, 3.0, -8.0, 206.0),
    (-2.0, -28.0, 1.0, 12.0, 2.0, 207.0),
    (21.0, 19.0, 4.0, -14.0, 8.0, 210.0),
    (-20.0, 20.0, -5.0, -12.0, -10.0, 208.0),
    (19.0, -21.0, -3.0, 14.0, 8.0, 210.0),
    (-22.0, -19.0, 6.0, 10.0, -9.0, 209.0),
    (34.0, 5.0, 181.0, 4.0, 14.0, 204.0),
    (-6.0, 34.0, 1.0, -26.0, -4.0, 206.0),
    (6.0, -8.0, 92.0, 0.0, 0.0, 200.0),
)


def _board(k: int) -> KindScene:
    tilt, slew, roll, dx, dy, distance = VIEWS[k]
    camera = eye(
        tilt,
        (130.0 + dx, -150.0 + dy, 0.0),
        slew_deg=slew,
        roll_deg=roll,
        **(WIDE | {"distance_mm": distance}),
    )
    return KindScene(
        name=f"32_{k + 1:02d}_board",
        description=f"The lens board seen by the phone of 31b, view {k + 1} of {len(VIEWS)}.",
        folder="lens_board",
        joint=KindJoint(kind="board", gap=lambda x: 0.0 * x, x_range=(-70, 330), seed=32, width_mm=340.0),
        targets=(TargetAt(strip=1, form="lens-board", offset_mm=60.0),),
        camera=camera,
        # Bright light: little noise, so that the pictures stay small.
        picture=Picture(
            seed=320 + k,
            blur_px=0.9,
            corner_blur_px=1.3,
            vignetting=0.3,
            photons=40000.0,
            noise_grain_px=0.9,
            sharpen=0.25,
        ),
        finish=("mill", "mill"),
        bench="ply",
        ground_mm=2.0,
        light={"turn_deg": 85},
        props=(),
        bytes_limit=620_000,
    )


BOARD: tuple[KindScene, ...] = tuple(_board(k) for k in range(len(VIEWS)))
