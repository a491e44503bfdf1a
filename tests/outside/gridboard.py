"""A photographed board of square markers read as a gap measurement: white slots between dark "plates".

Markers only say where to look. Profiles across the slots are sampled as the product samples a joint, fitted
by the product's arris fit, and scaled by its plane fit and `ScaleMap`. The points that carry the scale are
symmetric, as a checker saddle is: middles of markers and of slot crossings, each from opposite edges, so that
light or ink that spreads over every edge alike does not move them.

Frames: board x right, y up, origin at the outer corner of marker 0; slots of axis 1 lie between upper and
lower neighbours (their width is along y), slots of axis 0 between left and right ones. A ScaleMap tells the
uncertainty of lengths along its y only; so axis 0 is looked at in a frame turned by a quarter.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.edges import CameraResponse, estimate_response
from fitup.edges.arris import ArrisPriors, fit_arrises
from fitup.photo import Photo
from fitup.scale import ScaleMap, TargetSighting, scale_map
from fitup.scale.edge_profiles import edge_blur_px
from fitup.scale.layout import TargetLayout
from fitup.scale.markers import find_outlines, read_markers
from fitup.scale.saddles import jacobian, project

__all__ = [
    "Grid",
    "Pairs",
    "Readings",
    "Scaling",
    "Slots",
    "edge_response",
    "find_grid",
    "measure_slots",
    "pairs_of",
    "scaling_from",
]

Array = NDArray[np.float64]

MODULES = 8  # a 6 × 6 marker with its border
FLANK_MODULES = 0.7  # of the black border's width that is taken into a fit as the "plate"
STRETCHES = ((0.08, 0.48), (0.52, 0.92))  # of a marker's side: two stations in every slot
EDGE_REACH_PX, EDGE_STEP_PX = 9.0, 0.5
_TURN = np.array([[0.0, -1.0], [1.0, 0.0]])  # row vectors (x, y) @ _TURN = (y, -x)


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Square markers in rows: corners_px (R, C, 4, 2), clockwise from the upper left; start px <- mm."""

    corners_px: Array
    side_mm: float
    space_mm: float
    start: Array

    @property
    def pitch_mm(self) -> float:
        return self.side_mm + self.space_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Slots:
    """Stations in all slots of one axis: (N,) row and column of the marker before the slot, and stretch.

    middle_mm (N, 2) nominal place, ends_px (N, 2, 2) slot's ends as the marker corners have them, run_px
    (N, 2) how far the stretch goes along the slot, flank_px (N,) plate taken into the fit.
    """

    axis: int
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    stretch: NDArray[np.int64]
    middle_mm: Array
    ends_px: Array
    run_px: Array
    flank_px: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings:
    """Both arrises of every station: edges_px (N, 2, 2) in the image, u_px (N,) standard uncertainty."""

    slots: Slots
    edges_px: Array
    u_px: Array
    blur_px: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Pairs:
    """Slots and the dark side after each, in mm of one scaling; all (2, R, C), NaN where there is none.

    Slot and side together are one pitch. So the part of both that a wrong scale makes cancels in
    bias_mm = (slot · side₀ - side · slot₀) / pitch, and the part that spreading edges make cancels in
    strain = (slot + side) / pitch - 1. The first axis counts the stations of a slot.
    """

    slot_mm: Array
    bias_mm: Array
    strain: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Scaling:
    """The product's map of the board's plane from some of its points, and the same map turned."""

    upright: ScaleMap
    turned: ScaleMap

    def edges_mm(self, edges_px: Array, axis: int) -> Array:
        """(...,) coordinate along the axis of image points (..., 2), in board millimetres."""
        return self.upright.to_mm(edges_px)[..., axis]

    def relative_u(self, middle_mm: Array, axis: int) -> dict[str, Array]:
        """Relative standard uncertainty by cause of a short length along the axis."""
        return self.upright.relative_u(middle_mm) if axis else self.turned.relative_u(middle_mm @ _TURN)

    def px_per_mm(self, middle_mm: Array) -> Array:
        return self.upright.px_per_mm(middle_mm)


