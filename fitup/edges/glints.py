"""An arris that glints: brighter than the plate beside it, it hides where the plate ends.

A rounded rim that faces a lamp is a bright line along the edge, narrower than the blur. The fit takes its
light for plate and places the edge too far into the gap: the gap is read too narrow. Beside an arris that
does not shine the light rises to the plate's from below. Where it stands above the plate's, beyond what grain
does, there is such a line, and about how much light it adds can be told.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit

__all__ = ["glints"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

_BESIDE = np.linspace(1.0, 2.5, 7)  # blur sigmas from the edge: half of a line's light shows there
_FARTHER, _FARTHER_PX = 4.5, np.arange(5.0)  # plate alone, from so many sigmas on
# What an edge without a line lacks there of plate, and what a line of one (plate less floor, times sigma)
# adds: tail and density of the normal distribution, averaged over `_BESIDE`.
_LACKS, _ADDS = 0.056, 0.103
_GRAIN = 0.04  # of plate less floor: sound rendered joints show up to so much
# Of the line's light, that displaces the edge: where rendered joints of either set show a line, they are read
# narrower than where they show none by 0.15 to 0.35 of it.
_SHARE = 0.25
_LEAST_STEP = 0.25  # plate less floor, as a share of the plate


def glints(x_px: Array64, profiles: Array, fit: ArrisFit, stations: int) -> Array64:
    """Displacement of both edges into the gap [px], (N, 2), pooled over that many stations to either side.

    It is not known better than to about as much.
    """
    out = np.empty((len(profiles), 2))
    blur, floor = fit.blur_px[:, None], fit.levels[:, 1]
    for side, (edge, away) in enumerate(((fit.near_px, -1), (fit.far_px, 1))):
        beside = _light(x_px, profiles, edge[:, None] + away * _BESIDE * blur).mean(axis=1)
        farther = _light(x_px, profiles, edge[:, None] + away * (_FARTHER * blur + _FARTHER_PX))
        plate = np.median(farther, axis=1)
        above = (beside - plate) / np.maximum(plate - floor, _LEAST_STEP * np.maximum(plate, 1e-3))
        above = np.where(floor < plate, above, -_LACKS)  # lit from below, what is bright is the gap
        out[:, side] = np.maximum(_pooled(above, stations) + _LACKS - _GRAIN, 0) / _ADDS
    return np.asarray(_SHARE * out * blur)


def _light(x_px: Array64, profiles: Array, places: Array64) -> Array64:
    """Profiles (N, M) at places (N, K), between samples one px apart."""
    place = np.clip(places - x_px[0], 0, len(x_px) - 1.001)
    index = place.astype(np.intp)
    low, high = (np.take_along_axis(profiles, index + k, axis=1) for k in (0, 1))
    return np.asarray(low + (high - low) * (place - index), np.float64)


def _pooled(values: Array64, stations: int) -> Array64:
    size = (1, 2 * stations + 1)
    return np.asarray(cv2.blur(values[:, None], size, borderType=cv2.BORDER_REPLICATE)[:, 0])
