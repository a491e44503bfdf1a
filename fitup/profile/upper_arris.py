"""Where in space the arris of a lap's upper sheet lies, seen from aside.

It lies a sheet's thickness below the face, but the sheet may be bent up or down at the joint. Its end is cut
straight: where the arris, laid at its due depth, seems to leave the straight line, the sheet is bent, and the
ray meets the end face so much higher or lower. Only the cut's line counts, not where the search saw the
joint: a plane laid through that would be off by as much as the search was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fitup.scale import SpacePoints, TargetPair

__all__ = ["on_upper_sheet"]

Array64 = NDArray[np.float64]

BLOCKS = 12  # stretches of the joint: any two of them may tell the line
LIES_FLAT = 0.33  # share of the arris that follows the line at least, however the rest is bent
ON_LINE = 2.5  # times the scatter of that share
LEAST_SCATTER_MM = 0.01  # of arrises about their line: below it they are as good as on it
STEEP = 0.3  # shift across per height, at least: seen from straight above a bend shows nowhere


def on_upper_sheet(
    pair: TargetPair, plate: int, points_px: Array64, sheet_mm: float, u_sheet_mm: float
) -> SpacePoints:
    """The lower arris of the upper sheet, seen at `points_px` (N, 2); `plate` 0 or 1 is that sheet's."""
    laid = pair.on_first if plate == 0 else pair.on_second
    flat = laid(points_px, sheet_mm, u_sheet_mm)
    _, rays = pair.ray(points_px)
    points, rays = _own_frame(pair, plate, flat.points_mm, rays)
    offset, slope, scatter = _line(points[:, 0], points[:, 1])
    across = np.array([-slope, 1.0]) / np.hypot(1.0, slope)
    off = points[:, :2] @ across - offset * across[1]
    by_height = rays[:, :2] @ across / rays[:, 2]
    shows = np.abs(by_height) > STEEP
    height = np.where(shows, -1 / np.where(shows, by_height, 1.0), 0.0)
    # Where much of the sheet is bent, what of it lies in its plane is a guess as good as that.
    u_depth = float(np.hypot(u_sheet_mm, scatter * np.abs(np.median(height))))
    return laid(points_px, sheet_mm - height * off, u_depth)


def _own_frame(pair: TargetPair, plate: int, points: Array64, rays: Array64) -> tuple[Array64, Array64]:
    """Points and directions (N, 3) of the first plate's frame, told in the plate's own."""
    if plate == 0:
        return points, rays
    pose = pair.second_in_first
    return (points - pose.translation_mm) @ pose.rotation, rays @ pose.rotation


def _line(x: Array64, y: Array64) -> tuple[float, float, float]:
    """Offset, slope of the straight line that half of the points follow best, and all points' scatter."""
    size = max(1, min(BLOCKS, len(x)))
    middles = [(float(np.mean(part[0])), float(np.median(part[1]))) for part in _blocks(x, y, size)]
    x_mid, y_mid = np.transpose(middles)
    one, other = np.triu_indices(size, 1)
    slopes = (y_mid[other] - y_mid[one]) / (x_mid[other] - x_mid[one]) if size > 1 else np.zeros(1)
    offsets = y_mid[one] - slopes * x_mid[one] if size > 1 else y_mid
    left = np.abs(y - offsets[:, None] - slopes[:, None] * x)
    best = int(np.quantile(left, LIES_FLAT, axis=1).argmin())
    reach = ON_LINE * max(1.4826 * float(np.quantile(left[best], LIES_FLAT)), LEAST_SCATTER_MM)
    on_it = left[best] <= reach
    offset, slope = offsets[best], slopes[best]
    if size > 1:
        slope, offset = np.polyfit(x[on_it], y[on_it], 1)
    scatter = 1.4826 * float(np.median(np.abs(y - offset - slope * x)))
    return float(offset), float(slope), scatter


def _blocks(x: Array64, y: Array64, count: int) -> list[tuple[Array64, Array64]]:
    return list(zip(np.array_split(x, count), np.array_split(y, count), strict=True))