def find_grid(photo: Photo, shape: tuple[int, int], side_mm: float, space_mm: float, name: str) -> Grid:
    """Find all markers of a board whose numbers run row by row from 0."""
    markers, _ = read_markers(photo.grey8, find_outlines(photo.grey8, 1), name)
    rows, columns = shape
    assert sorted(markers.ids.tolist()) == list(range(rows * columns)), "not every marker was read once"
    corners = markers.corners_px[np.argsort(markers.ids)].reshape(rows, columns, 4, 2)
    pitch = side_mm + space_mm
    row, column = np.mgrid[:rows, :columns]
    ring = np.array([[0, 0], [1, 0], [1, -1], [0, -1]]) * side_mm
    mm = np.stack((column, -row), axis=-1)[:, :, None, :] * pitch + ring
    start = cv2.findHomography(mm.reshape(-1, 2), corners.reshape(-1, 2), 0)[0]
    return Grid(corners_px=corners, side_mm=side_mm, space_mm=space_mm, start=start)


def slots_of(grid: Grid, axis: int) -> Slots:
    """All stations of one axis, row by row."""
    corners = grid.corners_px
    rows, columns = corners.shape[:2]
    # Sides that face the slot, both running the same way: (before, beyond) of the slot.
    if axis:
        before, beyond = corners[:-1, :, [3, 2]], corners[1:, :, [0, 1]]
    else:
        before, beyond = corners[:, :-1, [1, 2]], corners[:, 1:, [0, 3]]
    sides = np.stack((before, beyond), axis=2).reshape(-1, 2, 2, 2)  # slot, end, start/stop, xy
    row, column = (k.ravel() for k in np.mgrid[: rows - axis, : columns - 1 + axis])
    parts = [_stations(grid, axis, row, column, sides, k) for k in range(len(STRETCHES))]
    merged = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Slots(axis=axis, **merged)


def _stations(
    grid: Grid,
    axis: int,
    row: NDArray[np.int64],
    column: NDArray[np.int64],
    sides: Array,
    stretch: int,
) -> dict[str, Array]:
    low, high = STRETCHES[stretch]
    along = (low + high) / 2
    middle = np.stack((column, -row), axis=-1) * grid.pitch_mm
    across = grid.side_mm + grid.space_mm / 2
    middle = middle + (np.array([along * grid.side_mm, -across]) if axis
                       else np.array([across, -along * grid.side_mm]))  # fmt: skip
    run = sides[:, :, 1] - sides[:, :, 0]
    sampling = np.linalg.norm(run, axis=-1).mean(1) / grid.side_mm
    return {
        "row": row,
        "column": column,
        "stretch": np.full(len(row), stretch),
        "middle_mm": middle,
        "ends_px": sides[:, :, 0] + along * run,
        "run_px": (high - low) * run.mean(1),
        "flank_px": FLANK_MODULES * grid.side_mm / MODULES * sampling,
    }


