"""What a repeat is made of: photos of three parts of the gauge study in which one thing alone is new.

Noise, light (the shop turned about the joint, lamps and windows brighter or dimmer) or pose; all else stays.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from study_scenes import STUDY, StudyScene

__all__ = ["APART", "APART_PARTS", "CAUSES"]

CAUSES = ("noise", "light", "pose")
APART_PARTS = (2, 4, 6)
TIMES = 6
SEED = 99


def _part(part: int) -> list[StudyScene]:
    rng = np.random.default_rng([SEED, part])
    first = next(s for s in STUDY if (s.part, s.phone, s.repeat) == (part, "N1", 1))
    still = replace(
        first,
        camera=replace(first.camera, tilt_deg=0.0, slew_deg=0.0, roll_deg=0.5, distance_mm=98.0),
        targets=(replace(first.targets[0], x_mm=0.0, offset_mm=18.0, angle_deg=0.3),),
        light={"turn_deg": 85.0, "tubes": 1.0, "windows": 0.7},
        bytes_limit=430_000,
    )
    scenes = []
    for k in range(TIMES):
        picture = replace(still.picture, seed=7000 + 10 * part + k)
        light = {
            "turn_deg": float(rng.uniform(0, 360)),
            "tubes": float(rng.uniform(0.6, 1.2)),
            "windows": float(rng.uniform(0.3, 1.0)),
        }
        camera = replace(
            still.camera,
            tilt_deg=float(rng.uniform(-6, 6)),
            slew_deg=float(rng.uniform(-5, 5)),
            roll_deg=float(rng.uniform(-2.5, 2.5)),
            distance_mm=98 * float(rng.uniform(0.96, 1.06)),
        )
        scenes += [
            replace(still, name=f"a{part}_noise_{k}", picture=picture),
            replace(still, name=f"a{part}_light_{k}", light=light),
            replace(still, name=f"a{part}_pose_{k}", camera=camera),
        ]
    return scenes


APART: tuple[StudyScene, ...] = tuple(scene for part in APART_PARTS for scene in _part(part))
