"""A glimpse of the next strip at a photo's edge: no target, but enough to say where that strip lies.

A strip is accepted as a target by four of its markers. Laid end to end with one that is, two are enough:
they must bear the number that is expected there and lie where that strip must lie. Its saddles beside them
are then measured where they must be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError
from fitup.photo import Photo
from fitup.scale.layout import TargetLayout, target_layout
from fitup.scale.markers import find_outlines, read_markers
from fitup.scale.saddles import jacobian, looks_like_saddle, refine_corners, saddle_windows
from fitup.scale.scale_map import ScaleMap
from fitup.scale.strip_chain import OUT_OF_ORDER_MM, paper_pitch_mm

__all__ = ["SeenSaddles", "glimpse_neighbours"]

Array64 = NDArray[np.float64]

REACH_MM = 60.0  # of the next pattern; who sees more of it sees it as a target
LEAST_MARKERS = 2
SAME_SHIFT_MM = 0.5  # markers of one strip that lie together
LEAST_SADDLES = 3
STRAY_MM = 0.3
_EDGE_PX = 4


@dataclass(frozen=True, kw_only=True, eq=False)
class SeenSaddles:
    """Saddles of a strip in a photo: its drawing, places on it (N, 2) [mm] and in the image (N, 2) [px]."""

    layout: TargetLayout
    saddles_mm: Array64
    saddles_px: Array64


def glimpse_neighbours(photo: Photo, face: ScaleMap, known: frozenset[int]) -> tuple[SeenSaddles, ...]:
    """Strips of the next lower and next higher number that show at the photo's edges.

    Parameters
    ----------
    face : map of the printed face of the strip that was found
    known : strip numbers that need no second look
    """
    here = face.sighting.layout
    found = []
    for side in (-1, 1):
        number = here.strip_number + side
        if number in known:
            continue
        try:
            layout = target_layout(number, here.name)
        except UsageError:  # there is no such number
            continue
        seen = _glimpse(photo, face, layout, side)
        if seen is not None:
            found.append(seen)
    return tuple(found)


def _glimpse(photo: Photo, face: ScaleMap, layout: TargetLayout, side: int) -> SeenSaddles | None:
    factors = _factors(face)
    expected = np.array([side * paper_pitch_mm(layout, float(factors[0])), 0.0])
    shift = _shift_of_markers(photo, face, layout, expected, factors, side)
    if shift is None:
        return None
    drawn = layout.saddles_mm
    places = drawn * factors + expected + shift
    guess = face.to_px(places)
    local = jacobian(face.homography, places)
    window = saddle_windows(layout, np.sqrt(np.abs(np.linalg.det(local))))
    room = (window + _EDGE_PX)[:, None]
    inside = ((guess > room) & (guess < np.array(face.size_px) - 1 - room)).all(axis=1)
    ids = np.flatnonzero(inside)
    if len(ids) < LEAST_SADDLES:
        return None
    points = refine_corners(photo.grey8, guess[ids], window[ids])
    sound = looks_like_saddle(photo.grey8, layout, ids, points, local[ids])
    moved = face.to_mm(points) - places[ids]
    if sound.any():
        sound &= np.linalg.norm(moved - np.median(moved[sound], axis=0), axis=1) < STRAY_MM
    if np.count_nonzero(sound) < LEAST_SADDLES:
        return None
    return SeenSaddles(layout=layout, saddles_mm=drawn[ids[sound]], saddles_px=points[sound])


def _shift_of_markers(
    photo: Photo, face: ScaleMap, layout: TargetLayout, expected: Array64, factors: Array64, side: int
) -> Array64 | None:
    """How far the strip lies from where it is expected [mm], by its markers; None where too few are read."""
    length = layout.length_mm
    near = np.array([max(length - REACH_MM, 0.0), length] if side < 0 else [0.0, min(REACH_MM, length)])
    box_mm = np.array([[x, y] for x in near for y in (-layout.width_mm, 0.0)]) * factors + expected
    room = OUT_OF_ORDER_MM * np.array([[1.0, 0.3], [-1.0, -0.3]])
    corners = face.to_px(np.concatenate([box_mm + step for step in room]))
    size = np.array(face.size_px)
    low = np.clip(np.floor(corners.min(axis=0)), 0, size).astype(int)
    high = np.clip(np.ceil(corners.max(axis=0)), 0, size).astype(int)
    if (high - low < 3 * _EDGE_PX).any():
        return None
    crop = np.ascontiguousarray(photo.grey8[low[1] : high[1], low[0] : high[0]])
    markers, _ = read_markers(crop, find_outlines(crop, 1), layout.dictionary)
    index = markers.ids - layout.first_id
    mine = (index >= 0) & (index < layout.marker_count)
    if np.count_nonzero(mine) < LEAST_MARKERS:
        return None
    centre_px = markers.corners_px[mine].mean(axis=1) + low
    centre_mm = layout.marker_corners_mm[index[mine]].mean(axis=1) * factors + expected
    shift = face.to_mm(centre_px) - centre_mm
    common = np.median(shift, axis=0)
    together = np.linalg.norm(shift - common, axis=1) < SAME_SHIFT_MM
    if len(np.unique(index[mine][together])) < LEAST_MARKERS or np.linalg.norm(common) > OUT_OF_ORDER_MM:
        return None
    return np.asarray(shift[together].mean(axis=0))


def _factors(face: ScaleMap) -> Array64:
    """By how much the print is longer than drawn, along and across."""
    record = face.print_record
    return np.ones(2) if record is None else np.array([record.along_factor, record.across_factor])
