"""Draw the files of this folder anew: `python calibration/draw.py [FOLDER]`."""

from __future__ import annotations

import sys
from pathlib import Path

from fitup.scale.drawing import draw_sheet
from fitup.scale.layout import FORMS, target_layout
from fitup.scale.sheet import PAPERS_MM, check_sheet, target_sheet


def draw_all(folder: Path) -> list[Path]:
    """Draw number 1 of each form as PDF for both papers and as SVG, and the caliper check forms."""
    drawn = []
    for paper in PAPERS_MM:
        for form in FORMS:
            sheet = target_sheet(target_layout(1, form), paper)
            drawn.append(folder / f"{form}-no1-{paper}.pdf")
            draw_sheet(sheet, drawn[-1])
            if paper == "A4":
                drawn.append(folder / f"{form}-no1.svg")
                draw_sheet(sheet, drawn[-1])
        drawn.append(folder / f"caliper-check-{paper}.pdf")
        draw_sheet(check_sheet(paper), drawn[-1])
    return drawn


if __name__ == "__main__":
    for path in draw_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent):
        print(path.name)
