"""How the print's edges are blurred, in which direction and how far: read at a few thousand points.

Edges between the pattern's outer black squares and the white rim tell the blur along and across the strip,
the checker's saddles what lies between (`motion.py`).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges import CameraResponse
from fitup.photo import Photo
from fitup.profile.motion import QUARTILES, fit_kernel
from fitup.scale import TargetLayout, TargetSighting

__all__ = ["PrintBlur", "print_blur"]

Array64 = NDArray[np.float64]

_REACH_MM, _REACH_PX, _STEP_PX = 3.0, 24.0, 0.75  # white paper beside the pattern is at least that wide
_LINES_MM = np.array([2.2, 3.1, 3.9, 4.8])  # along a square's edge, clear of its corners
_BILINEAR_VARIANCE = 1 / 6  # px², that of bilinear sampling at all phases
_DARK_MM, _BRIGHT_MM = 1.4, 0.5  # into the squares: the white ones have a marker 1 mm from their edges
_LEAST_SADDLES, _MOST_EDGES = 6, 12
# From here on it is motion, and no unevenness of lens or print (found on drawn photos: defocus and none).
_TOLD_PX, _TOLD_RATIO = 1.5, 1.15


@dataclass(frozen=True, kw_only=True)
class PrintBlur:
    """The blur's ellipse: `sigma_px` across the motion, drawn out over `length_px` along it.

    `direction_deg` is that of the motion in the upright photo, 0 along u, 90 along v, from -90 to 90.
    `moved` tells motion from defocus, which is alike in all directions.
    """

    sigma_px: float
    length_px: float
    direction_deg: float
    moved: bool


def print_blur(photo: Photo, sighting: TargetSighting, response: CameraResponse) -> PrintBlur | None:
    """Read the blur's ellipse; None where too little of the print is seen for it."""
    layout = sighting.layout
    middle = sighting.saddles_mm.mean(axis=0)
    normals = _normals(sighting.local(middle))
    widths = [_width(photo, sighting, response, side, normals[side]) for side in (0, 1)]
    corner = _corner(photo, sighting, response, layout)
    if not np.isfinite([*widths, corner]).all():
        return None
    skew = 2 / np.pi * float(np.arcsin(np.clip(normals[0] @ normals[1], -1, 1)))
    kernel = fit_kernel(widths[0], widths[1], corner - skew)
    way = np.linalg.solve(normals, np.array([kernel.x, kernel.y]))
    sigma = float(np.sqrt(max(kernel.sigma_px**2 - _BILINEAR_VARIANCE, 0.01)))
    length = kernel.length_px * float(np.linalg.norm(way))
    ratio = np.hypot(sigma, length / np.sqrt(12)) / sigma
    return PrintBlur(
        sigma_px=sigma,
        length_px=length,
        direction_deg=float(np.degrees(np.arctan(way[1] / way[0]))) if way[0] else 90.0,
        moved=bool(length > _TOLD_PX and ratio > _TOLD_RATIO),
    )


def _normals(local: Array64) -> Array64:
    """(2, 2) unit vectors in the image, square to edges that run across and along the strip."""
    along, across = local[:, 0], local[:, 1]
    first = np.array([across[1], -across[0]])
    second = np.array([along[1], -along[0]])
    first *= np.sign(first @ along) / np.linalg.norm(first)
    second *= np.sign(second @ across) / np.linalg.norm(second)
    return np.stack([first, second])


