"""How much of the plate beside a strip a photo shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.scale.scale_map import ScaleMap

__all__ = ["in_view", "stretch_in_view"]

Array64 = NDArray[np.float64]

SEARCH_DEPTH_MM = 50.0
_EDGE_PX = 3


def in_view(scale: ScaleMap, points_mm: Array64) -> NDArray[np.bool_]:
    """(...) whether points (..., 2) of the joint plane lie in the photo, off its very edge."""
    uv = scale.to_px(points_mm)
    return np.asarray(((uv >= _EDGE_PX) & (uv <= np.array(scale.size_px) - 1 - _EDGE_PX)).all(axis=-1))


def stretch_in_view(scale: ScaleMap, low_mm: float, high_mm: float) -> tuple[float, float]:
    """The part of a stretch [mm along the strip] beside which the photo shows the plate deep enough.

    (low_mm, low_mm) where it shows none of it.
    """
    x = np.arange(low_mm, high_mm + 0.5, 1.0)
    y = scale.sighting.layout.paper_box_mm[3] + np.linspace(0.0, SEARCH_DEPTH_MM, 26)
    inside = in_view(scale, np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1))
    beside = inside[:, 1]
    # Where the photo ends above the strip it ends there for all of it: that costs depth, not length.
    deep = (inside & beside[:, None]).sum(axis=0) >= 0.8 * max(int(beside.sum()), 1)
    shown = np.flatnonzero(inside[:, deep].all(axis=1) & beside) if deep.any() else np.empty(0, np.intp)
    return (float(x[shown[0]]), float(x[shown[-1]])) if len(shown) else (low_mm, low_mm)
