"""A base in front of and under an arris, its light followed ray by ray: truth for tees and laps.

It shares no code with the program: facets are drawn one by one from a rough surface of two roughnesses
(across and along the joint), every view ray is mirrored in each of them, and what the ray meets is looked up:
lamps and ceiling, a standing face with a gradient, the end face over the gap, or the dark. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d

__all__ = ["SAMPLE_MM", "BaseScene", "BaseWorld", "random_scene"]

Floats = NDArray[np.float64]
FACETS = 1000
SAMPLE_MM = 0.075
FINE = 4  # rendered samples per pixel


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseScene:
    """One photo's straightened profiles (N, M), linear light, and the true gaps (N,)."""

    n_mm: Floats
    profiles: NDArray[np.float32]
    gap_mm: Floats
    tangent: float


def random_scene(seed: int, *, sheet_mm: float = np.inf, stations: int = 120) -> BaseScene:
    """A tee (infinite sheet) or the lap of a sheet, under random lamps, on a base of random finish."""
    rng = np.random.default_rng([77, seed])
    tangent = rng.uniform(0.5, 1.2)
    gap = _gaps(rng, stations)
    world = BaseWorld(rng, tangent, sheet_mm)
    n = np.arange(-55, 56) * SAMPLE_MM
    fine = np.arange(-55 * FINE, 56 * FINE) * (SAMPLE_MM / FINE)
    asked = np.linspace(gap.min(), gap.max(), 10)
    base = np.array([world.light(fine, g) for g in asked])
    weight = np.clip((gap[:, None] - asked[:-1]) / np.diff(asked), 0, 1)
    # Between two rendered gaps the light at the same share of the gap is mixed.
    rows = np.empty((stations, len(fine)))
    for k, g in enumerate(gap):
        low = int(np.clip(np.searchsorted(asked, g) - 1, 0, len(asked) - 2))
        part = weight[k, low]
        one, two = (np.interp(fine, fine * g / asked[j], base[j]) for j in (low, low + 1))
        rows[k] = one * (1 - part) + two * part
    wander = gaussian_filter1d(rng.normal(0, 1, stations), 20)
    wander *= 0.05 / np.abs(wander).max()
    light = np.empty((stations, len(n)))
    for k in range(stations):
        seen = np.where(fine < -0.02, world.flank, rows[k])  # the rounded arris shines a little farther
        blurred = gaussian_filter1d(np.interp(fine - wander[k], fine, seen), 1.3 * FINE)
        light[k] = np.interp(n, fine, blurred)
    grain = gaussian_filter(rng.normal(0, 1, light.shape), (4, 1.2))
    light *= 1 + 0.03 * grain / grain.std()
    light += rng.normal(0, 0.003, light.shape)
    return BaseScene(n_mm=n, profiles=np.maximum(light, 0).astype(np.float32), gap_mm=gap, tangent=tangent)


def _gaps(rng: np.random.Generator, stations: int) -> Floats:
    """Smooth gaps of 0.15 to 0.6 mm with an opening of about 1.1 mm in two thirds of the scenes."""
    slow = gaussian_filter1d(rng.normal(0, 1, stations), 25, mode="wrap")
    slow = (slow - slow.min()) / (slow.max() - slow.min())
    low = rng.uniform(0.15, 0.3)
    gap = low + rng.uniform(0.05, 0.3) * slow
    at = rng.uniform(0.2, 0.8) * stations
    bump = np.exp(-0.5 * ((np.arange(stations) - at) / 14) ** 2)
    return np.asarray(gap + (rng.uniform(0, 1) < 0.67) * (1.1 - gap) * bump)


