"""The printable sheets read back by two independent PDF libraries.

Shapes and words by pdfplumber (on pdfminer.six), pixels by pypdfium2 (the PDFium renderer); neither
is used to draw. Page sizes: A4 of 210 mm × 297 mm from ISO 216, Letter of 8.5 in × 11 in
(the same numbers as in matplotlib's and many other libraries' tables).
"""

from __future__ import annotations

import numpy as np
import pytest

from fitup.scale import find_target, target_layout
from fitup.scale.drawing import draw_target
from tests.scale.drawing_world import photo_of

pdfplumber = pytest.importorskip("pdfplumber")
pypdfium2 = pytest.importorskip("pypdfium2")

POINT_MM = 25.4 / 72  # the PDF unit
TOLERANCE_MM = 0.01
PAGES_MM = {"A4": (297.0, 210.0), "Letter": (11 * 25.4, 8.5 * 25.4)}
DRAWINGS = [(form, paper) for form in ("strip-30x5", "strip-8x5") for paper in PAGES_MM]


@pytest.fixture(scope="module", params=DRAWINGS, ids=lambda p: f"{p[0]}-{p[1]}")
def drawing(request, tmp_path_factory):
    form, paper = request.param
    layout = target_layout(1, form)
    path = tmp_path_factory.mktemp("pdf") / "target.pdf"
    draw_target(layout, path, paper)
    with pdfplumber.open(path) as document:
        assert len(document.pages) == 1
        page = document.pages[0]
        boxes = np.array([[r["x0"], r["top"], r["x1"], r["bottom"]] for r in page.rects]) * POINT_MM
        size = (page.width * POINT_MM, page.height * POINT_MM)
        yield layout, paper, path, boxes, size, page.extract_text()


def of_size(boxes, width_mm, height_mm):
    size = boxes[:, 2:] - boxes[:, :2]
    return boxes[np.all(np.abs(size - [width_mm, height_mm]) < TOLERANCE_MM, axis=1)]


def test_page_has_the_papers_size(drawing):
    _, paper, _, _, size, _ = drawing
    assert size == pytest.approx(PAGES_MM[paper], abs=TOLERANCE_MM)


def test_checker_squares_are_on_their_pitch(drawing):
    layout, _, _, boxes, _, _ = drawing
    squares = of_size(boxes, 7.0, 7.0)
    assert len(squares) == layout.columns * layout.rows // 2
    corner = squares[:, :2] - squares[:, :2].min(0)
    columns, rows = np.rint(corner / 7.0).astype(int).T
    assert np.abs(corner - 7.0 * np.column_stack((columns, rows))).max() < TOLERANCE_MM
    assert np.all((columns + rows) % 2 == 0)
    extent = [(layout.columns - 1) * 7.0, (layout.rows - 1) * 7.0]
    assert corner.max(0) == pytest.approx(extent, abs=TOLERANCE_MM)


def test_caliper_crosses_are_at_their_printed_distance(drawing):
    _, _, _, boxes, (width, height), words = drawing
    bars = of_size(boxes, 10.0, 0.12)
    centre = (bars[:, :2] + bars[:, 2:]) / 2
    assert len(centre) == 4
    pairs = [(a, b) for i, a in enumerate(centre) for b in centre[i + 1 :]]
    along = [abs(a[0] - b[0]) for a, b in pairs if abs(a[1] - b[1]) < TOLERANCE_MM]
    across = [abs(a[1] - b[1]) for a, b in pairs if abs(a[0] - b[0]) < TOLERANCE_MM]
    assert along == pytest.approx([140.0], abs=TOLERANCE_MM)
    assert across == pytest.approx([140.0], abs=TOLERANCE_MM)
    assert "ALONG: 140.00 mm" in words
    assert "ACROSS: 140.00 mm" in words
    # Inside what office printers can print, some 4 mm from the paper's edge (common practice, no source).
    assert min(boxes[:, :2].min(), width - boxes[:, 2].max(), height - boxes[:, 3].max()) > 4.0


def test_ruler_lines_are_millimetres_from_the_datum(drawing):
    layout, _, _, boxes, _, _ = drawing
    ticks = np.concatenate([of_size(boxes, 0.18, h) for h in (2.6, 2.0, 1.4)])
    squares = of_size(boxes, 7.0, 7.0)
    ticks = ticks[np.abs(ticks[:, 1] - (squares[:, 3].max() + 4.5)) < TOLERANCE_MM]
    x = np.sort((ticks[:, 0] + ticks[:, 2]) / 2 - squares[:, 0].min())
    assert x == pytest.approx(np.arange(layout.length_mm + 1), abs=TOLERANCE_MM)


def test_words_for_the_shop_are_there(drawing):
    layout, _, _, _, _, words = drawing
    for text in (
        "JOINT",
        f"{layout.name} No. 1",
        "7.000 mm",
        "PRINT AT 100 %",
        "cut along this line",
        "inch",
    ):
        assert text in words


def test_viewer_is_asked_not_to_scale(drawing):
    assert b"/PrintScaling /None" in drawing[2].read_bytes()


def test_rendered_page_is_found_with_the_right_scale(drawing):
    layout, _, path, _, _, _ = drawing
    document = pypdfium2.PdfDocument(path)
    per_mm = 20.0  # PDFium snaps upright shapes to pixels; at this scale all squares snap alike
    picture = document[0].render(scale=per_mm * POINT_MM, grayscale=True).to_numpy()
    document.close()
    sighting = find_target(photo_of(np.squeeze(picture)))
    assert sighting.layout == layout
    assert len(sighting.saddle_ids) == len(layout.saddles_mm)
    scale = sighting.homography[:2, :2] / sighting.homography[2, 2]
    assert scale == pytest.approx(np.diag([per_mm, -per_mm]), rel=1e-4, abs=2e-3)
