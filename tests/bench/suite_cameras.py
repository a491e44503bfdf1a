"""The cameras of the coverage suite: ordinary phones, and phones with one factor at a time off the ordinary.

Every camera is drawn from its own name, so that none changes when another is added. A factor's camera is an
ordinary phone, drawn anew, of which one thing is set.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.bench.rendering import Picture

__all__ = ["FACTOR_CAMERAS", "ORDINARY_CAMERAS", "OWN_CAMERA", "SuiteCamera", "cameras_for"]

ORDINARY, OWN = "ordinary", "own"
ORDINARY_COUNT = 8


@dataclass(frozen=True, kw_only=True)
class SuiteCamera:
    """A phone: what it makes of the light, and how far its lens and its number of pixels are off."""

    name: str
    factor: str
    level: str
    picture: Picture
    scale: float = 1.0  # size of the picture; below 1 as a phone of fewer pixels, or from farther away
    distortion: float = 0.0  # added outward shift at the corner over the half diagonal

    @property
    def label(self) -> str:
        """Factor and level, or the factor alone where it has no levels to tell apart."""
        return f"{self.factor}: {self.level}" if self.factor not in (ORDINARY, OWN) else self.factor

    @property
    def ordinary(self) -> bool:
        return self.factor == ORDINARY


@dataclass(frozen=True, kw_only=True)
class _Level:
    """One factor at one level: the picture's changed fields, and the camera's."""

    factor: str
    level: str
    picture: dict[str, Any] = field(default_factory=dict)
    camera: dict[str, Any] = field(default_factory=dict)


def cameras_for(index: int, ordinary: int, off: int) -> tuple[SuiteCamera, ...]:
    """The cameras that see the scene of that index: neighbouring scenes are seen by neighbouring ones.

    Over the scenes every camera is used about as often as any other.
    """
    usual = [ORDINARY_CAMERAS[(index * ordinary + k) % len(ORDINARY_CAMERAS)] for k in range(ordinary)]
    factors = [FACTOR_CAMERAS[(index * off + k) % len(FACTOR_CAMERAS)] for k in range(off)]
    return (*usual, *factors)


def _phone(name: str) -> Picture:
    """An ordinary phone of the last years in a shop's light (common practice, no source)."""
    rng = np.random.default_rng([zlib.crc32(name.encode()), 4])
    return Picture(
        blur_px=round(rng.uniform(0.8, 1.3), 2),
        corner_blur_px=round(rng.uniform(0.5, 1.0), 2),
        veil=round(rng.uniform(0.003, 0.012), 4),
        photons=round(rng.uniform(5000, 12000)),
        noise_grain_px=round(rng.uniform(0.5, 0.8), 2),
        paper_level=round(rng.uniform(0.55, 0.75), 2),
        s_curve=round(rng.uniform(0.1, 0.4), 2),
        sharpen=round(rng.uniform(0.25, 0.6), 2),
        sharpen_radius_px=round(rng.uniform(1.0, 1.4), 2),
        quality=int(rng.integers(86, 95)),
    )


_LEVELS = (
    _Level(factor="blur", level="1.6 px", picture={"blur_px": 1.6}),
    _Level(factor="noise", level="2000 photons", picture={"photons": 2000.0, "read_noise": 4.0}),
    _Level(factor="tone curve", level="S 0.6", picture={"s_curve": 0.6}),
    _Level(factor="sharpening", level="none", picture={"sharpen": 0.0}),
    _Level(factor="compression", level="quality 75", picture={"quality": 75}),
    _Level(factor="exposure", level="dark", picture={"paper_level": 0.3}),
    _Level(factor="resolution", level="0.8", camera={"scale": 0.8}),
    _Level(factor="tone curve", level="gamma 2.0", picture={"tone_family": "gamma", "s_curve": 2.0}),
    _Level(factor="blur", level="2.0 px", picture={"blur_px": 2.0}),
    _Level(factor="noise", level="700 photons", picture={"photons": 700.0, "read_noise": 5.0}),
    _Level(factor="sharpening", level="strong", picture={"sharpen": 1.0}),
    _Level(factor="colour", level="warm", picture={"white_balance": (1.22, 1.0, 0.72)}),
    _Level(factor="tone curve", level="gamma 2.6", picture={"tone_family": "gamma", "s_curve": 2.6}),
    _Level(factor="lens", level="barrel 0.4 %", camera={"distortion": -0.004}),
    _Level(factor="exposure", level="bright", picture={"paper_level": 0.95}),
    _Level(factor="tone curve", level="filmic", picture={"tone_family": "filmic", "s_curve": 1.2}),
    _Level(
        factor="noise",
        level="noise filter",
        picture={"photons": 1500.0, "read_noise": 4.0, "noise_grain_px": 1.4, "blur_px": 1.4},
    ),
    _Level(factor="motion", level="4 px along", picture={"motion_px": 4.0}),
    _Level(factor="local tone", level="0.25", picture={"halo": 0.25}),
    _Level(factor="resolution", level="0.65", camera={"scale": 0.65}),
    _Level(factor="tone curve", level="no S", picture={"s_curve": 0.0}),
    _Level(factor="sharpening", level="halo", picture={"sharpen": 1.6, "sharpen_radius_px": 1.8}),
    _Level(factor="compression", level="quality 60", picture={"quality": 60}),
    _Level(factor="blur", level="2.5 px", picture={"blur_px": 2.5}),
    _Level(factor="colour", level="cold", picture={"white_balance": (0.8, 1.0, 1.2)}),
    _Level(factor="tone curve", level="power 0.85", picture={"tone_family": "power", "s_curve": 0.85}),
    _Level(factor="motion", level="3 px across", picture={"motion_px": 3.0, "motion_deg": 80.0}),
    _Level(factor="local tone", level="0.5", picture={"halo": 0.5}),
    _Level(factor="lens", level="pincushion 0.4 %", camera={"distortion": 0.004}),
    _Level(factor="resolution", level="0.5", camera={"scale": 0.5}),
    _Level(factor="tone curve", level="sine 0.45", picture={"tone_family": "sine", "s_curve": 0.45}),
)


def _off(level: _Level) -> SuiteCamera:
    name = f"{level.factor} {level.level}".replace(" %", "").replace(" ", "-")
    return SuiteCamera(
        name=name,
        factor=level.factor,
        level=level.level,
        picture=replace(_phone(name), **level.picture),
        **level.camera,
    )


ORDINARY_CAMERAS = tuple(
    SuiteCamera(name=f"phone-{k}", factor=ORDINARY, level=f"phone {k}", picture=_phone(f"phone-{k}"))
    for k in range(1, ORDINARY_COUNT + 1)
)
FACTOR_CAMERAS = tuple(_off(level) for level in _LEVELS)
# The phone that took a photo which takes part as it is.
OWN_CAMERA = SuiteCamera(name="own", factor=OWN, level="", picture=Picture())
