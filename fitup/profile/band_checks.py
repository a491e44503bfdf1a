"""Checks of a fitted gap against the band itself: is the dip there, and is it the only one?

A fit can run off to where none of its samples lie, and a pen line close beside the joint is as good a gap as
the joint to it. Both show in the profiles as they came from the photo (display-encoded, smoothed over a few
stations), without any model.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises, Lands
from fitup.joint import JointKind

__all__ = ["arris_misplaced", "dip_missing", "land_missing", "second_line"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]
Flags = NDArray[np.bool_]

ENCODING = 1 / 2.2  # drop of light to drop of grey level, roughly
THERE = 0.4  # share of the drop expected from the fit that must be seen
BESIDE_MM = 2.0  # from the gap's edges: as far as a fit may have taken the wrong line
RIVAL_DROP, LEAST_DROP = 0.5, 0.3  # share of the gap's own drop, and of the plate's level: grain is fainter
RETURN = 0.5  # of the second drop: as far the level must rise between both, else it is one wide shade
LAND_STRETCH, LEAST_LAND_SEEN = 20, 0.4  # stations to either side, and share of them that show the arris
LAND_OFF, SHORT_LAND = 0.12, 0.6  # of the sheet: cut edges and readings of lands scatter less than the first
STRETCH = 10  # stations to either side that decide together: a line, not a speck
_SMOOTH = 5  # stations


def dip_missing(arrises: Arrises) -> Flags:
    """Stations (N,) at which the photo shows no dip (lit: no light) where the fit has its gap.

    Only between plates in one plane: beside lands, whose light is their own, `land_missing` asks.
    """
    if not arrises.section.in_plate_plane:
        return np.zeros(len(arrises.gap_mm), bool)
    levels, plate = _levels(arrises)
    inside = _between(arrises, arrises.band.sample_mm)
    seen = np.where(inside, levels, -np.inf).max(axis=1)
    change = np.where(arrises.lit, arrises.contrast, -np.minimum(arrises.contrast, 1.0))
    expected = np.abs((1 + change) ** ENCODING - 1)
    return np.asarray(~(seen > THERE * expected * plate))


def land_missing(lands: Lands) -> Flags:
    """Stations (N,) along a stretch where a land that the joint must have does not end at an arris.

    Where a gap shines as bright as a land, or a land as dark as a gap, one can be taken for the other; only
    the land's outer arris, at its due distance, tells that this edge is the inner one.
    """
    flags = np.zeros(len(lands.near_mm), bool)
    for expected, length in ((lands.near_expected, lands.near_mm), (lands.far_expected, lands.far_mm)):
        if expected:
            seen = np.isfinite(length).astype(np.float64)[None]
            share = cv2.blur(seen, (2 * LAND_STRETCH + 1, 1), borderType=cv2.BORDER_REPLICATE)[0]
            flags |= share < LEAST_LAND_SEEN
    return flags


def arris_misplaced(arrises: Arrises, lands: Lands) -> Flags:
    """Stations (N,) at which a land beside a gap with an end face in it has not the sheet's thickness.

    In such a gap little else tells which edge is which: the near land must be as long as along the joint
    (one that is short by itself is another matter), and an edge joint's far land as thick as the sheet.
    """
    section, none = arrises.section, np.zeros(len(lands.near_mm), bool)
    if not (section.shows_end_face and section.sheet_mm):
        return none
    allowed = LAND_OFF * section.sheet_mm
    off = none
    if lands.near_expected and np.isfinite(lands.near_mm).any():
        usual = float(np.nanmedian(lands.near_mm))
        off = (np.abs(lands.near_mm - usual) > allowed) & (lands.near_mm > SHORT_LAND * section.sheet_mm)
    if lands.far_expected:
        off = off | ~(np.abs(lands.far_mm - section.sheet_mm) <= allowed)
    return np.asarray(off)


def second_line(arrises: Arrises) -> Flags:
    """Stations (N,) along a stretch with another line, hardly fainter, within 2 mm beside the gap.

    Only between plates in one plane; other kinds of joint show lines of their own beside the gap.
    """
    if arrises.section.kind not in (JointKind.BUTT, JointKind.SEAM):
        return np.zeros(len(arrises.gap_mm), bool)
    levels, plate = _levels(arrises)
    n = arrises.band.n_mm
    clear = 2 * arrises.blur_px * arrises.band.sample_mm
    own = np.where(_between(arrises, 0.0), levels, 0).max(axis=1)
    both = np.zeros(len(plate), bool)
    for edge, side in ((arrises.near_mm, -1.0), (arrises.far_mm, 1.0)):
        beyond = side * (n - edge[:, None])
        drop = np.where((beyond > clear) & (beyond < BESIDE_MM), levels, -np.inf)
        most = drop.max(axis=1)
        k = np.flatnonzero((most > RIVAL_DROP * own) & (most > LEAST_DROP * plate))
        if len(k):
            reach = side * (n[drop[k].argmax(axis=1)] - edge[k])
            between = (beyond[k] > 0) & (beyond[k] < reach[:, None])
            both[k] |= np.where(between, levels[k], np.inf).min(axis=1) < (1 - RETURN) * most[k]
    if not both.any():
        return both
    share = cv2.blur(both.astype(np.float64)[None], (2 * STRETCH + 1, 1), borderType=cv2.BORDER_REPLICATE)[0]
    return _with_merging(share > 0.5)


def _with_merging(beside: Flags) -> Flags:
    """Take in as much at both ends: where such a line leaves its place beside the gap it may run into it."""
    wider = beside.copy()
    edges = np.flatnonzero(np.diff(np.concatenate(([False], beside, [False])).astype(np.int8)))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        wider[max(first - (end - first), 0) : end + (end - first)] = True
    return wider


def _levels(arrises: Arrises) -> tuple[Array, Array64]:
    """How far each sample (N, M) falls below its plate, above it where lit from below, and the plate (N,)."""
    profiles = cv2.blur(
        np.asarray(arrises.band.profiles, np.float32), (1, _SMOOTH), borderType=cv2.BORDER_REPLICATE
    )
    n = arrises.band.n_mm
    left = np.median(profiles[:, n < n[0] / 2][:, ::3], axis=1)
    right = np.median(profiles[:, n > n[-1] / 2][:, ::3], axis=1)
    levels = np.where(n < 0, left[:, None], right[:, None]) - profiles
    levels[arrises.lit] *= -1
    return levels, np.asarray((left + right) / 2, np.float64)


def _between(arrises: Arrises, margin_mm: float) -> Flags:
    """Samples (N, M) between both arrises, at least the one in the middle."""
    n = arrises.band.n_mm
    near, far = arrises.near_mm[:, None] - margin_mm, arrises.far_mm[:, None] + margin_mm
    middle = np.abs(n - (near + far) / 2) <= arrises.band.sample_mm
    return np.asarray(((n >= near) & (n <= far)) | middle)
