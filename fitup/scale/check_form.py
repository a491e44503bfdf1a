"""The form on which a print check is written down before it is keyed in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from fitup.scale.artwork import Bars, Label, Mark
from fitup.scale.print_check import CROSS_DISTANCE_MM
from fitup.scale.sheet import Sheet, paper_mm

__all__ = ["check_sheet"]

_LINE_MM = 0.12


def check_sheet(paper: str = "A4") -> Sheet:
    """Compose the form on which a caliper check is written down before it is keyed in."""
    width, height = paper_mm(paper)
    title = "fitup caliper check of a printed scale target"
    marks: list[Mark] = [Label(text=title, x_mm=20, y_mm=height - 25, height_mm=6, bold=True)]
    lines = (
        "Measure on the whole sheet, before the strip is cut out. Set the tips on the middle of the crosses.",
        "Read each distance three times, lifting the caliper off in between.",
    )
    marks += [
        Label(text=text, x_mm=20, y_mm=height - 34 - 6 * k, height_mm=3.6) for k, text in enumerate(lines)
    ]
    entries = ("Check number", "Date (year-month-day)", "Form and strip numbers", "Printer and paper",
               "Caliper (number)", "Its standard uncertainty, mm", "Done by")  # fmt: skip
    y = height - 56
    for entry in entries:
        marks += _entry(entry, 20, y, 75, width - 20)
        y -= 12
    drawn = f"{CROSS_DISTANCE_MM:.2f} mm"
    for heading in (
        f"Along the strip, drawn {drawn}",
        f"Across the strip, drawn {drawn}",
        "Thickness from plate to print when magnet-backed or glued to something, three places, mm",
    ):
        y -= 6
        marks.append(Label(text=heading, x_mm=20, y_mm=y, height_mm=4, bold=True))
        y -= 12
        for k, name in enumerate(("1st", "2nd", "3rd", "mean")):
            marks += _entry(name, 20 + 43 * k, y, 31 + 43 * k, 56 + 43 * k)
        y -= 8
    last = "A mean more than 5 % off the drawn distance is not accepted: the print was fitted to the page."
    marks.append(Label(text=last, x_mm=20, y_mm=y - 6, height_mm=3.6))
    return Sheet(title=title, marks=marks, box_mm=(0.0, 0.0, width, height))


def _entry(text: str, x: float, y: float, line_from: float, line_to: float) -> Iterator[Mark]:
    yield Label(text=text, x_mm=x, y_mm=y, height_mm=3.6)
    yield Bars(boxes_mm=np.array([[line_from, y - 1.0, line_to, y - 1.0 + _LINE_MM]]))
