"""The ink on the paper: the pattern and everything printed beside it, as shapes in target millimetres.

Every output (PDF, SVG, PNG, raster) draws this one list, so they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fitup.scale.layout import TargetLayout
from fitup.scale.print_check import CROSS_DISTANCE_MM

__all__ = ["INCH_MM", "Bars", "Label", "Mark", "Polygon", "pattern_marks", "strip_marks", "turned_marks"]

INCH_MM = 25.4


@dataclass(frozen=True, kw_only=True, eq=False)
class Bars:
    """(N, 4) upright rectangles x0, y0, x1, y1 in mm that are filled together as one shape."""

    boxes_mm: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Polygon:
    """(N, 2) corners in mm of a filled polygon."""

    corners_mm: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Label:
    """A line of text whose baseline starts (or is centred, or ends) at x, y; `height_mm` is the type size.

    A turned one stands on its head, turned about x, y.
    """

    text: str
    x_mm: float
    y_mm: float
    height_mm: float
    anchor: Literal["left", "centre", "right"] = "left"
    bold: bool = False
    turned: bool = False


Mark: TypeAlias = Bars | Polygon | Label


def pattern_marks(layout: TargetLayout) -> list[Bars]:
    """Give the black squares one by one, then the markers, each marker as one shape without inner seams."""
    p = layout.pitch_mm
    row, column = np.nonzero(layout.squares)
    squares = np.column_stack((column * p, -(row + 1) * p, (column + 1) * p, -row * p))
    marks = [Bars(boxes_mm=box[None]) for box in squares]
    marks += [
        Bars(boxes_mm=_marker_boxes(corners[0], bits, layout.marker_mm))
        for corners, bits in zip(layout.marker_corners_mm, layout.marker_bits, strict=True)
    ]
    return marks


def strip_marks(layout: TargetLayout) -> list[Mark]:
    """Give all ink on the cut strip: pattern, datum mark, joint arrow, rulers and words.

    On a lens board: pattern, caliper marks and words; it has no datum, for it lies at no joint.
    """
    marks: list[Mark] = [*pattern_marks(layout)]
    if layout.purpose == "lens":
        return [*marks, *_caliper_marks(layout), *_board_words(layout)]
    marks += _datum_and_arrow(layout)
    marks += _millimetre_ruler(layout)
    marks += _inch_ruler(layout)
    marks += _words(layout)
    return marks


def turned_marks(marks: list[Mark], centre_mm: tuple[float, float]) -> list[Mark]:
    """Turn marks by half a turn about a point."""
    twice = 2 * np.array(centre_mm)
    return [_turned(mark, twice) for mark in marks]


def _turned(mark: Mark, twice_mm: NDArray[np.float64]) -> Mark:
    if isinstance(mark, Bars):
        return Bars(boxes_mm=np.tile(twice_mm, 2) - mark.boxes_mm[:, [2, 3, 0, 1]])
    if isinstance(mark, Polygon):
        return Polygon(corners_mm=twice_mm - mark.corners_mm)
    x, y = (twice_mm - [mark.x_mm, mark.y_mm]).tolist()
    return replace(mark, x_mm=x, y_mm=y, turned=not mark.turned)


def _marker_boxes(
    upper_left_mm: NDArray[np.float64], bits: NDArray[np.bool_], side_mm: float
) -> NDArray[np.float64]:
    """Black runs of each row of modules."""
    module = side_mm / len(bits)
    edges = np.diff(np.pad(bits.astype(np.int8), ((0, 0), (1, 1))), axis=1)
    row, start = np.nonzero(edges == 1)
    end = np.nonzero(edges == -1)[1]
    x, y = upper_left_mm
    return np.column_stack(
        (x + start * module, y - (row + 1) * module, x + end * module, y - row * module)
    ).astype(np.float64)


def _datum_and_arrow(layout: TargetLayout) -> Iterator[Mark]:
    yield Polygon(corners_mm=np.array([[-3.5, 0.0], [-6.0, 0.9], [-6.0, -0.9]]))
    yield Label(text="0", x_mm=-8.6, y_mm=-1.0, height_mm=3.2, bold=True)
    tip, tail = -5.0, -layout.width_mm + 6.0
    yield Bars(boxes_mm=np.array([[-8.3, tail, -7.3, tip - 3.5]]))
    yield Polygon(corners_mm=np.array([[-7.8, tip], [-9.8, tip - 4.5], [-5.8, tip - 4.5]]))
    yield Label(text="JOINT", x_mm=-8.4, y_mm=tail - 4.0, height_mm=3.2, anchor="centre", bold=True)


def _ruler_bars(positions_mm: NDArray[np.float64], y0: float, lengths: NDArray[np.float64]) -> Bars:
    half = 0.09
    return Bars(
        boxes_mm=np.column_stack(
            (positions_mm - half, y0 - lengths, positions_mm + half, np.full_like(positions_mm, y0))
        )
    )


def _millimetre_ruler(layout: TargetLayout) -> Iterator[Mark]:
    """Zero lies at the datum mark, so that a station in a report can be found with the eye."""
    top = -layout.width_mm - 4.5
    mm = np.arange(0.0, layout.length_mm + 0.5)
    length = np.where(mm % 10 == 0, 2.6, np.where(mm % 5 == 0, 2.0, 1.4))
    yield _ruler_bars(mm, top, length)
    for x in mm[::10]:
        yield Label(text=f"{x:.0f}", x_mm=float(x), y_mm=top - 4.8, height_mm=2.2, anchor="centre")
    yield Label(text="mm", x_mm=-4.0, y_mm=top - 4.8, height_mm=2.2, anchor="right")


def _inch_ruler(layout: TargetLayout) -> Iterator[Mark]:
    top = -layout.width_mm - 10.2
    sixteenth = np.arange(0.0, np.floor(layout.length_mm / INCH_MM * 16) + 0.5)
    length = np.select(
        [sixteenth % 16 == 0, sixteenth % 8 == 0, sixteenth % 4 == 0, sixteenth % 2 == 0],
        [2.6, 2.2, 1.8, 1.4],
        default=1.0,
    )
    yield _ruler_bars(sixteenth / 16 * INCH_MM, top, length)
    for inch in range(len(sixteenth) // 16 + 1):
        if inch * 16 < len(sixteenth):
            yield Label(text=str(inch), x_mm=inch * INCH_MM, y_mm=top - 4.8, height_mm=2.2, anchor="centre")
    yield Label(text="inch", x_mm=-4.0, y_mm=top - 4.8, height_mm=2.2, anchor="right")


def _caliper_marks(layout: TargetLayout) -> Iterator[Mark]:
    """Triangles outside the white rim, at saddles a caliper's reach apart: two along and two across."""
    tip, tail, half = 3.6, 5.4, 1.0  # 4 mm from the edge of Letter paper, which printers leave white
    right, far = layout.length_mm, -layout.width_mm
    for x in _caliper_lines(layout.columns, layout.pitch_mm):
        for edge, out in ((0.0, 1.0), (far, -1.0)):
            y = edge + out * np.array([tip, tail, tail])
            yield Polygon(corners_mm=np.column_stack((x + np.array([0, half, -half]), y)))
    for y_line in _caliper_lines(layout.rows, layout.pitch_mm):
        for edge, out in ((0.0, -1.0), (right, 1.0)):
            x_tips = edge + out * np.array([tip, tail, tail])
            yield Polygon(corners_mm=np.column_stack((x_tips, -y_line + np.array([0, half, -half]))))


