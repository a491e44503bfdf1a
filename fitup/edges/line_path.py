"""The best line through a strip of the joint plane: evidence for a bar, and paths through it.

A gap is a bar, darker (or, lit from behind, brighter) than both plates beside it. Evidence for such a bar is
gathered at several widths across the joint at full resolution, since a hairline is lost in any smaller
picture; along the joint the picture may be averaged first, for the joint runs that way. Each column's
evidence is capped, so that a strong short line (a scratch, a pen stroke) cannot outweigh a weak long one.

Two passes of dynamic programming: a free one finds the line, a second one follows it within a corridor about
its smooth course and pays for leaving that course, so that grain along the joint does not lure it away where
the gap is all but closed.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["PlaneView", "bar_contrasts", "best_evidence", "evidence_of", "follow", "long_line"]

Array = NDArray[np.float32]
Array64 = NDArray[np.float64]

SLIM_WIDTHS_PX = (1, 2, 4, 7)  # a bar of these widths does not reach far beside itself
BROAD_WIDTHS_PX = (12, 20, 32, 48)
# Contrast (Michelson, display-encoded) from which a column counts in full: a few times what the surface's own
# grain reaches, within bounds.
FULL_EVIDENCE = (0.03, 0.12)
GRAIN_QUANTILE, GRAIN_FACTOR = 99, 4.0
STEEPEST = 0.18  # slope of the joint against the target, mm/mm
FREE_TURN, BOUND_TURN = 0.05, 0.5  # evidence paid for a step across, in the free and in the second pass
FOLLOWED_MM = 6.0  # half width of the second pass
ROWS_POOLED, COLUMNS_POOLED = 3, 2  # of the free pass


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaneView:
    """A strip of the joint plane: rows are y, columns x, averaged along x. `grey` (R, C)."""

    grey: Array
    x_mm: Array64
    y_mm: Array64
    row_mm: float


def bar_contrasts(view: PlaneView, *, lit: bool = True) -> tuple[Array, Array]:
    """Contrast (R, C) of the best bar of all widths, and of the slim ones, which reach little beside them.

    Dark bars count, and bright ones too where `lit`.
    """
    slim = np.zeros_like(view.grey)
    for width in SLIM_WIDTHS_PX:
        _raise_to_bar(slim, view.grey, width, lit)
    best = slim.copy()
    for width in BROAD_WIDTHS_PX:
        _raise_to_bar(best, view.grey, width, lit)
    return best, slim


def evidence_of(contrast: Array) -> Array:
    """Share of full evidence (R, C), 0..1, by what the surface's own grain reaches."""
    grain = float(np.percentile(contrast[::4, ::2], GRAIN_QUANTILE))
    full = min(max(GRAIN_FACTOR * grain, FULL_EVIDENCE[0]), FULL_EVIDENCE[1])
    return np.asarray(np.minimum(contrast / full, 1.0), np.float32)


def _raise_to_bar(best: Array, grey: Array, width: int, lit: bool) -> None:
    """Raise `best` to the Michelson contrast of a bar of `width` rows with its weaker flank."""
    flank = min(max(width, 3), 10)
    away = width // 2 + 2 + flank // 2
    rows = len(grey)
    if rows <= 2 * away:
        return
    centre = cv2.blur(grey, (1, width)) if width > 1 else grey
    beside = cv2.blur(grey, (1, flank))
    middle, before, after = centre[away : rows - away], beside[: rows - 2 * away], beside[2 * away :]
    reached = best[away : rows - away]
    plates = [(np.minimum(before, after), 1)] + [(np.maximum(before, after), -1)] * lit
    for plate, sign in plates:
        contrast = plate - middle if sign > 0 else middle - plate
        plate += middle
        plate += np.float32(6)  # a few grey levels: keeps black on black from looking like contrast
        contrast /= plate
        np.maximum(reached, contrast, out=reached)


def long_line(evidence: Array, view: PlaneView) -> Array64:
    """Row (C,) of the best line through the whole view, bent like a parabola."""
    pooled, path = _free_path(evidence, view)
    weight = pooled[path, np.arange(len(path))].astype(np.float64) + 1e-3
    columns = np.asarray((np.arange(len(path)) + 0.5) * COLUMNS_POOLED - 0.5, np.float64)
    rows = np.asarray((path + 0.5) * ROWS_POOLED - 0.5, np.float64)
    return _parabola(columns, rows, weight, np.arange(evidence.shape[1]))


def best_evidence(evidence: Array, view: PlaneView) -> float:
    """Mean evidence along the best line through the whole view."""
    pooled, path = _free_path(evidence, view)
    return float(pooled[path, np.arange(len(path))].mean())