def measure_slots(photo: Photo, grid: Grid, axis: int, response: CameraResponse) -> Readings:
    """Fit both arrises of all slots of one axis in linear light."""
    slots = slots_of(grid, axis)
    middle, across = slots.ends_px.mean(1), _across(grid, slots)
    half_px = np.abs(np.einsum("nki,ni->nk", slots.ends_px - middle[:, None], across)).mean(1)
    reach = np.ceil((half_px + slots.flank_px).max())
    x = np.arange(-reach, reach + 1)
    light = response.sampled_to_linear(_profiles(photo, middle, across, slots.run_px, x))
    inside = np.abs(x) <= (half_px + slots.flank_px)[:, None]
    blur = np.full(len(middle), response.blur_px)
    left, right = _plates(x, light, inside, half_px)
    floor = light[:, np.abs(x) < 4].mean(1)
    zero = np.zeros_like(floor)
    start = np.stack([-half_px, 2 * half_px, left, floor, right, floor, zero, np.log(blur)], axis=1)
    priors = ArrisPriors(
        floor=floor,
        floor_sd=zero + 10.0,  # as for any lit floor: its level is free
        face=floor,
        face_sd=zero + 1.0,
        band_px=zero,
        band_sd_px=zero,
        log_blur=np.log(blur),
        log_blur_sd=zero + 0.3,  # sharpness changes over the frame; the fit tells it in such wide slots
    )
    fit = fit_arrises(x, light, inside.astype(np.float32), start, priors, iterations=8)
    noise = np.sqrt(np.maximum(fit.variance_parts["noise"], 0)) * fit.grain_factor
    others = sum(part for name, part in fit.variance_parts.items() if name != "noise")
    edges = np.stack((fit.near_px, fit.far_px), axis=1)
    return Readings(
        slots=slots,
        edges_px=middle[:, None, :] + edges[:, :, None] * across[:, None, :],
        u_px=np.hypot(noise, np.sqrt(np.maximum(others, 0))),
        blur_px=fit.blur_px,
    )


def _plates(x: Array, light: Array, inside: NDArray[np.bool_], half_px: Array) -> tuple[Array, Array]:
    """Mean light of the black borders on either side, three px from the expected arrises."""
    out = []
    for sign in (-1, 1):
        w = inside & (sign * x > half_px[:, None] + 3)
        out.append((light * w).sum(1) / w.sum(1))
    return out[0], out[1]


def _across(grid: Grid, slots: Slots) -> Array:
    """(N, 2) unit vectors in the image along the board's axis, from the first to the second end."""
    local = jacobian(grid.start, slots.middle_mm)
    direction = local @ (np.array([0.0, -1.0]) if slots.axis else np.array([1.0, 0.0]))
    return direction / np.linalg.norm(direction, axis=1, keepdims=True)


def _profiles(photo: Photo, middle: Array, across: Array, run: Array, x: Array) -> NDArray[np.float32]:
    """(N, M) encoded 0..1: a line for every pixel of the run, bilinear, trimmed mean, as along a joint."""
    lines = int(np.median(np.linalg.norm(run, axis=1)))
    t = (np.arange(lines) + 0.5) / lines - 0.5
    places = (
        middle[:, None, None, :]
        + t[:, None, None] * run[:, None, None, :]
        + x[:, None] * across[:, None, None, :]
    ).astype(np.float32)
    flat = places.reshape(len(middle), -1, 2)
    values = cv2.remap(photo.grey8, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR)
    stack = values.reshape(len(middle), lines, len(x)).astype(np.float32)
    total = stack.sum(1) - stack.min(1) - stack.max(1)
    return total / np.float32(255 * (lines - 2))


def edge_response(photo: Photo, grid: Grid) -> CameraResponse:
    """The product's estimate of tone curve and sharpening, from slot edges of this photo, black to white."""
    x = np.arange(-EDGE_REACH_PX, EDGE_REACH_PX + EDGE_STEP_PX / 2, EDGE_STEP_PX)
    profiles = []
    for axis in (0, 1):
        slots = slots_of(grid, axis)
        across = _across(grid, slots)
        for end, sign in ((0, 1.0), (1, -1.0)):
            where = slots.ends_px[:, end], sign * across, slots.run_px
            profiles.append(_profiles(photo, *where, x))
    edges = np.concatenate(profiles)
    return estimate_response(x, edges, edge_blur_px(x, edges))


def scaling_from(
    photo: Photo, grid: Grid, readings: tuple[Readings, Readings], rows: slice, columns: slice
) -> Scaling:
    """The product's plane fit from the symmetric points of a block of markers."""
    mm, px = symmetric_points(grid, readings, rows, columns)
    return Scaling(upright=_map(photo, grid, mm, px), turned=_map(photo, grid, mm @ _TURN, px))


