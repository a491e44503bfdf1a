"""Is what was fitted the gap, empty, and all of it? A shadow beside it, a wire on it, a blade in it.

Each of them makes a bar with two sharp edges that fits as well as a gap. What gives them away is light: a
gap is dark, its cut face has much the same light along the joint, and plates do not change where it does.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges import Arrises

__all__ = ["other_body", "shadow_beside"]

Array64 = NDArray[np.float64]
Flags = NDArray[np.bool_]

WIDE_BLURS = 3.0  # gap over blur sigma from which light within it is told
# Of the plate's light: a floor that is at least as bright, and this much brighter than the "face" behind it.
SHADE, SHADE_STEP = 0.2, 0.12
SHADE_STRETCH = 5  # stations to either side that decide together
# A cut face is this much brighter, as a share of its plate, and by this factor, than the darker quarter's.
FACE_STEP, FACE_FACTOR, FACE_USUAL = 0.3, 2.0, 25.0
# Or than right beside it, in a slot at most so wide over its depth: a wider one lets more light in.
FACE_JUMP, SLOT = 0.15, 0.5
FACE_BAND_PX = 1.5  # narrower, it shows no light of its own
FACE_KNOWN = 20  # stations that must show it
# A gap that narrows at one place by so much, and so large a part, while a plate's light changes (log).
NARROWS_MM, NARROWS_SHARE, PLATE_CHANGE = 0.12, 0.35, 0.25
LONGEST_MM = 30.0  # a blade is half as wide
SIDE = 3  # stations before and after such a place


def shadow_beside(arrises: Arrises) -> Flags:
    """Stations (N,) whose gap seems half bright and half dark, with the bright half away from the cut face.

    A plate that stands out throws a shadow beside the gap: plate, shade, gap, plate. Read as one gap it has a
    bright floor and a dark cut face, which no light from above can make. Light from below can; then the
    photo does not tell which it is.
    """
    left, floor, right, face = arrises.fit.levels.T
    none = np.zeros(len(left), bool)
    if not arrises.section.in_plate_plane:
        return none
    plate = np.maximum(np.minimum(left, right), 1e-3)
    shown = _wide(arrises) & (arrises.fit.band_px < arrises.fit.width_px)  # else the face hides the floor
    shade = shown & (floor > SHADE * plate) & (floor - face > SHADE_STEP * plate)
    if not shade.any():
        return none
    size = (2 * SHADE_STRETCH + 1, 1)
    share = cv2.blur(shade.astype(np.float64)[None], size, borderType=cv2.BORDER_REPLICATE)[0]
    lasting = np.asarray(share > 0.5, np.uint8)[None]
    # At its ends the shade grows too narrow to be told from the gap.
    return np.asarray(cv2.dilate(lasting, np.ones((1, 4 * SHADE_STRETCH + 1), np.uint8))[0] > 0)


def other_body(arrises: Arrises, hidden: Flags) -> Flags:
    """Stations (N,) where something lies on the gap or stands in it, so that it is not the gap that shows.

    Besides stations that are known to be `hidden` by tacks or glare.
    """
    if not arrises.section.in_plate_plane:
        return np.zeros(len(arrises.gap_mm), bool)
    near = cv2.dilate(np.asarray(hidden, np.uint8)[None], np.ones((1, 2 * SIDE + 1), np.uint8))[0] > 0
    return _bright_face(arrises, ~near) | _narrowed(arrises, ~near)


def _wide(arrises: Arrises) -> Flags:
    return np.asarray(~arrises.lit & (arrises.fit.width_px > WIDE_BLURS * arrises.fit.blur_px))


def _bright_face(arrises: Arrises, clear: Flags) -> Flags:
    """A wire over the gap: where the cut face should be, it is far brighter than elsewhere along the joint.

    Or brighter than right beside it, where the gap seems to change its width at the same place.
    """
    told = _wide(arrises) & (arrises.fit.band_px > FACE_BAND_PX)
    share = arrises.fit.levels[:, 3] / np.maximum(arrises.fit.levels[:, 2], 1e-3)
    if told.sum() < FACE_KNOWN:
        return np.zeros(len(share), bool)
    usual = float(np.percentile(share[told], FACE_USUAL))
    flags = np.asarray(told & (share > max(FACE_FACTOR * usual, usual + FACE_STEP)))
    before, after = _sides(share)
    jumps = np.abs(np.subtract(*_sides(arrises.gap_mm))) > NARROWS_MM
    jumps &= np.maximum(*_sides(arrises.gap_mm)) < SLOT * arrises.section.face_depth_mm
    for dark, bright, step in ((before, after, 1), (after, before, -1)):
        for place in np.flatnonzero(jumps & clear & (bright - dark > FACE_JUMP)):
            like = told[place::step] & (share[place::step] > dark[place] + FACE_JUMP / 2)
            flags[place::step] |= _lasting(like)
    return flags


def _lasting(flags: Flags) -> Flags:
    """From the first stations on, as far as the flag holds but for gaps of a few stations."""
    misses = np.convolve(~flags, np.ones(SIDE + 1), mode="full")[: len(flags)] > SIDE
    end = int(misses.argmax()) if misses.any() else len(flags)
    return np.asarray(flags & (np.arange(len(flags)) < end))


def _narrowed(arrises: Arrises, clear: Flags) -> Flags:
    """A blade in the gap: it narrows at once where a plate's light changes too, as far as it stays narrow."""
    gap = arrises.gap_mm
    flags = np.zeros(len(gap), bool)
    plates = np.zeros(len(gap), bool)
    for k in (0, 2):
        levels = np.log(np.maximum(arrises.fit.levels[:, k], 1e-3))
        plates |= np.abs(np.subtract(*_sides(levels))) > PLATE_CHANGE
    longest = round(LONGEST_MM / arrises.band.step_mm)
    before, after = _sides(gap)
    for wide, narrow, step in ((before, after, 1), (after, before, -1)):
        falls = (wide - narrow > NARROWS_MM) & (wide - narrow > NARROWS_SHARE * wide)
        rises = (narrow - wide > NARROWS_MM) & (narrow - wide > NARROWS_SHARE * narrow)
        for place in np.flatnonzero(falls & plates & clear):
            ends = np.flatnonzero(rises[place::step][:longest])
            if len(ends) or len(gap[place::step]) < longest:
                flags[place::step][: int(ends[0]) + SIDE if len(ends) else None] = True
    return flags


def _sides(values: Array64) -> tuple[Array64, Array64]:
    """Medians (N,) of the stations before and after each."""
    padded = np.pad(values, SIDE, mode="edge")
    medians = np.median(np.lib.stride_tricks.sliding_window_view(padded, SIDE), axis=1)
    return medians[: len(values)], medians[SIDE : SIDE + len(values)]