def follow(
    evidence: Array, contrast: Array, view: PlaneView, course: Array64
) -> tuple[NDArray[np.intp], float]:
    """Row (C,) of the best path near a course (C,), and its mean evidence.

    Contrast counts beside the capped evidence: it peaks in the middle of a wide gap, where evidence is full
    from side to side.
    """
    half = max(int(FOLLOWED_MM / view.row_mm), 4)
    window = np.rint(course).astype(np.intp) + np.arange(-half, half + 1)[:, None]
    inside = (window >= 0) & (window < len(evidence))
    columns = np.arange(evidence.shape[1])
    clipped = np.clip(window, 0, len(evidence) - 1)
    cells = clipped * evidence.shape[1] + columns
    near = np.where(inside, evidence.take(cells) + contrast.take(cells), np.float32(0))
    pooled = np.maximum(near[:-1:2], near[1::2])
    path = _best_path(pooled, _reach(view, 2, 1), BOUND_TURN)
    rows = clipped[_plateau_middle(near, path * 2), columns]
    return rows, float(evidence[rows, columns].mean())


def _free_path(evidence: Array, view: PlaneView) -> tuple[Array, NDArray[np.intp]]:
    """Evidence pooled: best of neighbouring rows, mean of columns; and the best path's rows in it."""
    rows = len(evidence) // ROWS_POOLED * ROWS_POOLED
    columns = evidence.shape[1] // COLUMNS_POOLED * COLUMNS_POOLED
    best = evidence[:rows:ROWS_POOLED, :columns]
    for row in range(1, ROWS_POOLED):
        best = np.maximum(best, evidence[row:rows:ROWS_POOLED, :columns])
    pooled = np.asarray(best.reshape(len(best), -1, COLUMNS_POOLED).mean(axis=2))
    return pooled, _best_path(pooled, _reach(view, ROWS_POOLED, COLUMNS_POOLED), FREE_TURN)


def _reach(view: PlaneView, row_step: int, column_step: int) -> int:
    """Rows that a path may climb from column to column."""
    step_mm = (view.x_mm[1] - view.x_mm[0]) * column_step
    return max(1, int(np.ceil(STEEPEST * step_mm / (row_step * view.row_mm))))


def _best_path(pooled: Array, reach: int, turn: float) -> NDArray[np.intp]:
    """Row of the best path in every column (dynamic programming)."""
    rows, columns = pooled.shape
    shifts = np.arange(-reach, reach + 1)
    penalty = (turn * np.abs(shifts)).astype(np.float32)[:, None]
    choice = np.empty((columns, rows), np.int8)
    padded = np.full(rows + 2 * reach, -1e9, np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(padded, rows)
    options = np.empty(windows.shape, np.float32)
    along = np.ascontiguousarray(pooled.T)
    total = along[0]
    for column in range(1, columns):
        padded[reach : reach + rows] = total
        np.subtract(windows, penalty, out=options)
        choice[column] = options.argmax(axis=0)
        total = options.max(axis=0) + along[column]
    path = np.empty(columns, np.intp)
    path[-1] = int(np.argmax(total))
    for column in range(columns - 1, 0, -1):
        path[column - 1] = path[column] + shifts[choice[column, path[column]]]
    return path


def _plateau_middle(evidence: Array, path: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the middle row of the plateau of best evidence within a few rows of the path."""
    window = np.arange(-3, 4)
    columns = np.arange(len(path))
    local = evidence[np.clip(path + window[:, None], 0, len(evidence) - 1), columns]
    top = local >= local.max(axis=0) - 1e-3
    offset = (top * window[:, None]).sum(axis=0) / top.sum(axis=0)
    return np.asarray(np.clip(np.rint(path + offset), 0, len(evidence) - 1), np.intp)


def _parabola(x: Array64, y: Array64, weight: Array64, at: NDArray[np.int_]) -> Array64:
    """Robust fit of a parabola (iteratively reweighted, Cauchy weights), evaluated at `at`."""
    middle, half = x.mean(), max(float(np.ptp(x)) / 2, 1.0)

    def powers(values: NDArray[np.floating] | NDArray[np.int_]) -> Array64:
        t = (values - middle) / half
        return np.stack([np.ones_like(t), t, t * t], axis=1)

    design, robust = powers(x), np.ones_like(y)
    coefficients = np.asarray(np.zeros(3), np.float64)
    for _ in range(8):
        w = np.sqrt(weight * robust)[:, None]
        coefficients = np.asarray(np.linalg.lstsq(design * w, y * w[:, 0], rcond=None)[0], np.float64)
        off = y - design @ coefficients
        robust = 1 / (1 + (off / max(2 * float(np.median(np.abs(off))), 1.0)) ** 2)
    return np.asarray(powers(at) @ coefficients)
