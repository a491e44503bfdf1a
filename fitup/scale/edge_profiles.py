"""Profiles across the print's own edges: what the camera makes of a sharp step from black to white."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.photo import Photo, srgb_to_linear
from fitup.scale.finding import TargetSighting
from fitup.scale.layout import TargetLayout

__all__ = ["edge_blur_px", "sample_edges"]

_REACH_MM = 3.4  # white paper beside the pattern is at least half a square wide
_INSET_MM = 1.2  # from the square's corners, whose rounding is no edge


def sample_edges(
    photo: Photo,
    sighting: TargetSighting,
    half_width_px: float = 12.0,
    step_px: float = 0.5,
    max_edges: int = 80,
    lines: int = 40,
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Sample across the pattern's outer black squares towards the white paper, where no marker is near.

    Returns
    -------
    offsets_px : (M,) distance from the predicted edge, square to it in the image, black to white
    profiles : (E, M) display-encoded grey 0..1, each the mean of `lines` lines along one square's edge,
        sampled bilinearly. Edges that leave the photo are left out; covered ones are not.
    """
    layout = sighting.layout
    start, along, outward = _outer_edges(layout)
    middle = start + along * layout.pitch_mm / 2
    sampling = float(np.median(np.sqrt(np.abs(np.linalg.det(sighting.local(middle))))))
    half = min(half_width_px, _REACH_MM * sampling)
    offsets = np.arange(-np.floor(half / step_px), np.floor(half / step_px) + 1) * step_px
    t = np.linspace(_INSET_MM, layout.pitch_mm - _INSET_MM, lines)
    mm = start[:, None, :] + t[:, None] * along[:, None, :]
    normal = _image_normals(sighting.local(middle), along, outward)
    px = sighting.to_px(mm)
    places = px[:, :, None, :] + offsets[:, None] * normal[:, None, None, :]
    inside = np.all((places > 1) & (places < np.array([photo.width_px, photo.height_px]) - 2), axis=(1, 2, 3))
    chosen = np.flatnonzero(inside)
    chosen = chosen[np.linspace(0, len(chosen) - 1, min(max_edges, len(chosen))).astype(int)]
    top = float(np.iinfo(photo.pixels.dtype).max)
    if len(chosen) == 0:
        return offsets, np.empty((0, len(offsets)), dtype=np.float32)
    where = places[chosen].reshape(len(chosen), -1, 2).astype(np.float32)
    values = cv2.remap(photo.pixels, where[..., 0], where[..., 1], cv2.INTER_LINEAR)
    profiles = values.reshape(len(chosen), lines, len(offsets)).mean(1, dtype=np.float32) / top
    return offsets, profiles.astype(np.float32)


def edge_blur_px(offsets_px: NDArray[np.float64], profiles: NDArray[np.float32]) -> float:
    """Standard deviation of the edges' blur in linear light, px; NaN where there is no sound edge.

    From the distance between the quarter and three-quarter levels of each edge, 1.349 sigma for a
    Gaussian: rough, but unmoved by halos further out.
    """
    if len(profiles) == 0:
        return float("nan")
    light = srgb_to_linear(profiles).astype(np.float64)
    tail = max(len(offsets_px) // 6, 1)
    black, white = np.median(light[:, :tail], axis=1), np.median(light[:, -tail:], axis=1)
    contrast = white - black
    sound = contrast > 0.5 * np.median(contrast)
    if np.median(contrast) <= 0.02:
        return float("nan")
    rise = (light[sound] - black[sound, None]) / contrast[sound, None]
    width = _crossing(offsets_px, rise, 0.75) - _crossing(offsets_px, rise, 0.25)
    width = width[np.isfinite(width) & (width > 0)]
    return float(np.median(width)) / 1.349 if len(width) else float("nan")


def _outer_edges(
    layout: TargetLayout,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """(E, 2) starts, directions along and directions outward of the black squares' edges at the rim."""
    p, black = layout.pitch_mm, layout.squares
    sides = (
        (np.flatnonzero(black[0]), lambda k: (k * p, 0.0), (1, 0), (0, 1)),
        (np.flatnonzero(black[-1]), lambda k: (k * p, -layout.width_mm), (1, 0), (0, -1)),
        (np.flatnonzero(black[:, 0]), lambda k: (0.0, -(k + 1) * p), (0, 1), (-1, 0)),
        (np.flatnonzero(black[:, -1]), lambda k: (layout.length_mm, -(k + 1) * p), (0, 1), (1, 0)),
    )
    rows = [(place(int(k)), along, out) for ks, place, along, out in sides for k in ks]
    start, along, outward = (np.array(part, dtype=np.float64) for part in zip(*rows, strict=True))
    return start, along, outward


def _image_normals(
    local: NDArray[np.float64],
    along: NDArray[np.float64],
    outward: NDArray[np.float64],
) -> NDArray[np.float64]:
    """(E, 2) unit vectors in the image, square to each edge, on its white side."""
    tangent = np.einsum("eij,ej->ei", local, along)
    normal = np.column_stack((-tangent[:, 1], tangent[:, 0]))
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    side = np.einsum("ei,eij,ej->e", normal, local, outward)
    return np.asarray(normal * np.sign(side)[:, None])


def _crossing(x: NDArray[np.float64], rise: NDArray[np.float64], level: float) -> NDArray[np.float64]:
    """Where each row first passes a level, between samples; NaN where it never does."""
    above = rise >= level
    at = np.argmax(above, axis=1)
    row = np.arange(len(rise))
    before = np.maximum(at - 1, 0)
    low, high = rise[row, before], rise[row, at]
    share = (level - low) / np.where(high > low, high - low, np.inf)
    place = x[before] + share * (x[1] - x[0])
    return np.where((at > 0) & above.any(1), place, np.nan)
