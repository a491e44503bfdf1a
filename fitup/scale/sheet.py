"""The whole sheet of paper that is printed: strips with cut lines, caliper crosses, words for the shop."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from fitup.errors import UsageError
from fitup.scale.artwork import Bars, Label, Mark, strip_marks, turned_marks
from fitup.scale.forms import PRINT_FORMS, form_layouts
from fitup.scale.layout import TargetLayout
from fitup.scale.print_check import CROSS_DISTANCE_MM

__all__ = ["PAPERS_MM", "Sheet", "form_sheet", "paper_mm", "target_sheet"]

# Short and long side: ISO 216 A4, and US Letter of 8.5 × 11 inches.
PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
_LINE_MM = 0.12
_CROSS_ARM_MM = 5.0
_STRIP_FROM_TOP_MM = 12.0
_PRINT = "1  Print on matt {paper} paper at actual size."
_STRIP_STEPS = (
    _PRINT,
    "2  Measure both pairs of crosses with a caliper before cutting, and keep the readings.",
    "3  Cut along the line. Do not trim closer to the pattern: it needs its white rim.",
    "4  Fix the strip flat on the plate along its whole length: no bow, no lifted ends.",
    "5  Arrow towards the joint, strip 5 to 40 mm beside it, both near the middle of the photo.",
)
_CORNER_STEPS = (
    _PRINT,
    "2  Measure both pairs of crosses before cutting: one check holds for both strips.",
    "3  Cut along all lines, also between the strips: no paper may lie over the joint.",
    "4  Fix each strip flat on its own face, opposite each other, both arrows towards the joint.",
    "5  Each strip 5 to 40 mm beside the joint, all near the middle of the photo.",
)
_MAGNET_STEPS = (
    _PRINT,
    "2  Measure both pairs of crosses with a caliper before cutting, and keep the readings.",
    "3  Glue the strip over its whole area onto magnet sheet, press it flat, cut along the line.",
    "4  Measure the thickness, print and magnet together, at three places, and key the mean in",
    "    once with the print check (--thickness); inspecting takes it from there.",
    "5  Arrow towards the joint, strip 5 to 40 mm beside it, both near the middle of the photo.",
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """Marks on a sheet; box_mm = (x0, y0, x1, y1) is the paper in the frame of the marks, y up."""

    title: str
    marks: list[Mark]
    box_mm: tuple[float, float, float, float]


def form_sheet(form: str, number: int = 1, paper: str = "A4") -> Sheet:
    """Compose the sheet of a form; `number` is that of its first strip.

    Raises UsageError for a form, a number or a paper that does not exist.
    """
    layouts = form_layouts(form, number)
    if len(layouts) == 2:
        return _corner_sheet(form, *layouts, paper)
    if PRINT_FORMS[form].use == "magnet":
        return _strip_sheet(layouts[0], paper, _MAGNET_STEPS)
    return target_sheet(layouts[0], paper)


def target_sheet(layout: TargetLayout, paper: str = "A4") -> Sheet:
    """Compose a strip on a landscape sheet; the caliper crosses stay on the sheet, not on the strip.

    A lens board fills its sheet and is not cut; its own saddles serve the caliper.

    Raises UsageError for a paper that is neither A4 nor Letter.
    """
    if layout.purpose == "lens":
        return _board_sheet(layout, paper)
    return _strip_sheet(layout, paper, _STRIP_STEPS)


def paper_mm(name: str) -> tuple[float, float]:
    """Short and long side of a paper; raises UsageError for one that is not in `PAPERS_MM`."""
    if name not in PAPERS_MM:
        raise UsageError(f"There is no paper {name!r} here; choose {' or '.join(PAPERS_MM)}.")
    return PAPERS_MM[name]


def _strip_sheet(layout: TargetLayout, paper: str, steps: tuple[str, ...]) -> Sheet:
    height, width = paper_mm(paper)
    left, far, right, joint = layout.paper_box_mm
    x0 = (left + right - width) / 2
    top = joint + _STRIP_FROM_TOP_MM
    box = (x0, top - height, x0 + width, top)
    marks = strip_marks(layout)
    marks += _cut_line(layout)
    marks.append(Label(text="cut along this line", x_mm=left, y_mm=joint + 1.2, height_mm=2.4))
    marks += _crosses(box, far - 18.0)
    marks += _steps((x0 + 32.5, far - 34.0), paper, steps)
    return Sheet(title=f"fitup scale target {layout.name} No. {layout.strip_number}", marks=marks, box_mm=box)


def _corner_sheet(form: str, first: TargetLayout, second: TargetLayout, paper: str) -> Sheet:
    """Two strips as they lie at the joint, the second one turned, arrow to arrow with a line between them.

    Both come from one print in one direction, so that one print check holds for both.
    """
    height, width = paper_mm(paper)
    left, far, right, joint = first.paper_box_mm
    middle = ((left + right) / 2, joint + _LINE_MM / 2)
    top = 2 * middle[1] - far + _STRIP_FROM_TOP_MM
    x0 = (left + right - width) / 2
    box = (x0, top - height, x0 + width, top)
    marks = strip_marks(first)
    marks += _cut_line(first)
    marks += turned_marks([*strip_marks(second), *_cut_line(second, joint_side=False)], middle)
    words = (("cut along", joint + 0.8), ("all lines", joint - 2.4))
    marks += [Label(text=t, x_mm=left - 1.5, y_mm=y, height_mm=2.4, anchor="right") for t, y in words]
    marks += _crosses(box, far - 11.0)
    marks += _steps((x0 + 32.5, far - 25.0), paper, _CORNER_STEPS)
    numbers = f"No. {first.strip_number} and {second.strip_number}"
    return Sheet(title=f"fitup scale targets {form} {numbers}", marks=marks, box_mm=box)


def _board_sheet(layout: TargetLayout, paper: str) -> Sheet:
    height, width = paper_mm(paper)
    left, far, right, top = layout.paper_box_mm
    x0 = (left + right - width) / 2
    y0 = (far + top - height) / 2
    return Sheet(
        title=f"fitup {layout.name} No. {layout.strip_number}",
        marks=strip_marks(layout),
        box_mm=(x0, y0, x0 + width, y0 + height),
    )


def _cut_line(layout: TargetLayout, *, joint_side: bool = True) -> Iterator[Mark]:
    """Thin lines just outside the strip, so that a cut along them takes them away."""
    left, far, right, joint = layout.paper_box_mm
    t = _LINE_MM
    top = [[left - t, joint, right + t, joint + t]] if joint_side else []
    rest = [[left - t, far - t, right + t, far], [left - t, far, left, joint], [right, far, right + t, joint]]
    yield Bars(boxes_mm=np.array(top + rest))


def _cross(x: float, y: float) -> Mark:
    """Two bars that touch without overlap: the vertical one in two halves."""
    a, h = _CROSS_ARM_MM, _LINE_MM / 2
    return Bars(
        boxes_mm=np.array(
            [[x - a, y - h, x + a, y + h], [x - h, y + h, x + h, y + a], [x - h, y - a, x + h, y - h]]
        )
    )


def _crosses(box: tuple[float, float, float, float], y: float) -> Iterator[Mark]:
    """Two crosses along below the strips at y, two across in the right margin of the sheet."""
    x0, y0, x1, _ = box
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


def _steps(at: tuple[float, float], paper: str, steps: tuple[str, ...]) -> Iterator[Mark]:
    x, y = at
    yield Label(text="PRINT AT 100 %, NO FIT TO PAGE", x_mm=x, y_mm=y, height_mm=5.0, bold=True)
    for k, text in enumerate(steps):
        yield Label(text=text.format(paper=paper), x_mm=x, y_mm=y - 9.0 - 6.0 * k, height_mm=3.6)
