"""The gap profile as a picture of characters: bars against the limit, one state sign under each column."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["Cell", "SketchInput", "profile_sketch"]

# From bad to good: a column stands for several stations and shows the worst of them.
_WORST_FIRST = ("over", "doubtful", "unseen", "within")
_SIGNS = {"over": "#", "doubtful": "~", "unseen": "?", "within": "-"}
_BLOCKS = " ▁▂▃▄▅▆▇█"
_ASCII_BLOCKS = " ..::||HH"
_MARGIN = 6  # columns for the numbers of the gap axis
# Distances of axis labels that a person counts in [mm].
_TICK_STEPS_MM = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
_LABEL_COLUMNS = 6
_SHORT_LAND_SIGN = "<"


@dataclass(frozen=True, kw_only=True, eq=False)
class SketchInput:
    """What the sketch shows, already free of everything else."""

    station_mm: NDArray[np.float64]
    gap_mm: NDArray[np.float64]
    states: Sequence[str]
    limit_mm: float
    short_land_mm: Sequence[tuple[float, float]] = ()
    """From-to of stretches beside which a land is short."""


@dataclass(frozen=True)
class Cell:
    """Characters of one style: a state's word, "limit", "axis" or ""."""

    text: str
    style: str


def profile_sketch(
    shown: SketchInput, *, columns: int = 78, rows: int = 8, ascii_only: bool = False
) -> list[list[Cell]]:
    """Lines of cells, top to bottom: bars, the sign of each column's state, short lands if any, the mm axis.

    Every column shows the widest gap and the worst state among its stations, so that no short opening
    is lost. The limit is drawn exactly between two rows: what rises above the line is over the limit.
    """
    width = max(10, columns - _MARGIN - 1)
    gap_mm, states = _columns(shown, width)
    row_mm, limit_row = _row_height(gap_mm, shown.limit_mm, rows)
    blocks = _ASCII_BLOCKS if ascii_only else _BLOCKS
    lines = [
        _bar_line(row, gap_mm, states, row_mm, limit_row, shown.limit_mm, blocks)
        for row in range(rows - 1, -1, -1)
    ]
    signs = [Cell(_SIGNS[state], state) for state in states]
    lines.append([Cell(" " * _MARGIN, ""), *signs])
    if shown.short_land_mm:
        lines.append([Cell(" land ", "axis"), *_land_cells(shown, len(states))])
    lines.extend(_axis(shown, len(states), ascii_only))
    return lines


def _columns(shown: SketchInput, width: int) -> tuple[NDArray[np.float64], list[str]]:
    """Widest gap (NaN where nothing was seen) and worst state of every column."""
    count = len(shown.station_mm)
    width = min(width, count)
    edges = np.linspace(0, count, width + 1).round().astype(int)
    gaps, states = [], []
    for start, end in pairwise(edges):
        values = shown.gap_mm[start:end]
        values = values[np.isfinite(values)]
        gaps.append(float(values.max()) if values.size else float("nan"))
        here = set(shown.states[start:end])
        states.append(next(state for state in _WORST_FIRST if state in here))
    return np.asarray(gaps), states


def _row_height(gap_mm: NDArray[np.float64], limit_mm: float, rows: int) -> tuple[float, int]:
    """Height of a row [mm] and the row that begins at the limit."""
    seen = gap_mm[np.isfinite(gap_mm)]
    largest_mm = float(seen.max()) if seen.size else 0.0
    # A row above the limit is always kept, so that the line shows; an even row, so that every second one,
    # which is labelled, is a whole share of the limit.
    limit_row = 2 * ((rows - 1) // 2)
    while limit_row > 1 and largest_mm > rows * limit_mm / limit_row:
        limit_row = max(1, limit_row - 2)
    if largest_mm > rows * limit_mm / limit_row:
        return largest_mm / rows, min(rows - 1, max(0, round(limit_mm / largest_mm * rows)))
    return limit_mm / limit_row, limit_row


def _bar_line(
    row: int,
    gap_mm: NDArray[np.float64],
    states: list[str],
    row_mm: float,
    limit_row: int,
    limit_mm: float,
    blocks: str,
) -> list[Cell]:
    cells = [Cell(_row_label(row, row_mm, limit_row, limit_mm), "limit" if row == limit_row else "axis")]
    line_sign = "_" if blocks is _ASCII_BLOCKS else "▁"
    for gap, state in zip(gap_mm, states, strict=True):
        eighths = 0 if np.isnan(gap) else int(np.clip(np.ceil((gap / row_mm - row) * 8), 0, 8))
        if eighths:
            cells.append(Cell(blocks[eighths], state))
        elif row == limit_row:
            cells.append(Cell(line_sign, "limit"))
        elif np.isnan(gap):
            cells.append(Cell("?" if row == 0 else " ", "unseen"))
        else:
            cells.append(Cell(" ", ""))
    return cells


def _row_label(row: int, row_mm: float, limit_row: int, limit_mm: float) -> str:
    """Each row names the gap at its lower edge; the limit's row names the limit."""
    if row == limit_row:
        return f"{limit_mm:5.2f} "
    if limit_row != 1 and (row - limit_row) % 2:
        return " " * _MARGIN
    return f"{row * row_mm:5.2f} "


def _land_cells(shown: SketchInput, width: int) -> list[Cell]:
    """A sign under every column beside a short land."""
    edges = np.linspace(0, len(shown.station_mm), width + 1).round().astype(int)
    cells = []
    for start, end in pairwise(edges):
        first, last = shown.station_mm[start], shown.station_mm[end - 1]
        short = any(low <= last and first <= high for low, high in shown.short_land_mm)
        cells.append(Cell(_SHORT_LAND_SIGN, "short land") if short else Cell(" ", ""))
    return cells


def _axis(shown: SketchInput, width: int, ascii_only: bool) -> list[list[Cell]]:
    """The mm axis: a rule with ticks, and labels under the ticks."""
    # A station is the middle of its cell: the axis reaches half a cell beyond the first and the last.
    station_mm = shown.station_mm
    half_mm = float(station_mm[1] - station_mm[0]) / 2 if len(station_mm) > 1 else 0.5
    first_mm, last_mm = float(station_mm[0]) - half_mm, float(station_mm[-1]) + half_mm
    mm_per_column = max((last_mm - first_mm) / width, 1e-9)
    step_mm = next((s for s in _TICK_STEPS_MM if s / mm_per_column >= _LABEL_COLUMNS), _TICK_STEPS_MM[-1])
    rule = ["-" if ascii_only else "─"] * width
    labels = list(" mm".ljust(_MARGIN + width))
    slack = mm_per_column / step_mm  # a tick that misses the axis by less than a column is shown
    first, last = math.ceil(first_mm / step_mm - slack), math.floor(last_mm / step_mm + slack)
    for tick_mm in range(first * step_mm, last * step_mm + 1, step_mm):
        column = min(max(int((tick_mm - first_mm) / mm_per_column), 0), width - 1)
        rule[column] = "+" if ascii_only else "┬"
        text = f"{tick_mm}"
        start = min(max(_MARGIN, _MARGIN + column - len(text) // 2), _MARGIN + width - len(text))
        labels[start : start + len(text)] = text
    return [
        [Cell(" " * _MARGIN + "".join(rule), "axis")],
        [Cell("".join(labels).rstrip(), "axis")],
    ]
