"""How much light comes from the floor of a gap and from a cut face: what to expect, and what the photo tells.

Wide stretches of a joint show both; where it is narrow they cannot be told, and what the wide ones said is
the prior.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit
from fitup.edges.arris_start import Start

__all__ = ["FACE_OPEN_SD", "LIT_SD", "Light", "expected_light", "pooled_light", "spread_of"]

Array64 = NDArray[np.float64]

DARK_FLOOR, DARK_FLOOR_SD = 0.015, 0.02  # light from a deep slot as a share of the plates' (prior)
# Light from a cut face as a share of its plate's: little falls into a joint (prior, ± as much and a bit).
FACE_SHARE = 0.15
FACE_SHARE_LEAST_SD = 0.07
FACE_OPEN_SD = 1.0  # of the plate: while the photo is asked, a face may have any light
FACE_TOLD, FACE_WELL_TOLD = 0.6, 0.2  # of the plate: a face less known than that says nothing, of its texture
LEAST_TEXTURE = 0.05  # of the plate
NEIGHBOURS = 3.0  # stations that see much the same and count as one
LIT_SD = 10.0  # a floor lit from below can have any level


@dataclass(frozen=True, kw_only=True, eq=False)
class Light:
    """Expected levels of floor and cut face, (N,), linear light."""

    floor: Array64
    floor_sd: Array64
    face: Array64
    face_sd: Array64
    common_face: float = 0.0  # what the levels of all faces may err alike, over `face_sd`


def expected_light(start: Start, depth_px: float) -> Light:
    """Levels to expect beforehand, in a slot whose faces are `depth_px` deep."""
    plate = np.minimum(start.left, start.right)
    share = FACE_SHARE * _sky(start, depth_px)
    return Light(
        floor=DARK_FLOOR * plate,
        floor_sd=np.where(start.lit, LIT_SD, DARK_FLOOR_SD * plate),
        # Lit from below, the face's light lies anywhere between none and the floor's.
        face=np.where(start.lit, start.floor / 2, share * start.right),
        face_sd=np.where(start.lit, start.floor / np.sqrt(12), (share + FACE_SHARE_LEAST_SD) * start.right),
    )


def _sky(start: Start, depth_px: float) -> Array64:
    """Share of the open sky that lights a cut face: little in a slot much deeper than wide."""
    width = np.maximum(start.far - start.near, 0.5)
    return np.asarray(np.minimum(2 * width / (width + depth_px), 1.0))


def pooled_light(
    light: Light,
    start: Start,
    fit: ArrisFit,
    pick: NDArray[np.intp],
    open_minded: ArrisFit,
    asked: NDArray[np.intp],
) -> Light:
    """What the wide stretches say of floor and cut face, for the narrow ones, where they cannot be told.

    `fit` is that of the picked stations, `open_minded` that of the stations `asked`, which hardly expects
    anything of the cut face's light.
    """
    plate = np.maximum(np.minimum(start.left, start.right), 1e-3)
    right = np.maximum(start.right, 1e-3)
    dark = ~start.lit[pick]
    floor = (fit.levels[:, 1] / plate[pick])[dark]
    if len(floor) >= 8:
        middle = float(np.median(floor))
        spread = max(0.02, 0.5 * middle, 1.5 * spread_of(floor))
        floor_sd = np.where(start.lit, LIT_SD, spread * plate)
        light = replace(light, floor=middle * plate, floor_sd=floor_sd)
    glowing = fit.levels[:, 1][~dark]
    if len(glowing) >= 8:  # whatever shines through the gap is one lamp or one bright bench
        middle = float(np.median(glowing))
        spread = max(0.05 * middle, 1.5 * spread_of(glowing))
        light = replace(
            light,
            floor=np.where(start.lit, middle, light.floor),
            floor_sd=np.where(start.lit, spread, light.floor_sd),
        )
    told = ~start.lit[pick] & (fit.face_sd < FACE_WELL_TOLD * right[pick])
    clear = ~start.lit[asked] & (open_minded.face_sd < FACE_TOLD * right[asked])
    if told.sum() < 8 or clear.sum() < 5:
        return light
    # The face's level scatters by its own texture and by the fits; only the first part is a prior.
    share, own = (fit.levels[:, 3] / right[pick])[told], (fit.face_sd / right[pick])[told]
    texture = float(np.sqrt(max(spread_of(share) ** 2 - float(np.median(own)) ** 2, LEAST_TEXTURE**2)))
    asked = asked[clear]
    middle, middle_sd = _told_once(
        open_minded.levels[clear, 3] / right[asked],
        open_minded.face_sd[clear] / right[asked],
        expected=float(np.median(light.face[asked] / right[asked])),
        expected_sd=float(np.median(light.face_sd[asked] / right[asked])),
    )
    return replace(
        light,
        face=np.where(start.lit, light.face, middle * right),
        face_sd=np.where(start.lit, light.face_sd, texture * right),
        common_face=middle_sd / texture,
    )


def _told_once(share: Array64, own: Array64, *, expected: float, expected_sd: float) -> tuple[float, float]:
    """Level and its deviation: what all stations say and, once and not at each of them, what is expected."""
    middle = float(np.median(share))
    variance = max(spread_of(share), float(np.median(own))) ** 2 / max(len(share) / NEIGHBOURS, 1.0)
    weight = 1 / variance + 1 / expected_sd**2
    return (middle / variance + expected / expected_sd**2) / weight, float(np.sqrt(1 / weight))


def spread_of(values: Array64) -> float:
    """Robust standard deviation (scaled median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
