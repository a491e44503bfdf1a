"""Ink to pixels: an exact-area picture of a target at any scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from fitup.scale.artwork import Bars, Label, Mark, Polygon, strip_marks
from fitup.scale.layout import TargetLayout

__all__ = ["TargetRaster", "raster_marks", "target_raster"]


@dataclass(frozen=True, kw_only=True, eq=False)
class TargetRaster:
    """A picture of the cut strip: 255 = paper, 0 = ink, in between = share of the pixel that is paper.

    `datum_px` is the datum mark's place (column, row), centre of the upper left pixel at (0, 0);
    `px_from_mm` (3, 3) takes target millimetres to that frame.
    """

    pixels: NDArray[np.uint8]
    px_per_mm: float
    datum_px: tuple[float, float]
    px_from_mm: NDArray[np.float64]


def target_raster(layout: TargetLayout, px_per_mm: float) -> TargetRaster:
    """Draw the strip with its paper margin, cut to whole pixels at the right and far edges."""
    left, far, right, joint = layout.paper_box_mm
    pixels = raster_marks(strip_marks(layout), (left, far, right, joint), px_per_mm)
    datum = (-left * px_per_mm - 0.5, joint * px_per_mm - 0.5)
    matrix = np.array([[px_per_mm, 0.0, datum[0]], [0.0, -px_per_mm, datum[1]], [0.0, 0.0, 1.0]])
    return TargetRaster(pixels=pixels, px_per_mm=px_per_mm, datum_px=datum, px_from_mm=matrix)


def raster_marks(
    marks: list[Mark], box_mm: tuple[float, float, float, float], px_per_mm: float
) -> NDArray[np.uint8]:
    """Draw marks into the window box_mm = (x0, y0, x1, y1); (H, W) uint8."""
    left, low, right, top = box_mm
    shape = (round((top - low) * px_per_mm), round((right - left) * px_per_mm))
    ink = np.zeros(shape, dtype=np.float32)
    words = [Image.new("L", (shape[1], shape[0]), 0) for _ in range(2)]  # upright ones, turned ones
    pens = [ImageDraw.Draw(sheet) for sheet in words]
    for mark in marks:
        if isinstance(mark, Bars):
            _add_bars(ink, (mark.boxes_mm - [left, top, left, top]) * [1, -1, 1, -1] * px_per_mm)
        elif isinstance(mark, Polygon):
            _add_polygon(ink, (mark.corners_mm - [left, top]) * [1, -1] * px_per_mm)
        else:
            at = ((mark.x_mm - left) * px_per_mm, (top - mark.y_mm) * px_per_mm)
            if mark.turned:
                at = (shape[1] - at[0], shape[0] - at[1])
            _write(pens[mark.turned], mark, at, px_per_mm)
    for sheet, turn in zip(words, (1, -1), strict=True):
        np.maximum(ink, np.asarray(sheet, dtype=np.float32)[::turn, ::turn] / 255, out=ink)
    return np.rint(255 * (1 - np.clip(ink, 0, 1))).astype(np.uint8)


def _add_bars(ink: NDArray[np.float32], boxes: NDArray[np.float64]) -> None:
    """Add the exact covered share of every pixel; the boxes of a drawing do not overlap."""
    height, width = ink.shape
    for x0, y1, x1, y0 in boxes:
        c0, c1 = max(int(np.floor(x0)), 0), min(int(np.ceil(x1)), width)
        r0, r1 = max(int(np.floor(y0)), 0), min(int(np.ceil(y1)), height)
        if c1 > c0 and r1 > r0:
            across = _cover(np.arange(c0, c1), x0, x1)
            down = _cover(np.arange(r0, r1), y0, y1)
            ink[r0:r1, c0:c1] += np.outer(down, across).astype(np.float32)


def _cover(cells: NDArray[np.int64], start: float, end: float) -> NDArray[np.float64]:
    return np.asarray(np.clip(np.minimum(cells + 1, end) - np.maximum(cells, start), 0, 1))


def _add_polygon(ink: NDArray[np.float32], corners: NDArray[np.float64], fine: int = 8) -> None:
    """Polygons (arrow heads) carry no scale: a mask drawn finer and averaged is enough."""
    origin = np.floor(corners.min(0)).astype(int)
    size = np.ceil(corners.max(0)).astype(int) - origin + 1
    mask = Image.new("L", (int(size[0]) * fine, int(size[1]) * fine), 0)
    ImageDraw.Draw(mask).polygon([(float(x), float(y)) for x, y in (corners - origin) * fine], fill=255)
    share = np.asarray(mask, dtype=np.float32).reshape(size[1], fine, size[0], fine).mean((1, 3)) / 255
    x0, y0 = np.maximum(origin, 0)
    x1, y1 = np.minimum(origin + size, [ink.shape[1], ink.shape[0]])
    part = share[y0 - origin[1] : y1 - origin[1], x0 - origin[0] : x1 - origin[0]]
    np.maximum(ink[y0:y1, x0:x1], part, out=ink[y0:y1, x0:x1])


def _write(pen: ImageDraw.ImageDraw, label: Label, at: tuple[float, float], px_per_mm: float) -> None:
    size = label.height_mm * px_per_mm
    if size < 4:  # a smear, not a word
        return
    anchor = {"left": "ls", "centre": "ms", "right": "rs"}[label.anchor]
    stroke = round(size / 60) if label.bold else 0
    pen.text(at, label.text, fill=255, font=ImageFont.load_default(size), anchor=anchor, stroke_width=stroke)
