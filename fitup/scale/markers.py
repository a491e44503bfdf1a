"""Markers in a photo: four-cornered outlines from the board library, their numbers by table look-up.

The library compares every outline with every word of a dictionary in turn, which takes 45 of 47 ms
for a thousand words. Here all outlines are sampled at once and their bits looked up as one integer.
Only exact words count: the damage that an error-correcting look-up would save is not needed (four
markers give the whole strip), and false numbers become rare.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.saddles import refine_corners

__all__ = ["Markers", "find_outlines", "read_markers"]

_THRESHOLD_WINDOW_PX = 13
_SMALLEST_SIDE_PX = 9.0  # a marker of seven modules below that is not read reliably
_BORDER_ERRORS = 2  # modules of the black border that may read white (a speck, a highlight)
_RIM_SHARE = 0.13
_LEAST_CONTRAST = 12.0  # grey levels between border and bright modules


@dataclass(frozen=True, kw_only=True, eq=False)
class Markers:
    """Markers of one dictionary: ids (N,), corners_px (N, 4, 2) clockwise from the marker's upper left."""

    ids: NDArray[np.int64]
    corners_px: NDArray[np.float64]


def find_outlines(grey: NDArray[np.uint8], reduction: int) -> NDArray[np.float64]:
    """(Q, 4, 2) four-cornered outlines on the picture reduced by `reduction`, in pixels of the full one."""
    small = _reduced(grey, reduction)
    _, _, rejected = _outline_finder(max(small.shape)).detectMarkers(small)
    if len(rejected) == 0:
        return np.empty((0, 4, 2))
    corners = np.asarray(rejected, dtype=np.float64).reshape(-1, 4, 2)
    # A pixel of the small picture covers whole pixels of the big one: centres shift by half a pixel.
    (height, width), (rows, columns) = grey.shape, small.shape
    return _sharpen(grey, (corners + 0.5) * [width / columns, height / rows] - 0.5)


def read_markers(
    grey: NDArray[np.uint8], outlines: NDArray[np.float64], dictionary: str
) -> tuple[Markers, int]:
    """Read the outlines as markers of a dictionary, and count those that read as a marker's mirror image."""
    if len(outlines) == 0:
        return Markers(ids=np.empty(0, dtype=np.int64), corners_px=outlines), 0
    bits, clean = _modules(grey, outlines, _bits_per_side(dictionary))
    ids, turns = _look_up(bits, dictionary)
    good = clean & (ids >= 0)
    order = (np.arange(4) - turns[good, None]) % 4
    corners = np.take_along_axis(outlines[good], order[..., None], axis=1)
    mirrored = clean & (_look_up(bits[:, :, ::-1], dictionary)[0] >= 0)
    return Markers(ids=ids[good], corners_px=corners), int(np.count_nonzero(mirrored))


