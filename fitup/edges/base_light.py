"""How a base's light may run across an opening without an arris: many possible finishes and lightings.

Under a standing plate or the upper sheet of a lap the base goes on, and so the picture shows no edge where
the base begins; metal mirrors, more or less blurred, the plate above it and the dark of the gap. Lengths are
in gaps from the arris, m = n / g; a camera at elevation φ above the base, τ = tan φ, sees at m the place
that lies d = (m - 1) / τ gaps in front of the arris (behind it where negative). What shines on that place
comes

- from the front, up to the vertical; behind the arris only from below the elevation atan(1 / -d);
- from the plate's face over the arris, from the elevation atan(1 / d) behind upwards; a lap's end face ends a
  sheet higher, and sky follows;
- from the gap little, most of it from the end face over the gap, which the open base lights: at depth x
  behind the arris as 1 - x / √(x² + 1) (a long slot under an even sky).

The base reflects it as a rough metal does (microfacets: Walter et al., Microfacet Models for Refraction
through Rough Surfaces, 2007, the GGX distribution, here its marginal across the joint, which is Student's t
with two degrees of freedom; from memory) and, dirty or painted, in part as a matte surface does. Roughness
and light are drawn at random once: what they have in common is what a photo of an unknown base tells.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["FACE_ENDS", "FACE_SHARE", "REACH", "BaseLights", "M"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

DRAWS = 600
REACH = 6.0  # gaps from the arris that a curve covers
STEPS = 96
M: Array64 = np.asarray((np.arange(STEPS) + 0.5) * (REACH / STEPS), np.float64)
ANGLES = 360  # of the elevation, from the front over the zenith to the back
ELEVATION: Array64 = np.asarray((np.arange(ANGLES) + 0.5) * (np.pi / ANGLES), np.float64)
ROUGHNESS = 0.012, 0.5  # from polished to blasted (common practice, no source)
FRONT = 0.3, 8.0  # ambient light from the front as a share of the standing face's
LAMPS = 4  # up to three lamps or windows
LAMP = 0.3, 30.0  # their radiance over the standing face's
LAMP_HALF_RAD = float(np.radians(2)), float(np.radians(20))
MATTE = (0.0, 0.0, 0.3, 1.0)  # the matte share lies between zero and one of these: metal is seldom painted
# A face's mirror image begins so many gaps from the arris; so much of it is compared, before what lies above.
FACE_ENDS, FACE_SHARE = 2.0, 0.8
GLOW = 1.0  # of the end face at the arris, up to this share of the standing face's light
DARK = 0.2  # the gap's own light, up to this share of the face's


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lights:
    """What K lightings have in common with none of the geometry."""

    roughness: Array  # (K,)
    matte: Array  # (K,) share
    glow: Array  # (K,) of the end face
    sky: Array  # (ANGLES, K) radiance over the standing face's, less the gap's
    hidden: Array  # (ANGLES, K) Smith's Λ of what comes from there


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseLights:
    """The curves of K finishes and lightings for a camera at one elevation above the base.

    `roughness` (K,), a matte share counting as such. What reaches the camera from below every elevation:
    `whole` (K,) in all under a standing face, `over` (ANGLES + 1, K) more than it where the open workshop
    shows in its place over the zenith; `open_base` (STEPS, K) is the light where no sky shows over the face.
    `depth` (STEPS,) of the places behind `M`.
    """

    depth: Array64
    roughness: Array64
    whole: Array
    over: Array
    open_base: Array

    @classmethod
    @lru_cache(maxsize=4)
    def seen(cls, tangent: float) -> BaseLights:
        """Return what a camera sees whose elevation above the base has this tangent."""
        lights = _lights()
        depth: Array64 = np.asarray((M - 1) / tangent, np.float64)
        weight = _reflection(lights, float(np.arctan(tangent)))
        face = _summed_up(weight)
        free = _summed_up(weight * lights.sky)
        front = np.where(depth >= 0, np.pi / 2, np.arctan2(1.0, np.maximum(-depth, 1e-9)))
        arris = np.where(depth > 0, np.pi - np.arctan2(1.0, np.maximum(depth, 1e-9)), np.pi / 2)
        glow = _end_face(depth) @ (weight * lights.glow)
        zenith = ANGLES // 2
        over = free - face
        return cls(
            depth=depth,
            roughness=np.maximum(lights.roughness, lights.matte),
            whole=free[zenith] + face[-1] - face[zenith],
            over=over - over[zenith],
            open_base=glow + _at(free, front) + _at(face, arris) - face[zenith],
        )

    def curves(self, sheet_gaps: float, pick: NDArray[np.intp] | slice = slice(None)) -> Array:
        """Light (STEPS, K) at `M` gaps from the arris: 0 in the dark of the gap, 1 where the base lies open.

        `sheet_gaps` is how high the face over the gap is, in gaps (infinite for a standing plate). Of a face
        that ends the light is 1 where most of its mirror image is past; what lies over it may be brighter.
        """
        light = self.open_base[:, pick]
        if not np.isfinite(sheet_gaps):
            return np.asarray(light / self.whole[pick])
        shown = int(np.searchsorted(self.depth, 0.0, side="right"))  # before, no sky over the face is seen
        top = np.pi - np.arctan2(1.0 + sheet_gaps, np.maximum(self.depth[shown:], 1e-9))
        above = _at(self.over[:, pick], np.maximum(top, np.pi / 2))
        light = np.concatenate([light[:shown], light[shown:] + above])
        end = int(np.searchsorted(M, min(FACE_ENDS + FACE_SHARE * sheet_gaps, REACH))) - 1
        return np.asarray(light / np.maximum(light[end], 1e-9))


def _at(cumulated: NDArray[np.floating], elevation: Array64) -> NDArray[np.floating]:
    """Rows (M, K) of sums (ANGLES + 1, K) up to the elevations (M,)."""
    place = np.clip(elevation / np.pi * ANGLES, 0, ANGLES - 1e-6)
    below = place.astype(np.intp)
    part = (place - below).astype(cumulated.dtype)[:, None]
    lower = cumulated[below]
    return np.asarray(lower + (cumulated[below + 1] - lower) * part)


def _summed_up(weight: Array) -> Array:
    """Sums (ANGLES + 1, K) of weights (ANGLES, K) below every elevation."""
    sums = np.zeros((ANGLES + 1, weight.shape[1]), np.float32)
    np.cumsum(weight, axis=0, out=sums[1:])
    return sums


def _end_face(depth: Array64) -> Array:
    """(M, ANGLES) light of the end face seen from the base, nothing where the ray meets something else."""
    behind = -depth[:, None] - 1 / np.tan(ELEVATION)
    return np.where(behind > 0, 1 - behind / np.hypot(behind, 1), 0.0).astype(np.float32)


@lru_cache(maxsize=1)
def _lights() -> _Lights:
    """Drawn once, always the same."""
    rng = np.random.default_rng(20)
    ambient = _log_uniform(rng, FRONT, (DRAWS, 1))
    tilt = rng.uniform(-0.6, 0.6, (DRAWS, 1))
    sky = ambient * (1 - tilt * np.cos(2 * ELEVATION))
    count = rng.integers(0, LAMPS, (DRAWS, 1))
    for lamp in range(LAMPS - 1):
        centre = rng.uniform(0, np.pi, (DRAWS, 1))
        half = _log_uniform(rng, LAMP_HALF_RAD, (DRAWS, 1))
        radiance = _log_uniform(rng, LAMP, (DRAWS, 1))
        sky += radiance * (np.abs(ELEVATION - centre) < half) * (lamp < count)
    dark = rng.uniform(0, DARK, (DRAWS, 1))
    roughness = _log_uniform(rng, ROUGHNESS, DRAWS)
    drawn = {
        "roughness": roughness,
        "matte": rng.uniform(0, 1, DRAWS) * rng.choice(MATTE, DRAWS),
        "glow": rng.uniform(0, GLOW, DRAWS),
        "sky": (np.maximum(sky - dark, 0.0) / (1 - dark)).T,
        "hidden": _shadow(ELEVATION[:, None], roughness),
    }
    return _Lights(**{name: np.ascontiguousarray(values, np.float32) for name, values in drawn.items()})


def _log_uniform(
    rng: np.random.Generator, bounds: tuple[float, float], shape: int | tuple[int, int]
) -> Array64:
    return np.asarray(np.exp(rng.uniform(np.log(bounds[0]), np.log(bounds[1]), shape)))


def _reflection(lights: _Lights, view: float) -> Array:
    """(ANGLES, K) how much of the light from every elevation goes to the camera at elevation `view`."""
    tilt = (ELEVATION + view - np.pi) / 2  # of the facet that mirrors it into the camera, away from it
    slope = np.tan(tilt)
    seen = np.maximum(np.sin(view - tilt), 0) / (np.cos(tilt) * np.sin(view))
    each = np.pi / ANGLES
    shown, matte = _column((1 + slope**2) * seen / 4 * each), _column(np.sin(ELEVATION) / 2 * each)
    spread = 1 + (_column(slope) / lights.roughness) ** 2
    spread *= np.sqrt(spread) * (lights.hidden + (1 + _shadow(view, lights.roughness)))
    mirrored = shown * ((1 - lights.matte) / lights.roughness) / spread
    return np.asarray(mirrored + lights.matte * matte, np.float32)


def _column(values: Array64) -> Array:
    return values.astype(np.float32)[:, None]


def _shadow(elevation: Array64 | float, rough: NDArray[np.floating]) -> NDArray[np.floating]:
    """Smith's Λ of the GGX distribution."""
    return np.asarray((np.sqrt(1 + (rough / np.tan(elevation)) ** 2) - 1) / 2)