def pairs_of(grid: Grid, reading: Readings, scaling: Scaling) -> Pairs:
    """Slot and side pairs of all slots of one axis."""
    slots = reading.slots
    rows, columns = grid.corners_px.shape[:2]
    ends = np.full((len(STRETCHES), rows, columns, 2), np.nan)
    along = scaling.edges_mm(reading.edges_px, slots.axis) * (-1 if slots.axis else 1)
    ends[slots.stretch, slots.row, slots.column] = along
    following = np.full(ends.shape[:3], np.nan)
    if slots.axis:
        following[:, :-1] = ends[:, 1:, :, 0]
    else:
        following[:, :, :-1] = ends[:, :, 1:, 0]
    slot, side = ends[..., 1] - ends[..., 0], following - ends[..., 1]
    return Pairs(
        slot_mm=slot,
        bias_mm=(slot * grid.side_mm - side * grid.space_mm) / grid.pitch_mm,
        strain=(slot + side) / grid.pitch_mm - 1,
    )


def _map(photo: Photo, grid: Grid, mm: Array, px: Array) -> ScaleMap:
    size = np.ptp(mm, axis=0) + grid.side_mm
    layout = TargetLayout(
        name="block of a marker board", strip_number=0, pitch_mm=grid.pitch_mm, marker_mm=grid.side_mm,
        columns=round(size[0] / grid.pitch_mm), rows=round(size[1] / grid.pitch_mm),
        dictionary="DICT_6X6_1000", first_id=0, thickness_mm=0.0,
    )  # fmt: skip
    matrix = cv2.findHomography(mm, px, 0)[0]
    sighting = TargetSighting(
        layout=layout, saddle_ids=np.arange(len(mm)), saddles_px=px, saddles_mm=mm,
        residual_px=np.linalg.norm(px - project(matrix, mm), axis=1), homography=matrix,
        marker_count=layout.rows * layout.columns, dropped_count=0, reduction=1,
    )  # fmt: skip
    return scale_map(photo, sighting)


def symmetric_points(
    grid: Grid, readings: tuple[Readings, Readings], rows: slice, columns: slice
) -> tuple[Array, Array]:
    """Middles of markers and of slot crossings in a block: (N, 2) board mm and (N, 2) px, row by row."""
    count = grid.corners_px.shape[:2]
    local = [_means(grid, readings[axis], count) for axis in (0, 1)]
    points = sorted(_points(grid, local, count, rows, columns), key=lambda p: (-p[0][1], p[0][0]))
    mm, rough = (np.array([point[k] for point in points]) for k in (0, 1))
    return mm, project(grid.start, rough)


def _means(grid: Grid, reading: Readings, count: tuple[int, int]) -> Array:
    """(R, C, 2) coordinate along the axis of both ends of each slot, rough mm, mean of its stations."""
    rough = project(np.linalg.inv(grid.start), reading.edges_px)[..., reading.slots.axis]
    total = np.full((*count, 2), np.nan)
    stations = rough.reshape(len(STRETCHES), -1, 2).mean(0)
    first = reading.slots.stretch == 0
    total[reading.slots.row[first], reading.slots.column[first]] = stations
    return total


def _points(
    grid: Grid, local: list[Array], count: tuple[int, int], rows: slice, columns: slice
) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    """Nominal and rough measured millimetres of every symmetric point."""
    x, y = local
    half, middle = grid.side_mm / 2, grid.side_mm + grid.space_mm / 2
    row_range, column_range = range(*rows.indices(count[0])), range(*columns.indices(count[1]))
    for r in row_range:
        for c in column_range:
            if 0 < r < count[0] - 1 and 0 < c < count[1] - 1:
                nominal = (c * grid.pitch_mm + half, -r * grid.pitch_mm - half)
                yield nominal, ((x[r, c - 1, 1] + x[r, c, 0]) / 2, (y[r - 1, c, 1] + y[r, c, 0]) / 2)
            if r + 1 in row_range and c + 1 in column_range:
                nominal = (c * grid.pitch_mm + middle, -r * grid.pitch_mm - middle)
                yield nominal, (x[r : r + 2, c].mean(), y[r, c : c + 2].mean())
