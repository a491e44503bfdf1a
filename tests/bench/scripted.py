"""What a competent person scripts in an afternoon from general-purpose libraries, for comparison.

Marker corners of the strip by the library's detector with its defaults, one homography over all of them, a
rectified picture, Otsu's threshold in blocks, and in every column the dark run between the two plates. It is
told which strip lies there, to a millimetre where the joint runs, and whether it is lit from behind; it takes
the median over the columns of a station, and a run of more than 3 mm is no gap. Nothing of fitup is used but
the strip's dimensions and the wire's limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale import TargetLayout
from tests.bench.truth import Reading, Truth, runs_of

__all__ = ["Rough", "read_by_script", "rough_joint"]

PX_PER_MM = 20.0  # of the rectified picture, finer than the photo
CORRIDOR_MM = 2.0  # on either side of where the joint is said to run
STEP_MM = 0.5
BLOCK_MM = 10.0  # one threshold each
LEAST_SHARE = 0.5  # of a station's columns that must give a run
WIDEST_MM = 3.0  # a run wider than this is a tack or a shadow, no gap


@dataclass(frozen=True, kw_only=True)
class Rough:
    """Where the joint is said to run: y = offset + slope x, offset rounded to a millimetre."""

    offset_mm: float
    slope: float


def rough_joint(truth: Truth) -> Rough:
    joint = truth.data["joint"]
    slope = float(np.tan(np.radians(joint["angle_deg"])))
    return Rough(offset_mm=float(round(joint["offset_mm"])), slope=round(slope, 3))


def read_by_script(truth: Truth, layout: TargetLayout, limit_mm: float) -> Reading | None:
    """Gap per station; None when the strip is not found."""
    grey = cv2.imread(str(truth.photo), cv2.IMREAD_GRAYSCALE)
    to_px = _homography(grey, layout)
    if to_px is None:
        return None
    rough = rough_joint(truth)
    band = _rectified(grey, to_px, rough, layout.length_mm)
    if truth.data.get("below_the_gap") == "backlit":
        band = 255 - band
    width_mm = _dark_run(_dark(band)) / PX_PER_MM * np.cos(np.arctan(rough.slope))
    return _stations(width_mm, rough, to_px, limit_mm)


def _homography(grey: NDArray[np.uint8], layout: TargetLayout) -> NDArray[np.float64] | None:
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, layout.dictionary))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    if ids is None:
        return None
    place = {int(number): k for k, number in enumerate(layout.marker_ids)}
    known = [
        (place[int(i)], c.reshape(4, 2)) for i, c in zip(ids.ravel(), corners, strict=True) if int(i) in place
    ]
    if len(known) < 4:
        return None
    mm = np.concatenate([layout.marker_corners_mm[k] for k, _ in known])
    px = np.concatenate([c for _, c in known]).astype(np.float64)
    found, _ = cv2.findHomography(mm, px, cv2.RANSAC, 3.0)
    return found


def _rectified(
    grey: NDArray[np.uint8], to_px: NDArray[np.float64], rough: Rough, length_mm: float
) -> NDArray[np.uint8]:
    """Band along the joint: columns along x, rows across, sheared so that the joint lies level."""
    s = 1 / PX_PER_MM
    # Row v, column u of the band -> x = u s, y = offset + slope x + corridor - v s.
    mm = np.array([[s, 0, 0], [rough.slope * s, -s, rough.offset_mm + CORRIDOR_MM], [0, 0, 1.0]])
    size = (int(length_mm * PX_PER_MM), int(2 * CORRIDOR_MM * PX_PER_MM))
    return cv2.warpPerspective(
        grey, to_px @ mm, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )


def _dark(band: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Otsu's threshold, block by block along the joint, for light that falls off along the plates."""
    smooth, block = cv2.medianBlur(band, 3), int(BLOCK_MM * PX_PER_MM)
    dark = np.empty(band.shape, bool)
    for start in range(0, band.shape[1], block):
        part = np.ascontiguousarray(smooth[:, start : start + block])
        _, bright = cv2.threshold(part, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
        dark[:, start : start + block] = bright == 0
    return dark


def _dark_run(dark: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Height in px of the dark run in every column, of the contour that runs longest along the joint."""
    closed = cv2.morphologyEx(dark.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((1, 9), np.uint8))
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    gap = np.zeros(dark.shape, np.uint8)
    # A tack parts the gap into several contours: all that lie on the level of the longest one are the gap.
    boxes = [cv2.boundingRect(c) for c in contours]
    if boxes:
        _, y, _, h = max(boxes, key=lambda box: box[2])
        centre = y + h / 2
        for contour, (_, top, length, height) in zip(contours, boxes, strict=True):
            level = abs(top + height / 2 - centre) < max(h, PX_PER_MM)
            if level and length >= 2 * PX_PER_MM:
                cv2.drawContours(gap, [contour], -1, 1, cv2.FILLED)
    counts = (gap.astype(bool) & dark).sum(axis=0).astype(np.float64)
    return np.where((counts > 0) & (counts <= WIDEST_MM * PX_PER_MM), counts, np.nan)


def _stations(
    width_mm: NDArray[np.float64], rough: Rough, to_px: NDArray[np.float64], limit_mm: float
) -> Reading:
    """Median over the columns of every station."""
    columns = int(STEP_MM * PX_PER_MM)
    count = len(width_mm) // columns
    blocks = width_mm[: count * columns].reshape(count, columns)
    sound = np.isfinite(blocks).mean(axis=1) >= LEAST_SHARE
    gap = np.full(count, np.nan)
    gap[sound] = np.nanmedian(blocks[sound], axis=1)
    x = (np.arange(count) + 0.5) * STEP_MM
    station = (x + rough.slope * rough.offset_mm) / np.cos(np.arctan(rough.slope))
    state = np.where(np.isnan(gap), "unseen", np.where(gap > limit_mm, "over", "within"))
    half = STEP_MM / 2
    spots = tuple((station[a] - half, station[b] + half) for a, b in runs_of(state == "over"))
    y = rough.offset_mm + rough.slope * x
    return Reading(
        station_mm=station,
        gap_mm=gap,
        state=state,
        px_per_mm=_sampling(to_px, x, y),
        over_spots_mm=spots,
    )


def _sampling(
    to_px: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float64]:
    points = np.stack([np.stack([x, y - 0.5], -1), np.stack([x, y + 0.5], -1)])
    seen = cv2.perspectiveTransform(points, to_px)
    return np.linalg.norm(seen[1] - seen[0], axis=-1)
