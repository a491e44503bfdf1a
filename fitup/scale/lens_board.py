"""The lens board in one photo, every saddle by itself: no plane is assumed, since the lens bends it.

Each marker predicts the saddles at the corners of its own square, which are near enough for any lens. What
looks like a saddle there is measured on the full picture. Places are given in the picture as stored.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.photo import CameraInfo, Photo
from fitup.scale.edge_profiles import edge_blur_px
from fitup.scale.layout import TargetLayout, target_layout
from fitup.scale.lens_bundle import LensView
from fitup.scale.lens_model import turn_matrix
from fitup.scale.markers import Markers, find_outlines, read_markers
from fitup.scale.saddles import looks_like_saddle, refine_corners, saddle_windows

__all__ = ["LEAST_SADDLES", "LensPhoto", "look_at_board"]

Array = NDArray[np.float64]

LEAST_SADDLES = 30  # of 96: less says little of tilt and lens together
_LEVELS = (4, 2, 1)
_ENOUGH_MARKERS = 0.9
_LEAST_MARKERS = 6
_AGREE = 0.15  # of the pitch: how far two markers may disagree about the saddle between them
# Blur (standard deviation) for a picture with a diagonal of 5000 px, and the least for small pictures.
_MOST_BLUR_SHARE, _MOST_BLUR_LEAST_PX = 4.0 / 5000, 2.0
_EDGE_LINES, _EDGE_REACH_MM = 9, 2.4


@dataclass(frozen=True, kw_only=True, eq=False)
class LensPhoto:
    """One photo of the lens board; `trouble` says in a few words why it cannot be used, else it is empty."""

    name: str
    camera: CameraInfo
    size_px: tuple[int, int]
    view: LensView
    blur_px: float
    trouble: str


def look_at_board(photo: Photo, layout: TargetLayout | None = None) -> LensPhoto:
    """Measure the saddles of the lens board (number 1 unless another layout is given)."""
    layout = target_layout(1, "lens-board") if layout is None else layout
    grey = photo.grey8
    markers = _markers(grey, layout)
    ids, guess, local = _predicted(layout, markers)
    points, kept = _measured(grey, layout, ids, guess, local)
    blur = _blur_px(photo, layout, ids[kept], points[kept]) if np.any(kept) else float("nan")
    size, stored = _as_stored(points[kept], photo)
    view = LensView(name=photo.name, points_mm=layout.saddles_mm[ids[kept]], points_px=stored)
    return LensPhoto(
        name=photo.name,
        camera=photo.camera,
        size_px=size,
        view=view,
        blur_px=blur,
        trouble=_trouble(len(markers.ids), len(stored), blur, size),
    )


def _trouble(markers: int, saddles: int, blur_px: float, size_px: tuple[int, int]) -> str:
    if markers < _LEAST_MARKERS:
        return "shows no lens board"
    most = max(_MOST_BLUR_SHARE * float(np.hypot(*size_px)), _MOST_BLUR_LEAST_PX)
    if blur_px > most:
        return "is blurred"
    if saddles < LEAST_SADDLES:
        return f"shows only {saddles} checker corners"
    return ""


def _markers(grey: NDArray[np.uint8], layout: TargetLayout) -> Markers:
    """Markers of the board, each number once, from the picture size at which most are read."""
    best = Markers(ids=np.empty(0, dtype=np.int64), corners_px=np.empty((0, 4, 2)))
    for reduction in _LEVELS:
        found, _ = read_markers(grey, find_outlines(grey, reduction), layout.dictionary)
        index = found.ids - layout.first_id
        mine = (index >= 0) & (index < layout.marker_count)
        once = mine & (np.bincount(index[mine], minlength=layout.marker_count)[np.where(mine, index, 0)] == 1)
        if np.count_nonzero(once) > len(best.ids):
            best = Markers(ids=index[once], corners_px=found.corners_px[once])
        if len(best.ids) >= _ENOUGH_MARKERS * layout.marker_count:
            break
    return best


def _predicted(layout: TargetLayout, markers: Markers) -> tuple[NDArray[np.int64], Array, Array]:
    """Saddles at the corners of the squares whose marker was read: ids, places [px], (N, 2, 2) px per mm."""
    columns = layout.columns - 1
    places: dict[int, list[tuple[Array, Array]]] = {}
    half = layout.pitch_mm / 2
    for index, corners in zip(markers.ids, markers.corners_px, strict=True):
        row, column = layout.marker_squares[index]
        middle = np.array([column + 0.5, -(row + 0.5)]) * layout.pitch_mm
        mm = (layout.marker_corners_mm[index] - middle).astype(np.float32)
        matrix = cv2.getPerspectiveTransform(mm, corners.astype(np.float32))
        for down, right in ((0, 0), (0, 1), (1, 0), (1, 1)):
            r, c = row + down - 1, column + right - 1
            if 0 <= r < layout.rows - 1 and 0 <= c < columns:
                at = np.array([[-half, half]]) * np.where([[right, down]], [[-1, -1]], [[1, 1]])
                places.setdefault(int(r * columns + c), []).append(
                    _through(np.asarray(matrix, np.float64), at[0])
                )
    ids, guesses, locals_ = [], [], []
    for saddle, said in sorted(places.items()):
        where = np.array([place for place, _ in said])
        slope = np.mean([local for _, local in said], axis=0)
        reach = _AGREE * layout.pitch_mm * float(np.sqrt(abs(np.linalg.det(slope))))
        if np.ptp(where, axis=0).max() <= reach:
            ids.append(saddle)
            guesses.append(where.mean(0))
            locals_.append(slope)
    return (
        np.array(ids, dtype=np.int64),
        np.array(guesses, dtype=np.float64).reshape(-1, 2),
        np.array(locals_, dtype=np.float64).reshape(-1, 2, 2),
    )


def _through(matrix: Array, point: Array) -> tuple[Array, Array]:
    """Image of a point under a homography, and the derivative there."""
    moved = matrix @ np.array([*point, 1.0])
    place = moved[:2] / moved[2]
    return place, (matrix[:2, :2] - place[:, None] * matrix[2, :2]) / moved[2]


def _measured(
    grey: NDArray[np.uint8], layout: TargetLayout, ids: NDArray[np.int64], guess: Array, local: Array
) -> tuple[Array, NDArray[np.bool_]]:
    if len(ids) == 0:
        return guess, np.zeros(0, dtype=bool)
    sampling = np.sqrt(np.abs(np.linalg.det(local)))
    window = saddle_windows(layout, sampling)
    edge = window[:, None] + 2
    inside = np.all((guess > edge) & (guess < np.array(grey.shape[::-1]) - 1 - edge), axis=1)
    points = guess.copy()
    if np.any(inside):
        points[inside] = refine_corners(grey, guess[inside], window[inside])
    near = np.linalg.norm(points - guess, axis=1) < np.maximum(window, _AGREE * layout.pitch_mm * sampling)
    kept = inside & near
    kept[kept] = looks_like_saddle(grey, layout, ids[kept], points[kept], local[kept])
    return points, kept


def _blur_px(photo: Photo, layout: TargetLayout, ids: NDArray[np.int64], points: Array) -> float:
    """Blur of the edges between neighbouring saddles, px; NaN where there are too few."""
    columns = layout.columns - 1
    place = dict(zip(ids.tolist(), points, strict=True))
    pairs = [
        (place[i], place[i + step])
        for i in place
        for step in (1, columns)
        if i + step in place and (step > 1 or (i + 1) % columns)
    ]
    if len(pairs) < 8:
        return float("nan")
    ends: Array = np.array(pairs)
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack((-along[:, 1], along[:, 0])) / length
    half = _EDGE_REACH_MM / layout.pitch_mm * float(np.median(length))
    offsets = np.arange(-np.floor(2 * half), np.floor(2 * half) + 1) / 2
    t = np.linspace(0.4, 0.6, _EDGE_LINES)
    lines = ends[:, None, 0] + t[:, None] * along[:, None]
    where = (lines[:, :, None] + offsets[:, None] * normal[:, None, None]).astype(np.float32)
    flat = where.reshape(len(pairs), -1, 2)
    values = cv2.remap(photo.grey8, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR)
    profiles = values.reshape(len(pairs), _EDGE_LINES, len(offsets)).mean(1, dtype=np.float32) / 255
    rising = profiles[:, :3].mean(1) < profiles[:, -3:].mean(1)
    return edge_blur_px(offsets, np.where(rising[:, None], profiles, profiles[:, ::-1]).astype(np.float32))


def _as_stored(points: Array, photo: Photo) -> tuple[tuple[int, int], Array]:
    """Size of the picture as stored, and upright points turned back into it."""
    upright = (photo.width_px, photo.height_px)
    size = upright if photo.camera.orientation < 5 else upright[::-1]
    turn = turn_matrix(photo.camera.orientation)
    return size, (points - (np.array(upright) - 1) / 2) @ turn + (np.array(size) - 1) / 2
