"""Where the light of the suite's photos comes from: linear renders, and demo photos turned back into light.

A demo photo's picture chain is known to the last number, so it can be undone: sharpening, tone curve, white
balance. What is left is the light behind that phone's lens, with its blur, noise and compression; a second
camera adds to these and is never sharper than the first.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from fitup.photo import srgb_to_linear
from tests.bench.rendering import toned
from tests.bench.truth import Truth

__all__ = ["Light", "LightSource", "linear_light", "photo_light", "reduced", "undone"]

Image32 = NDArray[np.float32]
UNSHARPEN_STEPS = 12  # each leaves less than half of what the one before left


@dataclass(frozen=True, kw_only=True, eq=False)
class LightSource:
    """One scene with truth: a photo (JPEG) or a linear render (.npz with `light` and `paper`)."""

    truth: Truth  # its photo is the demo photo, or the render
    scene_factor: str  # "clean", or what is hostile in it
    exif: bytes
    distortion: float = 0.0  # of the camera that a linear render is to be seen by; photos have theirs in them
    own: bool = False  # the photo takes part as it is

    @property
    def rendered(self) -> bool:
        return self.truth.photo.suffix == ".npz"

    @property
    def clean(self) -> bool:
        return self.scene_factor == "clean"

    def seen_by_others(self, render: Path) -> LightSource:
        """The same scene by its linear render."""
        camera = self.truth.data["camera"]
        corner = np.hypot(*camera["size_px"]) / 2 / camera["focal_px"]
        distortion = camera["distortion"]["k1"] * corner**2  # at the corner, over the half diagonal
        return replace(
            self, truth=replace(self.truth, photo=render), distortion=round(float(distortion), 6), own=False
        )

    def digest(self) -> str:
        photo = self.truth.photo
        return _digest(photo, photo.stat().st_mtime_ns)

    def light(self) -> Light:
        if self.rendered:
            return linear_light(self.truth.photo)
        return photo_light(self.truth.photo, self.truth.data["camera"]["picture"])


@dataclass(frozen=True, kw_only=True, eq=False)
class Light:
    """Linear light (H, W, 3), the level of white paper in it (3,), and the blur of its lens [px]."""

    linear: Image32
    paper: NDArray[np.float32]
    blur_px: float | None = None  # None: through no lens yet


def linear_light(path: Path) -> Light:
    """A cached render."""
    with np.load(path) as stored:
        return Light(linear=stored["light"].astype(np.float32), paper=stored["paper"].astype(np.float32))


def photo_light(path: Path, picture: dict[str, Any]) -> Light:
    """A demo photo's light, its chain's numbers (`picture`, of the truth) undone; pixels as stored."""
    with Image.open(path) as image:
        return undone(np.asarray(image.convert("RGB"), np.float32) / np.float32(255), picture)


def undone(code: Image32, picture: dict[str, Any]) -> Light:
    """Light of a photo's code values (H, W, 3), 0 to 1."""
    plain = code - _unsharp_detail(code, picture["sharpen"], picture["sharpen_radius_px"])[..., None]
    light = _untoned(plain, picture) / np.array(picture["white_balance"], np.float32)
    paper = np.full(3, picture["paper_level"], np.float32)
    return Light(linear=light, paper=paper, blur_px=picture["blur_px"])


def reduced(light: Light, scale: float) -> Light:
    """Fewer pixels over the same view: the light of each new pixel's area, about the picture's middle."""
    if scale == 1:
        return light
    height, width = light.linear.shape[:2]
    size = (2 * round(width * scale / 2), 2 * round(height * scale / 2))
    return Light(
        linear=cv2.resize(light.linear, size, interpolation=cv2.INTER_AREA),
        paper=light.paper,
        blur_px=None if light.blur_px is None else light.blur_px * scale,
    )


@cache
def _digest(path: Path, _changed_ns: int) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _unsharp_detail(code: Image32, amount: float, radius_px: float) -> Image32:
    """What the unsharp mask had added to each channel (H, W), from the sharpened picture."""
    sharp = code @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    plain = sharp
    for _ in range(UNSHARPEN_STEPS):
        plain = (sharp + amount * cv2.GaussianBlur(plain, (0, 0), radius_px)) / np.float32(1 + amount)
    return np.asarray(sharp - plain)


def _untoned(code: Image32, picture: dict[str, Any]) -> Image32:
    family = picture.get("tone_family", "s-curve")
    light = srgb_to_linear(np.linspace(0, 1, 4097)).astype(np.float32)  # finest in the shadows
    curve = toned(light, family, picture["s_curve"])
    return np.interp(code, curve, light).astype(np.float32)
