"""The whole sheet of paper that is printed: strip with cut line, caliper crosses, words for the shop."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitup.errors import UsageError
from fitup.scale.artwork import Bars, Label, Mark, strip_marks
from fitup.scale.layout import TargetLayout
from fitup.scale.print_check import CROSS_DISTANCE_MM

__all__ = ["PAPERS_MM", "Sheet", "check_sheet", "target_sheet"]

# Short and long side: ISO 216 A4, and US Letter of 8.5 × 11 inches.
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_LINE_MM = 0.12
_CROSS_ARM_MM = 5.0
_STRIP_FROM_TOP_MM = 12.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """Marks on a sheet; box_mm = (x0, y0, x1, y1) is the paper in the frame of the marks, y up."""

    title: str
    marks: list[Mark]
    box_mm: tuple[float, float, float, float]


def target_sheet(layout: TargetLayout, paper: str = "A4") -> Sheet:
    """Compose a strip on a landscape sheet; the caliper crosses stay on the sheet, not on the strip.

    A lens board fills its sheet and is not cut; its own saddles serve the caliper.

    Raises UsageError for a paper that is neither A4 nor Letter.
    """
    if layout.purpose == "lens":
        return _board_sheet(layout, paper)
    height, width = _paper(paper)
    left, far, right, joint = layout.paper_box_mm
    x0 = (left + right - width) / 2
    top = joint + _STRIP_FROM_TOP_MM
    box = (x0, top - height, x0 + width, top)
    marks = strip_marks(layout)
    marks += _cut_line(layout)
    marks += _crosses(box, far)
    marks += _steps(box, far, paper)
    return Sheet(title=f"fitup scale target {layout.name} No. {layout.strip_number}", marks=marks, box_mm=box)


def _board_sheet(layout: TargetLayout, paper: str) -> Sheet:
    height, width = _paper(paper)
    left, far, right, top = layout.paper_box_mm
    x0 = (left + right - width) / 2
    y0 = (far + top - height) / 2
    return Sheet(
        title=f"fitup {layout.name} No. {layout.strip_number}",
        marks=strip_marks(layout),
        box_mm=(x0, y0, x0 + width, y0 + height),
    )


def check_sheet(paper: str = "A4") -> Sheet:
    """Compose the form on which a caliper check is written down before it is keyed in."""
    width, height = _paper(paper)
    title = "fitup caliper check of a printed scale target"
    marks: list[Mark] = [Label(text=title, x_mm=20, y_mm=height - 25, height_mm=6, bold=True)]
    lines = (
        "Measure on the whole sheet, before the strip is cut out. Set the tips on the middle of the crosses.",
        "Read each distance three times, lifting the caliper off in between.",
    )
    marks += [
        Label(text=text, x_mm=20, y_mm=height - 34 - 6 * k, height_mm=3.6) for k, text in enumerate(lines)
    ]
    entries = ("Check number", "Date (year-month-day)", "Strip form and number", "Printer and paper",
               "Caliper (number)", "Its standard uncertainty, mm", "Done by")  # fmt: skip
    y = height - 56
    for entry in entries:
        marks += _entry(entry, 20, y, 75, width - 20)
        y -= 12
    drawn = f"{CROSS_DISTANCE_MM:.2f} mm"
    for entry in (f"Along the strip, drawn {drawn}", f"Across the strip, drawn {drawn}"):
        y -= 6
        marks.append(Label(text=entry, x_mm=20, y_mm=y, height_mm=4, bold=True))
        y -= 12
        for k, name in enumerate(("1st", "2nd", "3rd", "mean")):
            marks += _entry(name, 20 + 43 * k, y, 31 + 43 * k, 56 + 43 * k)
        y -= 8
    last = "A mean more than 5 % off the drawn distance is not accepted: the print was fitted to the page."
    marks.append(Label(text=last, x_mm=20, y_mm=y - 6, height_mm=3.6))
    return Sheet(title=title, marks=marks, box_mm=(0.0, 0.0, width, height))


def _paper(name: str) -> tuple[float, float]:
    if name not in PAPERS_MM:
        raise UsageError(f"There is no paper {name!r} here; choose {' or '.join(PAPERS_MM)}.")
    return PAPERS_MM[name]


def _entry(text: str, x: float, y: float, line_from: float, line_to: float) -> Iterator[Mark]:
    yield Label(text=text, x_mm=x, y_mm=y, height_mm=3.6)
    yield Bars(boxes_mm=np.array([[line_from, y - 1.0, line_to, y - 1.0 + _LINE_MM]]))


def _cut_line(layout: TargetLayout) -> Iterator[Mark]:
    """Thin lines just outside the strip, so that a cut along them takes them away."""
    left, far, right, joint = layout.paper_box_mm
    t = _LINE_MM
    yield Bars(
        boxes_mm=np.array(
            [
                [left - t, joint, right + t, joint + t],
                [left - t, far - t, right + t, far],
                [left - t, far, left, joint],
                [right, far, right + t, joint],
            ]
        )
    )
    yield Label(text="cut along this line", x_mm=left, y_mm=joint + 1.2, height_mm=2.4)


def _cross(x: float, y: float) -> Mark:
    """Two bars that touch without overlap: the vertical one in two halves."""
    a, h = _CROSS_ARM_MM, _LINE_MM / 2
    return Bars(
        boxes_mm=np.array(
            [[x - a, y - h, x + a, y + h], [x - h, y + h, x + h, y + a], [x - h, y - a, x + h, y - h]]
        )
    )


def _crosses(box: tuple[float, float, float, float], far_mm: float) -> Iterator[Mark]:
    """Two crosses along below the strip, two across in the right margin of the sheet."""
    x0, y0, x1, _ = box
    y = far_mm - 18.0
    start = (x0 + x1 - CROSS_DISTANCE_MM) / 2
    yield _cross(start, y)
    yield _cross(start + CROSS_DISTANCE_MM, y)
    text = f"caliper check ALONG: {CROSS_DISTANCE_MM:.2f} mm from cross to cross"
    yield Label(text=text, x_mm=(x0 + x1) / 2, y_mm=y - 1.2, height_mm=3.4, anchor="centre")
    x, low = x1 - 12.5, y0 + 22.0
    yield _cross(x, low)
    yield _cross(x, low + CROSS_DISTANCE_MM)
    text = f"caliper check ACROSS: {CROSS_DISTANCE_MM:.2f} mm from cross to cross"
    yield Label(text=text, x_mm=x + 3.0, y_mm=low - 9.0, height_mm=3.4, anchor="right")


def _steps(box: tuple[float, float, float, float], far_mm: float, paper: str) -> Iterator[Mark]:
    x = box[0] + 32.5
    y = far_mm - 34.0
    yield Label(text="PRINT AT 100 %, NO FIT TO PAGE", x_mm=x, y_mm=y, height_mm=5.0, bold=True)
    steps = (
        f"1  Print on matt {paper} paper at actual size.",
        "2  Measure both pairs of crosses with a caliper before cutting, and keep the readings.",
        "3  Cut along the line. Do not trim closer to the pattern: it needs its white rim.",
        "4  Fix the strip flat on the plate along its whole length: no bow, no lifted ends.",
        "5  Arrow towards the joint, strip 5 to 40 mm beside it, both near the middle of the photo.",
    )
    for k, text in enumerate(steps):
        yield Label(text=text, x_mm=x, y_mm=y - 9.0 - 6.0 * k, height_mm=3.6)