def _caliper_lines(squares: int, pitch_mm: float) -> tuple[float, float]:
    """Two grid lines the caliper check's distance apart, about the middle; inner ones, which have saddles."""
    apart = round(CROSS_DISTANCE_MM / pitch_mm)
    first = (squares - apart) // 2
    return first * pitch_mm, (first + apart) * pitch_mm


def _board_words(layout: TargetLayout) -> Iterator[Mark]:
    y = -layout.width_mm - 10.6
    title = f"fitup {layout.name} No. {layout.strip_number}"
    yield Label(text=title, x_mm=0.0, y_mm=y, height_mm=2.8, bold=True)
    text = (
        f"pitch {layout.pitch_mm:.3f} mm nominal   PRINT AT 100 %, no fit to page   do not cut: glue it flat"
    )
    yield Label(text=text, x_mm=48.0, y_mm=y, height_mm=2.8)
    apart = round(CROSS_DISTANCE_MM / layout.pitch_mm)
    text = (
        f"caliper check ALONG and ACROSS: {CROSS_DISTANCE_MM:.2f} mm ({apart} squares) between the lines of "
        "the marks; set the tips where four squares meet"
    )
    yield Label(text=text, x_mm=0.0, y_mm=y - 4.4, height_mm=2.8)


def _words(layout: TargetLayout) -> Iterator[Mark]:
    y = -layout.width_mm - 18.8
    title = f"fitup {layout.name} No. {layout.strip_number}"
    size = 2.6
    yield Label(text=title, x_mm=-11.0, y_mm=y, height_mm=size, bold=True)
    if layout.length_mm > 100:
        text = f"pitch {layout.pitch_mm:.3f} mm nominal  print at 100 %, no fit to page   arrow to the joint"
        yield Label(text=text, x_mm=35.0, y_mm=y, height_mm=size)
    else:
        yield Label(text=f"pitch {layout.pitch_mm:.3f} mm   print at 100 %", x_mm=23.0, y_mm=y, height_mm=2.2)