class BaseWorld:
    """Facets, lamps and faces of one scene."""

    def __init__(self, rng: np.random.Generator, tangent: float, sheet_mm: float) -> None:
        self.sheet_mm = sheet_mm
        view = np.arctan(tangent)
        self.tangent = tangent
        across, along = np.exp(rng.uniform(np.log(0.02), np.log(0.35), 2))
        r, turn = rng.uniform(0, 1, (2, FACETS))
        size = np.sqrt(r / (1 - r))
        slope = np.stack([across * size * np.cos(2 * np.pi * turn), along * size * np.sin(2 * np.pi * turn)])
        up = 1 / np.sqrt(1 + (slope**2).sum(axis=0))
        facet = np.stack([-slope[0] * up, -slope[1] * up, up])
        eye = np.array([np.cos(view), 0.0, np.sin(view)])
        cosine = eye @ facet
        ray = 2 * cosine * facet - eye[:, None]
        hidden = 1 + _shadow(ray, across, along) + _shadow(eye[:, None], across, along)
        weight = np.where((ray[2] > 1e-3) & (cosine > 0), cosine / (eye[2] * up * hidden), 0.0)
        matte = rng.uniform(0, 0.08)
        spread = rng.uniform(0, 1, (2, FACETS // 4))
        lambert = np.stack([np.sqrt(spread[0]) * np.cos(2 * np.pi * spread[1]), np.sqrt(1 - spread[0])])
        self.angle = np.r_[np.arctan2(ray[2], ray[0]), np.arctan2(lambert[1], lambert[0])]
        self.weight = np.r_[(1 - matte) * weight / FACETS, np.full(FACETS // 4, matte / (FACETS // 4))]
        self.flank = rng.uniform(0.15, 0.5)
        self.lamps = [
            (rng.uniform(0, np.pi), rng.uniform(0.05, 0.3), np.exp(rng.uniform(-1, 2)))
            for _ in range(rng.integers(0, 3))
        ]
        self.ceiling, self.tilt = np.exp(rng.uniform(-1, 0.7)), rng.uniform(-0.5, 0.5)
        self.face, self.fade = self.flank * rng.uniform(0.7, 1.4), rng.uniform(-0.2, 0.3)
        self.end_face, self.dark = self.face * rng.uniform(0.1, 0.8), self.face * rng.uniform(0, 0.1)

    def light(self, n: Floats, gap: float) -> Floats:
        """Light (M,) of the base at n (M,) across an opening of this gap."""
        d = ((n - gap) / self.tangent)[:, None]  # in front of the arris, behind where negative
        forward = np.cos(self.angle)[None, :]
        rise = np.sin(self.angle)[None, :]
        height = np.where(forward < 0, d * rise / np.maximum(-forward, 1e-9), -1.0)  # over the arris' plane
        to_front = (d >= 0) & (forward >= 0)
        out = (d < 0) & (forward > 0) & (-d * rise / np.maximum(forward, 1e-9) < gap)
        sky = self._sky(self.angle)[None, :]
        deep = np.where(rise > 1e-6, -d - gap * forward / np.maximum(rise, 1e-6), 1e6)  # at the end face
        glow = self.end_face * (1 - deep / np.hypot(deep, gap)) + self.dark
        top = gap + self.sheet_mm
        shade = 1 - self.fade * np.exp(-np.maximum(height - gap, 0) / 1.0)
        meets = np.where(
            (d > 0) & (height > top), sky, np.where((d > 0) & (height > gap), self.face * shade, glow)
        )
        met = np.where(to_front | out, sky, np.where(deep < 0, meets, np.where(height > gap, meets, glow)))
        return np.asarray(met @ self.weight)

    def _sky(self, angle: Floats) -> Floats:
        light = self.ceiling * self.flank * (1 + self.tilt * np.cos(angle))
        for centre, half, radiance in self.lamps:
            light = light + radiance * self.flank * (np.abs(angle - centre) < half)
        return light


def _shadow(ray: Floats, across: float, along: float) -> Floats:
    steep = ((ray[0] * across) ** 2 + (ray[1] * along) ** 2) / np.maximum(ray[2], 1e-3) ** 2
    return np.asarray((np.sqrt(1 + steep) - 1) / 2)
