"""The lands beside the gap: cut faces that the two plates turn to the camera, and that guide the wire.

A land ends at the plate's outer arris, where the light changes in either direction. That edge is looked for
around the place where sheet thickness and view angle put it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges.arrises_result import Arrises

__all__ = ["Lands", "find_lands"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

REACH = (0.15, 1.4)  # where the outer arris is looked for, in expected widths of the land
RIM_SIGMAS = 2.0  # blur sigmas from the inner arris, whose own edge reaches that far
STRONG = 0.7
POOLED_STATIONS = 5  # along the joint
CLEAR_SIGMAS = 4.0  # an edge over the scatter of the land's own light
LEAST_STEP = 0.06  # of the light: an edge fainter than that is not called one


@dataclass(frozen=True, kw_only=True, eq=False)
class Lands:
    """Length of both lands square to the joint (N,) [mm], NaN where no outer arris was seen.

    A side without a land is NaN all along; `near_expected` and `far_expected` say which have one.
    """

    near_mm: Array64
    far_mm: Array64
    near_expected: bool
    far_expected: bool


def find_lands(arrises: Arrises, linear: Array) -> Lands:
    """Measure the lands of a joint between lands; `linear` (N, M) are the band's profiles in linear light."""
    section = arrises.section
    if not section.between_lands:
        none = np.full(len(arrises.near_mm), np.nan)
        return Lands(near_mm=none, far_mm=none, near_expected=False, far_expected=False)
    across, along = max(arrises.blur_px / 2, 0.7), POOLED_STATIONS / 2
    smooth = np.asarray(cv2.GaussianBlur(linear, (0, 0), sigmaX=across, sigmaY=along), np.float64)
    near = _length(arrises, smooth, arrises.near_mm, section.near_flank_mm, -1)
    far = _length(arrises, smooth, arrises.far_mm, section.far_flank_mm, +1)
    return Lands(
        near_mm=near,
        far_mm=far,
        near_expected=bool(np.isfinite(section.near_flank_mm).all()),
        far_expected=bool(np.isfinite(section.far_flank_mm).all()),
    )


def _length(arrises: Arrises, smooth: Array64, inner_mm: Array64, seen_mm: Array64, side: int) -> Array64:
    """Length of the land on one side (-1 near, +1 far): thickness times seen over expected width."""
    sheet_mm, band = arrises.section.sheet_mm, arrises.band
    if sheet_mm is None or not np.isfinite(seen_mm).all():
        return np.full(len(inner_mm), np.nan)
    away = side * (band.n_mm - inner_mm[:, None]) / seen_mm[:, None]
    rise = np.abs(np.gradient(smooth, axis=1))
    rim = (
        RIM_SIGMAS * arrises.blur_px * band.sample_mm / seen_mm[:, None]
    )  # the inner arris has an edge of its own
    window = (away > np.maximum(REACH[0], rim)) & (away < REACH[1])
    # Only a peak is an edge: on the slope of a stronger one outside the window nothing is found.
    peak = np.zeros_like(window)
    peak[:, 1:-1] = (rise[:, 1:-1] >= rise[:, :-2]) & (rise[:, 1:-1] >= rise[:, 2:])
    found = _first_strong(np.where(window & peak, rise, 0.0), side)
    rows = np.arange(len(inner_mm))
    at = _peak(rise, rows, found)
    own = (away > 0.3) & (away < 0.7)
    level = np.nanmedian(np.where(own, smooth, np.nan), axis=1)
    even = float(np.median(rise[own]))  # a land's light rises evenly outwards, alike along the joint
    quiet = 1.4826 * float(np.median(np.abs(rise[own] - even)))
    spread = np.sqrt(2 * np.pi) * arrises.blur_px
    stands_out = rise[rows, found] - even
    clear = (stands_out > CLEAR_SIGMAS * quiet) & (stands_out * spread > LEAST_STEP * level)
    seen = side * ((at + band.n_mm[0] / band.sample_mm) * band.sample_mm - inner_mm)
    return np.where(clear & (window & peak).any(axis=1), sheet_mm * seen / seen_mm, np.nan)


def _first_strong(peaks: Array64, side: int) -> NDArray[np.intp]:
    """Column (N,) of the peak next to the gap of those that are at least half as strong as the strongest."""
    strong = (peaks >= STRONG * peaks.max(axis=1, keepdims=True)) & (peaks > 0)
    last = peaks.shape[1] - 1
    return np.asarray(strong.argmax(axis=1) if side > 0 else last - strong[:, ::-1].argmax(axis=1))


def _peak(rise: Array64, rows: NDArray[np.intp], found: NDArray[np.intp]) -> Array64:
    """Place of each row's peak to a fraction of a sample, by a parabola through three."""
    middle = np.clip(found, 1, rise.shape[1] - 2)
    before, here, after = (rise[rows, middle + k].astype(np.float64) for k in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(np.abs(bend) > 1e-12, 0.5 * (before - after) / np.where(bend == 0, 1, bend), 0.0)
    return np.asarray(middle + np.clip(shift, -0.5, 0.5))