def _width(
    photo: Photo, sighting: TargetSighting, response: CameraResponse, side: int, normal: Array64
) -> float:
    """Median distance between the quartiles of edges square to x (side 0) or y (1), over QUARTILES [px]."""
    starts, along, outward = _edges(sighting.layout, side)
    sampling = float(np.sqrt(abs(np.linalg.det(sighting.local(sighting.saddles_mm.mean(axis=0))))))
    reach = min(_REACH_MM * sampling, _REACH_PX)
    offsets = np.arange(-reach, reach + _STEP_PX / 2, _STEP_PX)
    px = sighting.to_px(starts[:, None, :] + _LINES_MM[:, None] * along)
    places = px[:, :, None, :] + offsets[:, None] * (outward[:, None, None, None] * normal)
    size = np.array([photo.width_px, photo.height_px])
    shown = np.flatnonzero(((places > 1) & (places < size - 2)).all(axis=(1, 2, 3)))
    if len(shown) == 0:
        return float("nan")
    shown = shown[:: max(len(shown) // _MOST_EDGES, 1)]
    light = response.curve(_sampled(photo, places[shown])).mean(axis=1)
    tail = max(len(offsets) // 6, 1)
    black, white = np.median(light[:, :tail], axis=1), np.median(light[:, -tail:], axis=1)
    sound = white - black > 0.5 * np.median(white - black)
    rise = (light[sound] - black[sound, None]) / np.maximum(white - black, 1e-6)[sound, None]
    width = _crossing(rise, 0.75) - _crossing(rise, 0.25)
    width = width[np.isfinite(width) & (width > 0)]
    return float(np.median(width)) * _STEP_PX / QUARTILES if len(width) else float("nan")


def _edges(layout: TargetLayout, side: int) -> tuple[Array64, Array64, Array64]:
    """Starts (E, 2) of the black squares' outer edges, their direction (2,), and which way is out (E,)."""
    p, black = layout.pitch_mm, layout.squares
    if side:
        near, far = np.flatnonzero(black[0]) * p, np.flatnonzero(black[-1]) * p
        starts = [*((x, 0.0) for x in near), *((x, -layout.width_mm) for x in far)]
        return np.array(starts), np.array([1.0, 0.0]), np.repeat([1.0, -1.0], [len(near), len(far)])
    left, right = -np.flatnonzero(black[:, 0]) * p, -np.flatnonzero(black[:, -1]) * p
    starts = [*((0.0, y) for y in left), *((layout.length_mm, y) for y in right)]
    return np.array(starts), np.array([0.0, -1.0]), np.repeat([-1.0, 1.0], [len(left), len(right)])


def _corner(photo: Photo, sighting: TargetSighting, response: CameraResponse, layout: TargetLayout) -> float:
    """Level at the saddles between black (-1) and white (+1), by what it changes with their polarity."""
    diagonal = np.array([[-1.0, 1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, -1.0]]) / np.sqrt(2)
    deep = np.concatenate((_DARK_MM * diagonal, _BRIGHT_MM * diagonal))
    local = sighting.local(sighting.saddles_mm)
    centre = sighting.saddles_px[:, None, :]
    places = np.concatenate((centre, centre + np.einsum("nij,kj->nki", local, deep)), axis=1)
    light = response.curve(_sampled(photo, places))
    row, column = np.divmod(sighting.saddle_ids, layout.columns - 1)
    swap = ((row + column) % 2 == 1)[:, None]  # else the falling diagonal is black
    dark = np.where(swap, light[:, 3:5], light[:, 1:3]).mean(axis=1)
    bright = np.where(swap, light[:, 5:7], light[:, 7:9]).mean(axis=1)
    level = (2 * light[:, 0] - bright - dark) / np.maximum(bright - dark, 1e-3)
    kinds = [level[swap[:, 0] == kind] for kind in (False, True)]
    if min(len(kind) for kind in kinds) < _LEAST_SADDLES:
        return float("nan")
    return float(np.median(kinds[0]) - np.median(kinds[1])) / 2


def _sampled(photo: Photo, places: Array64) -> Array64:
    """Grey 0..1 at places (..., 2) px, bilinear."""
    flat = places.reshape(1, -1, 2).astype(np.float32)
    values = cv2.remap(photo.grey8, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR)
    return np.asarray(values.reshape(places.shape[:-1]) / 255.0, np.float64)


def _crossing(rise: Array64, level: float) -> Array64:
    """Where each row first passes a level [samples], between samples; NaN where it never does."""
    above = rise >= level
    at, row = np.argmax(above, axis=1), np.arange(len(rise))
    before = np.maximum(at - 1, 0)
    low, high = rise[row, before], rise[row, at]
    share = (level - low) / np.where(high > low, high - low, np.inf)
    return np.where((at > 0) & above.any(axis=1), before + share, np.nan)
