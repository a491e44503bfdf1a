"""The band along the joint, straightened: one cross profile of the photo for every station.

The photo is sampled once, bilinearly, square to the joint. Each station's profile is a trimmed mean over the
stretch of joint that the station stands for, so that a scratch or a speck of dust of one pixel does not
count, and nothing longer is smoothed away.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.joint_line import JointLine
from fitup.photo import Photo
from fitup.scale import ScaleMap

__all__ = ["Band", "straighten"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

STEP_MM = 0.5
HALF_WIDTH_MM = 4.0  # reaches both plates of a gap of 3 mm that lies 1 mm off the line
_COARSE = 8  # across the joint, the map from band to photo is computed at every 8th sample and interpolated


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """Cross profiles at N stations, M samples each.

    `profiles` (N, M) display-encoded grey 0..1, `clipped` (N, M) share of burnt-out pixels, `inside` (N,)
    whether the whole profile lies in the photo. Sample m lies at n = `n_mm`[m] across the joint. `xy_mm` and
    `normal` (N, 2) place the stations in the target frame.
    """

    station_mm: Array64
    n_mm: Array64
    xy_mm: Array64
    normal: Array64
    profiles: Array
    clipped: Array
    inside: NDArray[np.bool_]
    step_mm: float
    sample_mm: float
    rows_per_station: int

    def points_mm(self, n_mm: Array64) -> Array64:
        """Points (N, 2) of the target frame at n (N,) across each station."""
        return self.xy_mm + n_mm[:, None] * self.normal


def straighten(photo: Photo, scale: ScaleMap, line: JointLine, *, step_mm: float = STEP_MM) -> Band:
    """Sample the photo square to the joint at stations every `step_mm` along the line."""
    first = np.ceil(line.s_mm[0] / step_mm - 0.25) * step_mm
    stations = np.arange(first, line.s_mm[-1] + step_mm / 4, step_mm)
    xy, normal = line.at(stations)
    sample_mm = 1.0 / float(np.median(scale.px_per_mm(xy)))
    half = int(np.ceil(HALF_WIDTH_MM / sample_mm))
    n_mm = np.asarray(np.arange(-half, half + 1) * sample_mm, np.float64)
    rows = max(round(step_mm / sample_mm), 3)
    grey = photo.grey8
    bounds = stations[0] + (np.arange(len(stations) + 1) - 0.5) * step_mm
    map_u, map_v, inside = _maps(scale, line, bounds, rows, n_mm, grey.shape)
    top, left, window = _window(grey, map_u, map_v)
    sampled = cv2.remap(window, map_u - left, map_v - top, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    stack = np.asarray(sampled, np.uint8).reshape(len(stations), rows, len(n_mm))
    return Band(
        station_mm=stations,
        n_mm=n_mm,
        xy_mm=xy,
        normal=normal,
        profiles=_trimmed_mean(stack) / np.float32(255),
        clipped=(stack >= 252).mean(axis=1, dtype=np.float32),
        inside=inside,
        step_mm=step_mm,
        sample_mm=sample_mm,
        rows_per_station=rows,
    )


def _maps(
    scale: ScaleMap, line: JointLine, bounds: Array64, rows: int, n_mm: Array64, shape: tuple[int, ...]
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Image coordinates of the band's samples, and whether each of N stations lies in the photo.

    `bounds` (N + 1,) part the stations, each of which gets `rows` rows of samples. Between stations, and
    between coarse samples across, the perspective map is straight to some thousandths of a pixel.
    """
    coarse_n = np.linspace(n_mm[0], n_mm[-1], max(len(n_mm) // _COARSE, 2))
    xy, normal = line.at(bounds)
    uv = scale.to_px(xy[:, None, :] + coarse_n[:, None] * normal[:, None, :])
    height, width = shape[:2]
    inside = np.asarray(((uv >= 0) & (uv <= [width - 1, height - 1])).all(axis=(1, 2)))
    part = ((np.arange(rows) + 0.5) / rows)[:, None, None]
    uv = uv[:-1, None] * (1 - part) + uv[1:, None] * part
    # Linear interpolation as one matrix product, whose rows are hat functions.
    step = coarse_n[1] - coarse_n[0]
    hats = np.maximum(1 - np.abs(n_mm - coarse_n[:, None]) / step, 0)
    u, v = (np.asarray(uv[..., k].reshape(-1, len(coarse_n)) @ hats, np.float32) for k in (0, 1))
    return u, v, inside[:-1] & inside[1:]


def _window(grey: NDArray[np.uint8], map_u: Array, map_v: Array) -> tuple[int, int, NDArray[np.uint8]]:
    """Cut out the part of the photo that is sampled: keeps float32 coordinates exact and memory near."""
    height, width = grey.shape
    top, bottom = int(np.clip(map_v.min() - 2, 0, height - 2)), int(np.clip(map_v.max() + 3, 2, height))
    left, right = int(np.clip(map_u.min() - 2, 0, width - 2)), int(np.clip(map_u.max() + 3, 2, width))
    return top, left, grey[top:bottom, left:right]


def _trimmed_mean(stack: NDArray[np.uint8]) -> Array:
    """Mean over axis 1 without the smallest and largest value: one odd pixel in a station cannot speak."""
    total = stack.sum(axis=1, dtype=np.int32) - stack.min(axis=1) - stack.max(axis=1)
    return np.asarray(total / np.float32(stack.shape[1] - 2), np.float32)
