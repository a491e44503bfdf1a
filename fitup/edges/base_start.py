"""Where the fit of an arris above a base begins, in profiles turned to have the base on the right."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris_start import running_median
from fitup.edges.base_light import FACE_ENDS, FACE_SHARE

__all__ = ["BaseStart", "base_start", "base_weights", "glare_weights"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

FLANK_PX = 10.0  # plate taken into the fit before the arris
LEAST_FLANK_PX = 3.0
LINE_STRETCH = 12  # stations to either side that tell where the arris runs
STRAY_PX = 2.5
OPEN_GAPS, OPEN_PX = 4.0, 8.0  # how far behind the arris the base's open light is met
GLARE = 1.5  # times as bright as the flank
BRIGHT = 0.75  # a floor brighter than that share of the darker side is lit from behind


@dataclass(frozen=True, kw_only=True, eq=False)
class BaseStart:
    """Start values of N stations: the arris and the half level behind it [px], levels in linear light."""

    near: Array64
    half: Array64
    left: Array64
    right: Array64
    floor: Array64
    lit: NDArray[np.bool_]

    def at(self, pick: NDArray[np.intp]) -> BaseStart:
        """Start values of the picked stations."""
        return BaseStart(**{name: getattr(self, name)[pick] for name in self.__dataclass_fields__})


def base_start(x: Array64, profiles: Array, core_px: float, flank_px: Array64) -> BaseStart:
    """From the steepest fall near the line, which is the arris, and the half level behind the dark."""
    smooth = cv2.GaussianBlur(profiles, (0, 0), sigmaX=1.0, sigmaY=1.5).astype(np.float64)
    near = _arris(x, smooth, core_px)
    away = x - near[:, None]
    reach = np.clip(flank_px, LEAST_FLANK_PX, FLANK_PX)[:, None]
    left = _masked(smooth, (away < -0.25 * reach) & (away > -0.9 * reach))
    dark = np.where((away > 0) & (away < core_px), smooth, np.inf)
    bottom = dark.argmin(axis=1)
    stations = np.arange(len(smooth))
    floor = smooth[stations, bottom]
    face = np.minimum(flank_px, 1e3)[
        :, None
    ]  # a lap's end face, mirrored, ends some 2 g + t behind the arris
    right = _masked(
        smooth, (away > np.minimum(0.6 * face, core_px)) & (away < np.maximum(face, LEAST_FLANK_PX))
    )
    behind = (np.arange(len(x)) > bottom[:, None]) & (smooth > ((floor + right) / 2)[:, None])
    half = np.where(behind.any(axis=1), x[behind.argmax(axis=1)], x[-1])
    lit = floor > BRIGHT * np.minimum(left, right)
    return BaseStart(
        near=near, half=np.maximum(half, near + 1.0), left=left, right=right, floor=floor, lit=lit
    )


def glare_weights(light: Array64, flank: Array64) -> Array64:
    """Weights of samples (..., M) by their light and the flank's: how a base mirrors lamps is known badly."""
    return np.asarray(np.minimum(1.0, (GLARE * flank / np.maximum(light, 1e-6)) ** 2))


def base_weights(
    x: Array64, profiles: Array, clipped: Array, start: BaseStart, width_px: Array64, flank_px: Array64
) -> Array:
    """Samples from a flank before the arris to where the base lies open; burnt-out ones do not count."""
    away = x - start.near[:, None]
    reach = np.clip(flank_px - 3.0, LEAST_FLANK_PX, FLANK_PX)[:, None]
    open_at = np.maximum(OPEN_GAPS * width_px, width_px + OPEN_PX)
    open_at = np.minimum(open_at, FACE_ENDS * width_px + FACE_SHARE * flank_px)[:, None]
    window = (away > -reach) & (away < open_at) & (clipped <= 0.2)
    return np.asarray(
        window * glare_weights(np.asarray(profiles, np.float64), start.left[:, None]), np.float32
    )


def _arris(x: Array64, smooth: Array64, core_px: float) -> Array64:
    """The steepest fall relative to its own light (N,) [px], strays put back on their neighbours' line."""
    light = np.maximum(smooth, 0.05 * smooth.mean(axis=1, keepdims=True) + 1e-4)
    # A land's other edge may be the stronger one, but what lies behind it is no darkness: its share is less.
    fall = -np.gradient(np.log(light), axis=1)
    pull = np.exp(-0.5 * (x / (0.5 * core_px)) ** 2)
    score = np.where(np.abs(x) < core_px, fall * pull, -np.inf)
    near = x[score.argmax(axis=1)]
    usual = running_median(near, LINE_STRETCH)
    return np.where(np.abs(near - usual) > STRAY_PX, usual, near)


def _masked(values: Array64, mask: NDArray[np.bool_]) -> Array64:
    """Median of each row's masked values; the row's own where none is."""
    masked = np.where(mask | ~mask.any(axis=1, keepdims=True), values, np.nan)
    return np.asarray(np.nanmedian(masked, axis=1))
