"""A drawn butt joint with a strip on either plate, arrows towards the joint; all of it invented."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, Scene, _joint, _plane, _strip, developed

JOINT_Y_MM = 16.0
SCENE = Scene(
    gap_mm=lambda x: 0.4 + 0.1 * np.sin(x / 20),
    middle_mm=lambda x: JOINT_Y_MM + 0 * x,
    distance_mm=310.0,
    centre_mm=(105.0, JOINT_Y_MM),
    slant_deg=6.0,
    strip_number=4,
    seed=3,
)
SECOND_NUMBER = 5
# The second strip's frame is the first one's turned half round about the joint's middle.
_TURNED = np.array([[-1.0, 0, 2 * 105.0], [0, -1.0, 2 * JOINT_Y_MM], [0, 0, 1.0]])


def save_pair(path: Path) -> Path:
    """Write the drawn photo."""
    rng = np.random.default_rng(SCENE.seed)
    H, camera = SCENE.camera()
    v, u = np.mgrid[0:HEIGHT_PX, 0:WIDTH_PX].astype(np.float32)
    x, y = _plane(np.linalg.inv(H), u, v)
    light = _joint(SCENE, camera, x, y, SCENE.blur_px / (SCENE.focal_px / SCENE.distance_mm), rng)
    light = _strip(SCENE, H, light)
    light = _strip(replace(SCENE, strip_number=SECOND_NUMBER), H @ _TURNED, light)
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Nordlicht", "N1"
    infinity_px = SCENE.focal_px * (1 - 5.5 / SCENE.distance_mm)
    exif.get_ifd(0x8769)[0x920A] = 5.5
    exif.get_ifd(0x8769)[0xA405] = round(infinity_px / np.hypot(WIDTH_PX, HEIGHT_PX) * 43.27)
    Image.fromarray(developed(light, SCENE, rng)).save(path, quality=SCENE.quality, exif=exif)
    return path
