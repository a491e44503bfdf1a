"""Photos 30a to 30d: one long butt seam, four strips end to end, one photo for each strip."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from camera import Picture
from kinds_geometry import KindJoint
from kinds_scene import KindScene, TargetAt, eye, many
from kinds_truth import target_truth
from scene import knots

from fitup.scale import target_layout

__all__ = ["SEAM", "write_seam"]

PAPER_MM = target_layout(10).paper_box_mm[2] - target_layout(10).paper_box_mm[0]
# How far each strip slid along, summed up: the papers' ends do not quite touch.
SLIP_MM = (0.0, 0.12, 0.30, 0.41)
ASIDE_MM = (0.0, 0.15, -0.10, 0.12)  # how far each lies off their common line
TURN_DEG = (0.0, 0.03, -0.05, 0.04)
LINE_DEG = 0.1  # the common line against the joint

STRIPS: tuple[TargetAt, ...] = tuple(
    TargetAt(
        strip=10 + k,
        x_mm=k * PAPER_MM + SLIP_MM[k],
        offset_mm=18.0 + k * PAPER_MM * float(np.tan(np.radians(LINE_DEG))) + ASIDE_MM[k],
        angle_deg=LINE_DEG + TURN_DEG[k],
    )
    for k in range(4)
)
JOINT = KindJoint(
    kind="seam",
    gap=many(
        knots(
            (-30, 0.25), (80, 0.4), (200, 0.22), (330, 0.5), (450, 0.35), (600, 0.6), (720, 0.3), (930, 0.45)
        ),
        (452, 13, 1.2, 3.0),
    ),
    x_range=(-20.0, 922.0),
    seed=30,
    step=knots((-30, 0.0), (400, 0.06), (930, 0.02)),
)


def _photo(k: int) -> KindScene:
    order = (k, *(n for n in (k - 1, k + 1) if 0 <= n < 4))
    rest = tuple(n for n in range(4) if n not in order)
    lean, slew, roll = ((-3.0, 2.0, 0.4), (2.0, -1.5, -0.8), (-5.0, 1.0, 0.9), (3.0, -3.0, -0.3))[k]
    return KindScene(
        name=f"30{'abcd'[k]}_seam",
        description=f"Joint J30: a seam of 0.9 m in four photos, part {k + 1}; strip {STRIPS[k].strip} "
        "whole, its neighbours in part; one opening where the second and third photo overlap.",
        folder="seam_900",
        joint=JOINT,
        targets=tuple(STRIPS[n] for n in (*order, *rest)),
        camera=eye(lean, (k * PAPER_MM + 103.0, 1.0, 0.0), slew_deg=slew, roll_deg=roll, distance_mm=215.0),
        picture=Picture(seed=300 + k, blur_px=0.95),
        finish=("along", "along"),
        ground_mm=27.5,
        light={"turn_deg": 40},
        bytes_limit=1_200_000,
        texture_mm=1060.0,
        seam_start_mm=STRIPS[0].x_mm,
        props=(),
        more={
            "seam": {
                "photo": k + 1,
                "photos": 4,
                "s_of_this_datum_mm": round(STRIPS[k].x_mm - STRIPS[0].x_mm, 4),
            }
        },
    )


SEAM: tuple[KindScene, ...] = tuple(_photo(k) for k in range(4))


def write_seam(folder: Path) -> None:
    """Write seam_900.json: the whole seam's truth and the four strips, in the first strip's frame."""
    scene = SEAM[0]
    s = np.arange(np.ceil(JOINT.x_range[0] * 2), np.floor(JOINT.x_range[1] * 2) + 1) / 2
    bounds = JOINT.bounds(s + STRIPS[0].x_mm)
    content: dict[str, Any] = {
        "name": "seam_900",
        "invented": True,
        "photos": [photo.name for photo in SEAM],
        "targets": [target_truth(scene, strip) for strip in STRIPS],
        "stations": {
            "s_mm": s.tolist(),
            "gap_mm": np.round(bounds.gap, 5).tolist(),
            "step_mm": np.round(bounds.step, 5).tolist(),
        },
    }
    (folder / "seam_900.json").write_text(json.dumps(content) + "\n", encoding="utf-8")
