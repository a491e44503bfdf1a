"""Draw the files of this folder anew: `python calibration/draw.py [FOLDER]`."""

from __future__ import annotations

import sys
from pathlib import Path

from fitup.scale.check_form import check_sheet
from fitup.scale.drawing import draw_sheet
from fitup.scale.forms import PRINT_FORMS, form_layouts
from fitup.scale.sheet import PAPERS_MM, form_sheet


def draw_all(folder: Path) -> list[Path]:
    """Draw the first sheet of each form as PDF for both papers and as SVG,
    and the caliper check forms."""
    drawn = []
    for paper in PAPERS_MM:
        for form in PRINT_FORMS:
            numbers = "-".join(str(layout.strip_number) for layout in form_layouts(form))
            sheet = form_sheet(form, paper=paper)
            drawn.append(folder / f"{form}-no{numbers}-{paper}.pdf")
            draw_sheet(sheet, drawn[-1])
            if paper == "A4" and PRINT_FORMS[form].use != "magnet":  # engravers need no magnet sheet
                drawn.append(folder / f"{form}-no{numbers}.svg")
                draw_sheet(sheet, drawn[-1])
        drawn.append(folder / f"caliper-check-{paper}.pdf")
        draw_sheet(check_sheet(paper), drawn[-1])
    return drawn


if __name__ == "__main__":
    for path in draw_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent):
        print(path.name)
