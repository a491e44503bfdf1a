"""Sheets to files: vector PDF and SVG, PNG at 600 dpi. `python -m fitup.scale.drawing` draws one."""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from html import escape
from io import BytesIO
from pathlib import Path

from fpdf import FPDF, ViewerPreferences
from PIL import Image

from fitup.errors import StorageError, UsageError
from fitup.scale.artwork import Bars, Label, Polygon
from fitup.scale.layout import TargetLayout
from fitup.scale.raster import raster_marks
from fitup.scale.sheet import Sheet, form_sheet, target_sheet

__all__ = ["draw_form", "draw_sheet", "draw_target"]

_DPI = 600
# The same drawing gives the same bytes on any day.
_DRAWN_AT = datetime(2026, 1, 1, tzinfo=UTC)


def draw_form(form: str, number: int, path: str | os.PathLike[str], paper: str = "A4") -> None:
    """Draw the sheet of a form, `number` the first strip's; errors as `draw_target` and `form_layouts`."""
    draw_sheet(form_sheet(form, number, paper), path)


def draw_target(layout: TargetLayout, path: str | os.PathLike[str], paper: str = "A4") -> None:
    """Draw a strip on its sheet; the suffix (.pdf, .svg, .png) says how, `paper` is A4 or Letter.

    Raises UsageError for another suffix or paper, StorageError where the file cannot be written.
    """
    draw_sheet(target_sheet(layout, paper), path)


def draw_sheet(sheet: Sheet, path: str | os.PathLike[str]) -> None:
    """Write any sheet, whole or not at all; errors as `draw_target`."""
    target = Path(path)
    writer = _WRITERS.get(target.suffix.lower())
    if writer is None:
        raise UsageError(f"Targets are drawn as {', '.join(_WRITERS)}, not {target.suffix or 'this'}.")
    content = writer(sheet)
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(temporary).chmod(0o644)  # mkstemp makes a private file; a print is for everybody
        os.replace(temporary, target)  # noqa: PTH105  # the pair of mkstemp above
    except OSError as error:
        if temporary:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()
        raise StorageError(f"The drawing could not be written to {target}: {error.strerror}.") from error


def _pdf(sheet: Sheet) -> bytes:
    """Vector PDF that asks the viewer not to scale it when printing."""
    x0, y0, x1, y1 = sheet.box_mm
    width, height = x1 - x0, y1 - y0
    pdf = FPDF(orientation="P", unit="mm", format=(width, height))
    pdf.set_creation_date(_DRAWN_AT)
    pdf.set_title(sheet.title)
    pdf.set_author("fitup")
    pdf.set_producer("fitup")  # the library's would change the bytes with its version
    pdf.set_compression(False)  # so would the compressor
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_auto_page_break(False)
    pdf.add_page()
    for mark in sheet.marks:
        if isinstance(mark, Label):
            _pdf_label(pdf, mark, mark.x_mm - x0, y1 - mark.y_mm)
            continue
        with pdf.new_path() as shape:
            shape.style.fill_color = "#000000"
            shape.style.stroke_color = None
            for ring in _rings(mark, x0, y1):
                shape.move_to(*ring[0])
                for corner in ring[1:]:
                    shape.line_to(*corner)
                shape.close()
    return bytes(pdf.output())


def _pdf_label(pdf: FPDF, label: Label, x: float, y: float) -> None:
    pdf.set_font("Helvetica", "B" if label.bold else "", label.height_mm * 72 / 25.4)
    shift = {"left": 0.0, "centre": 0.5, "right": 1.0}[label.anchor] * pdf.get_string_width(label.text)
    with pdf.rotation(180, x, y) if label.turned else contextlib.nullcontext():
        pdf.text(x - shift, y, label.text)


def _svg(sheet: Sheet) -> bytes:
    x0, y0, x1, y1 = sheet.box_mm
    width, height = f"{x1 - x0:g}", f"{y1 - y0:g}"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f"<title>{escape(sheet.title)}</title>",
    ]
    for mark in sheet.marks:
        if isinstance(mark, Label):
            anchor = {"left": "start", "centre": "middle", "right": "end"}[mark.anchor]
            weight = ' font-weight="bold"' if mark.bold else ""
            x, y = f"{mark.x_mm - x0:.4f}", f"{y1 - mark.y_mm:.4f}"
            turn = f' transform="rotate(180 {x} {y})"' if mark.turned else ""
            lines.append(
                f'<text x="{x}" y="{y}" font-size="{mark.height_mm:g}" '
                f'font-family="Helvetica, Arial, sans-serif" text-anchor="{anchor}"{weight}{turn}>'
                f"{escape(mark.text)}</text>"
            )
            continue
        outline = "".join(
            "M" + "L".join(f"{x:.4f} {y:.4f}" for x, y in ring) + "Z" for ring in _rings(mark, x0, y1)
        )
        lines.append(f'<path d="{outline}"/>')
    return ("\n".join([*lines, "</svg>"]) + "\n").encode()


def _png(sheet: Sheet) -> bytes:
    pixels = raster_marks(sheet.marks, sheet.box_mm, _DPI / 25.4)
    file = BytesIO()
    Image.fromarray(pixels).save(file, "PNG", dpi=(_DPI, _DPI), optimize=True)
    return file.getvalue()


def _rings(mark: Bars | Polygon, x0: float, y1: float) -> list[list[tuple[float, float]]]:
    """Closed outlines on the page, y down from its upper left corner."""
    if isinstance(mark, Polygon):
        return [[(float(x - x0), float(y1 - y)) for x, y in mark.corners_mm]]
    return [
        [(a - x0, y1 - d), (c - x0, y1 - d), (c - x0, y1 - b), (a - x0, y1 - b)]
        for a, b, c, d in mark.boxes_mm.tolist()
    ]


_WRITERS: dict[str, Callable[[Sheet], bytes]] = {".pdf": _pdf, ".svg": _svg, ".png": _png}


def _main() -> int:
    """Draw one sheet: number, file, paper (A4), form (strip-30x5)."""
    from fitup.errors import FitupError

    words = sys.argv[1:]
    if not 2 <= len(words) <= 4 or not words[0].isdecimal():
        print("usage: python -m fitup.scale.drawing NUMBER FILE.pdf [A4|Letter] [FORM]")
        return 2
    paper = words[2] if len(words) > 2 else "A4"
    form = words[3] if len(words) > 3 else "strip-30x5"
    try:
        draw_form(form, int(words[0]), words[1], paper)
    except FitupError as error:
        print(error, file=sys.stderr)
        return int(error.exit_code)
    return 0


if __name__ == "__main__":
    sys.exit(_main())
