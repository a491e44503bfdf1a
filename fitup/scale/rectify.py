"""A part of the photo as seen square on: sampled along the axes of the mapped plane, the lens taken out."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.scale_map import ScaleMap

__all__ = ["rectified"]

_COARSE = 8  # a lens bends so little over eight samples that between them straight lines do


def rectified(
    grey: NDArray[np.uint8], scale: ScaleMap, to_plane: NDArray[np.float64], size: tuple[int, int]
) -> NDArray[np.uint8]:
    """Sample the photo bilinearly at columns and rows (size) of a grid in the plane; black outside.

    to_plane (3, 3) takes column and row of the grid to the plane's mm.
    """
    if scale.optics is None:
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        flat = cv2.warpPerspective(grey, scale.homography @ to_plane, size, flags=flags)
        return np.asarray(flat, np.uint8)
    counts = [-(-length // _COARSE) + 1 for length in size]
    # Middles of blocks, so that enlarging a map of them puts every sample where it belongs.
    column, row = np.meshgrid(*((np.arange(n) + 0.5) * _COARSE - 0.5 for n in counts))
    mm = np.stack((column, row), axis=-1) @ to_plane[:2, :2].T + to_plane[:2, 2]
    # Enlarging repeats the outermost blocks' values; half a block more on all sides keeps them straight.
    padded = _extended(scale.to_px(mm)).astype(np.float32)
    fine = cv2.resize(padded, None, fx=_COARSE, fy=_COARSE, interpolation=cv2.INTER_LINEAR)
    where = fine[_COARSE : _COARSE + size[1], _COARSE : _COARSE + size[0]]
    return np.asarray(cv2.remap(grey, where[..., 0], where[..., 1], cv2.INTER_LINEAR), np.uint8)


def _extended(grid: NDArray[np.float64]) -> NDArray[np.float64]:
    """One more row and column on every side, continued straight."""
    for axis in (0, 1):
        first, second, last, before = (np.take(grid, [k], axis=axis) for k in (0, 1, -1, -2))
        grid = np.concatenate((2 * first - second, grid, 2 * last - before), axis=axis)
    return grid
