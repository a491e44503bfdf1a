"""Noise of a photo, from the print's white rim, where nothing is printed and nothing is brushed.

J. Immerkaer, Fast Noise Variance Estimation, Computer Vision and Image Understanding 64, 1996: a mask that
answers to no level, slope or bend of the light. Noise that a phone has smoothed shows less than it was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.photo import Photo
from fitup.scale import TargetSighting

__all__ = ["paper_noise"]

_RIM_MM, _HALF_MM, _MOST_PX, _LEAST_PX = 2.0, 0.75, 15, 5
_BURNT, _MOST_BURNT = 250, 0.02  # clipped noise would be read too small


def paper_noise(photo: Photo, sighting: TargetSighting) -> float:
    """Standard deviation of a pixel [grey levels of 255]; NaN where no white rim is seen."""
    layout = sighting.layout
    x = np.arange(layout.pitch_mm / 2, layout.length_mm, layout.pitch_mm)
    rows = [np.column_stack((x, np.full_like(x, y))) for y in (_RIM_MM, -layout.width_mm - _RIM_MM)]
    places = sighting.to_px(np.concatenate(rows))
    local = sighting.local(sighting.saddles_mm.mean(axis=0))
    side = int(np.clip(2 * _HALF_MM * np.sqrt(abs(np.linalg.det(local))), _LEAST_PX, _MOST_PX))
    corner = np.rint(places - side / 2).astype(np.intp)
    inside = ((corner >= 0) & (corner + side < [photo.width_px, photo.height_px])).all(axis=1)
    if not inside.any():
        return float("nan")
    u, v = (corner[inside, k, None, None] for k in (0, 1))
    cell = np.arange(side)
    patches = photo.grey8[v + cell[:, None], u + cell].astype(np.int32)
    sound = (patches >= _BURNT).mean(axis=(1, 2)) < _MOST_BURNT
    if not sound.any():
        return float("nan")
    return float(np.median(_noise(patches[sound])))


def _noise(patches: NDArray[np.int32]) -> NDArray[np.float64]:
    """(P,) standard deviation of patches (P, S, S)."""
    bent = patches[:, 2:] - 2 * patches[:, 1:-1] + patches[:, :-2]
    answer = bent[:, :, 2:] - 2 * bent[:, :, 1:-1] + bent[:, :, :-2]
    return np.asarray(np.sqrt(np.pi / 2) / 6 * np.abs(answer).mean(axis=(1, 2)))