def _reduced(grey: NDArray[np.uint8], reduction: int) -> NDArray[np.uint8]:
    """The picture at 1/`reduction`, a power of two; two halvings take a seventh of a quartering's time."""
    height, width = grey.shape
    step = 1
    while step < reduction:
        step *= 2
        size = (max(width // step, 1), max(height // step, 1))
        grey = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)
    return grey


def _sharpen(grey: NDArray[np.uint8], outlines: NDArray[np.float64]) -> NDArray[np.float64]:
    """Move outline corners, which sit on whole pixels of the small picture, onto the corners of the full one.

    It makes several times as many small markers readable. The window stays inside the marker's white rim
    (a fifth of its side); what wanders further than that was no marker and stays as it was.
    """
    side = np.linalg.norm(outlines - np.roll(outlines, 1, axis=1), axis=2).mean(1)
    window = np.clip(np.rint(_RIM_SHARE * side), 2, 5).astype(np.int64).repeat(4)
    corners = refine_corners(grey, outlines.reshape(-1, 2), window).reshape(-1, 4, 2)
    lost = np.abs(corners - outlines).max((1, 2)) > 0.2 * side
    return np.where(lost[:, None, None], outlines, corners)


@cache
def _outline_finder(longest_px: int) -> cv2.aruco.ArucoDetector:
    """Give a detector whose only word no print carries: every outline comes back as rejected."""
    word = cv2.aruco.Dictionary.getByteListFromBits(np.ones((5, 5), dtype=np.uint8))
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = _THRESHOLD_WINDOW_PX
    settings.minMarkerPerimeterRate = 4 * _SMALLEST_SIDE_PX / longest_px
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    # Nothing is read here: the outlines' insides are looked at as coarsely and shortly as can be.
    settings.perspectiveRemovePixelPerCell, settings.minOtsuStdDev = 1, 255.0
    return cv2.aruco.ArucoDetector(cv2.aruco.Dictionary(word, 5, 0), settings)


def _modules(
    grey: NDArray[np.uint8], outlines: NDArray[np.float64], bits: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Read (Q, bits, bits) modules, True = white, and (Q,) whether border and contrast are a marker's."""
    side = bits + 2
    quarter = (np.arange(2 * side) + 0.5) / (2 * side)  # two samples a module each way
    down, right = np.meshgrid(quarter, quarter, indexing="ij")
    u, v = _from_unit_square(outlines, right.ravel(), down.ravel())
    samples = cv2.remap(grey, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = samples.reshape(-1, side, 2, side, 2).mean((2, 4))
    inner = values[:, 1:-1, 1:-1]
    ring = np.ones((side, side), dtype=bool)
    ring[1:-1, 1:-1] = False
    rim = values[:, ring]
    dark = np.median(rim, axis=1)
    # The ninth decile, interpolated: a sort takes a third of the time of np.percentile.
    rank, part = divmod(0.9 * (bits * bits - 1), 1)
    upper = np.sort(inner.reshape(-1, bits * bits), axis=1)[:, int(rank) : int(rank) + 2]
    bright = upper[:, 0] * (1 - part) + upper[:, 1] * part
    level = (dark + bright) / 2
    border_errors = np.count_nonzero(rim > level[:, None], axis=1)
    clean = (bright - dark > _LEAST_CONTRAST) & (border_errors <= _BORDER_ERRORS)
    return inner > level[:, None, None], clean


def _from_unit_square(
    corners: NDArray[np.float64], u: NDArray[np.float64], v: NDArray[np.float64]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Places (Q, S) across and down of points u, v of the unit square in Q quadrilaterals, in perspective.

    The projective map of the unit square onto a quadrilateral in closed form (P. S. Heckbert,
    Fundamentals of Texture Mapping and Image Warping, 1989, section 2.2.3).
    """
    p0, p1, p2, p3 = (corners[:, i] for i in range(4))
    d1, d2, s = p1 - p2, p3 - p2, p0 - p1 + p2 - p3
    det = d1[:, 0] * d2[:, 1] - d2[:, 0] * d1[:, 1]
    det = np.where(np.abs(det) < 1e-9, np.inf, det)
    g = ((s[:, 0] * d2[:, 1] - d2[:, 0] * s[:, 1]) / det)[:, None, None]
    h = ((d1[:, 0] * s[:, 1] - s[:, 0] * d1[:, 1]) / det)[:, None, None]
    e0, e1, e3 = p0[:, None], p1[:, None], p3[:, None]
    a, b = e1 - e0 + g * e1, e3 - e0 + h * e3
    # Three products of small matrices: coefficients (Q, 3) by the points' (u, v, 1).
    points = np.stack((u, v, np.ones_like(u)))
    across, down = (np.concatenate((a, b, e0), axis=1)[..., k] @ points for k in (0, 1))
    below = np.concatenate((g, h, np.ones_like(g)), axis=1)[..., 0] @ points
    return (across / below).astype(np.float32), (down / below).astype(np.float32)


@cache
def _bits_per_side(name: str) -> int:
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).markerSize)


@cache
def _word_table(name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All words in their four turns as sorted integers, and where each came from (4 id + turn)."""
    stored = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).bytesList
    # Declared as bytes × four channels, but filled turn by turn: all bytes of the first turn come first.
    words = stored.reshape(len(stored), 4, -1).astype(np.int64)
    spare = _bits_per_side(name) ** 2 % 8 or 8  # bits in the last byte, which is right-aligned
    keys = np.zeros((len(words), 4), dtype=np.int64)
    last = words.shape[2] - 1
    for byte in range(last + 1):
        keys = (keys << (spare if byte == last else 8)) | words[:, :, byte]
    order = np.argsort(keys, axis=None, kind="stable")
    return keys.ravel()[order], order


def _look_up(bits: NDArray[np.bool_], name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(Q,) marker numbers, -1 where the bits are no word, and the quarter turns of the outline."""
    keys, order = _word_table(name)
    flat = bits.reshape(len(bits), -1)
    weights = 1 << np.arange(flat.shape[1] - 1, -1, -1, dtype=np.int64)
    observed = flat @ weights
    at = np.minimum(np.searchsorted(keys, observed), len(keys) - 1)
    ids = np.where(keys[at] == observed, order[at] // 4, -1)
    return ids, order[at] % 4
