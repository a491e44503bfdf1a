"""The printable sheets read back by two independent PDF libraries.

Shapes and words by pdfplumber (on pdfminer.six), pixels by pypdfium2 (the PDFium renderer); neither
is used to draw. Page sizes: A4 of 210 mm × 297 mm from ISO 216, Letter of 8.5 in × 11 in
(the same numbers as in matplotlib's and many other libraries' tables).
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fitup.scale import target_layout
from fitup.scale.drawing import draw_form
from fitup.scale.finding import find_board
from fitup.scale.forms import PRINT_FORMS, form_layouts

pdfplumber = pytest.importorskip("pdfplumber")
pypdfium2 = pytest.importorskip("pypdfium2")

POINT_MM = 25.4 / 72  # the PDF unit
TOLERANCE_MM = 0.01
PAGES_MM = {"A4": (297.0, 210.0), "Letter": (11 * 25.4, 8.5 * 25.4)}
STRIPS = [form for form in PRINT_FORMS if form != "lens-board"]
CORNERS = ("corner-30x5", "corner-8x5")
DRAWINGS = [(form, paper) for form in STRIPS for paper in PAGES_MM]
# What office printers leave white at the paper's edge (common practice, no source).
UNPRINTED_MM = 4.0


@dataclass(frozen=True, kw_only=True)
class Page:
    """What the parser found: boxes (N, 4) and curves' corners in mm from the upper left corner, words."""

    path: Path
    size_mm: tuple[float, float]
    boxes: np.ndarray
    corners: np.ndarray
    words: str
    turned_words: str


def read_page(path) -> Page:
    with pdfplumber.open(path) as document:
        assert len(document.pages) == 1
        page = document.pages[0]
        corners = [point for curve in page.curves for point in curve["pts"]]
        return Page(
            path=path,
            size_mm=(page.width * POINT_MM, page.height * POINT_MM),
            boxes=np.array([[r["x0"], r["top"], r["x1"], r["bottom"]] for r in page.rects]) * POINT_MM,
            corners=np.array(corners).reshape(-1, 2) * POINT_MM,
            words=page.extract_text(),
            turned_words="".join(c["text"] for c in page.chars if c["matrix"][0] < 0),
        )


@pytest.fixture(scope="module", params=DRAWINGS, ids=lambda p: f"{p[0]}-{p[1]}")
def drawing(request, tmp_path_factory):
    form, paper = request.param
    path = tmp_path_factory.mktemp("pdf") / "target.pdf"
    draw_form(form, 1, path, paper)
    return form_layouts(form), paper, read_page(path)


@pytest.fixture(scope="module", params=PAGES_MM)
def board(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("pdf") / "board.pdf"
    draw_form("lens-board", 1, path, request.param)
    return request.param, read_page(path)


def of_size(boxes, width_mm, height_mm):
    size = boxes[:, 2:] - boxes[:, :2]
    return boxes[np.all(np.abs(size - [width_mm, height_mm]) < TOLERANCE_MM, axis=1)]


def on_the_pitch(squares, layout, pitch):
    """Whether these are the black squares of the layout, upright or turned by half a turn."""
    assert len(squares) == np.count_nonzero(layout.squares)
    corner = squares[:, :2] - squares[:, :2].min(0)
    columns, rows = np.rint(corner / pitch).astype(int).T
    assert np.abs(corner - pitch * np.column_stack((columns, rows))).max() < TOLERANCE_MM
    extent = np.array([layout.columns - 1, layout.rows - 1])
    assert corner.max(0) == pytest.approx(extent * pitch, abs=TOLERANCE_MM)
    parity = np.unique((columns + rows) % 2)
    assert len(parity) == 1
    return parity[0]


def strips_of(layouts, squares):
    """Black squares of the strips, the first one below."""
    middle = (squares[:, 1].min() + squares[:, 3].max()) / 2
    above = squares[:, 3] < middle
    return (squares,) if len(layouts) == 1 else (squares[~above], squares[above])


def test_page_has_the_papers_size(drawing):
    _, paper, page = drawing
    assert page.size_mm == pytest.approx(PAGES_MM[paper], abs=TOLERANCE_MM)


def test_checker_squares_are_on_their_pitch(drawing):
    layouts, _, page = drawing
    for layout, squares in zip(layouts, strips_of(layouts, of_size(page.boxes, 7.0, 7.0)), strict=True):
        parity = on_the_pitch(squares, layout, 7.0)
        # Row 0 column 0 is black; of a turned strip that is the lower right corner.
        turned = layout is not layouts[0]
        assert parity == ((layout.columns + layout.rows) % 2 if turned else 0)


def test_caliper_crosses_are_at_their_printed_distance(drawing):
    _, _, page = drawing
    bars = of_size(page.boxes, 10.0, 0.12)
    centre = (bars[:, :2] + bars[:, 2:]) / 2
    assert len(centre) == 4
    pairs = [(a, b) for i, a in enumerate(centre) for b in centre[i + 1 :]]
    along = [abs(a[0] - b[0]) for a, b in pairs if abs(a[1] - b[1]) < TOLERANCE_MM]
    across = [abs(a[1] - b[1]) for a, b in pairs if abs(a[0] - b[0]) < TOLERANCE_MM]
    assert along == pytest.approx([140.0], abs=TOLERANCE_MM)
    assert across == pytest.approx([140.0], abs=TOLERANCE_MM)
    assert "ALONG: 140.00 mm" in page.words
    assert "ACROSS: 140.00 mm" in page.words
    width, height = page.size_mm
    low, high = page.boxes[:, :2].min(0), page.boxes[:, 2:].max(0)
    assert min(*low, width - high[0], height - high[1]) > UNPRINTED_MM


def test_crosses_lie_clear_of_the_strips(drawing):
    """Ten by ten millimetres about every cross hold its three bars and nothing else."""
    _, _, page = drawing
    bars = of_size(page.boxes, 10.0, 0.12)
    for centre in (bars[:, :2] + bars[:, 2:]) / 2:
        inside = np.all((page.boxes[:, :2] < centre + 5) & (page.boxes[:, 2:] > centre - 5), axis=1)
        assert np.count_nonzero(inside) == 3


def test_ruler_lines_are_millimetres_from_the_datum(drawing):
    layouts, _, page = drawing
    ticks = np.concatenate([of_size(page.boxes, 0.18, h) for h in (2.6, 2.0, 1.4)])
    squares = strips_of(layouts, of_size(page.boxes, 7.0, 7.0))[0]
    ticks = ticks[np.abs(ticks[:, 1] - (squares[:, 3].max() + 4.5)) < TOLERANCE_MM]
    x = np.sort((ticks[:, 0] + ticks[:, 2]) / 2 - squares[:, 0].min())
    assert x == pytest.approx(np.arange(layouts[0].length_mm + 1), abs=TOLERANCE_MM)


def test_words_for_the_shop_are_there(drawing):
    layouts, _, page = drawing
    for text in ("JOINT", f"{layouts[0].name} No. 1", "7.000 mm", "PRINT AT 100 %", "cut along", "inch"):
        assert text in page.words
    wanted = [] if len(layouts) == 1 else ["JOINT", f"{layouts[1].name} No. 2", "7.000 mm"]
    assert all(text in page.turned_words for text in wanted)
    assert bool(page.turned_words) == (len(layouts) == 2)


@pytest.mark.parametrize("drawing", [d for d in DRAWINGS if d[0] in CORNERS], indirect=True, ids="-".join)
def test_corner_strips_meet_at_one_cut_line(drawing):
    """The line between them is 4.5 mm and its own width from both patterns: each keeps its white rim."""
    layouts, _, page = drawing
    below, above = strips_of(layouts, of_size(page.boxes, 7.0, 7.0))
    assert below[:, 1].min() - above[:, 3].max() == pytest.approx(9.12, abs=TOLERANCE_MM)
    paper = layouts[0].length_mm + 14 + 8
    lines = of_size(page.boxes, paper + 0.24, 0.12)
    middle = (below[:, 1].min() + above[:, 3].max()) / 2
    assert len(lines) == 3
    assert np.sort((lines[:, 1] + lines[:, 3]) / 2)[1] == pytest.approx(middle, abs=TOLERANCE_MM)


def test_viewer_is_asked_not_to_scale(drawing):
    assert b"/PrintScaling /None" in drawing[2].path.read_bytes()


def rendered(path, per_mm):
    document = pypdfium2.PdfDocument(path)
    picture = document[0].render(scale=per_mm * POINT_MM, grayscale=True).to_numpy()
    document.close()
    return np.squeeze(picture)


def test_rendered_page_is_found_with_the_right_scale(drawing):
    layouts, _, page = drawing
    per_mm = 20.0  # PDFium snaps upright shapes to pixels; at this scale all squares snap alike
    picture = rendered(page.path, per_mm)
    for layout, turn in zip(layouts, (1, -1), strict=False):
        sighting = find_board(picture, (layout,))
        assert len(sighting.saddle_ids) == len(layout.saddles_mm)
        scale = sighting.homography[:2, :2] / sighting.homography[2, 2]
        assert scale == pytest.approx(turn * np.diag([per_mm, -per_mm]), rel=1e-4, abs=2e-3)


def test_lens_board_fits_its_paper_and_keeps_its_pitch(board):
    paper, page = board
    assert page.size_mm == pytest.approx(PAGES_MM[paper], abs=TOLERANCE_MM)
    layout = target_layout(1, "lens-board")
    assert on_the_pitch(of_size(page.boxes, 20.0, 20.0), layout, 20.0) == 0
    ink = np.concatenate((page.boxes[:, :2], page.boxes[:, 2:], page.corners))
    assert min(*ink.min(0), *(page.size_mm - ink.max(0))) > UNPRINTED_MM
    assert "140.00 mm (7 squares)" in page.words
    assert "do not cut" in page.words


def test_lens_boards_caliper_marks_point_at_lines_140_mm_apart(board):
    _, page = board
    squares = of_size(page.boxes, 20.0, 20.0)
    low, high = squares[:, :2].min(0), squares[:, 2:].max(0)
    for axis in (0, 1):
        side = 1 - axis
        # The tip of a triangle is the one corner that is nearest to the pattern.
        near = np.abs(np.abs(page.corners[:, side] - (low + high)[side] / 2) - (high - low)[side] / 2 - 3.6)
        tips = np.unique(np.round(page.corners[near < TOLERANCE_MM, axis] - low[axis], 2))
        assert np.diff(tips) == pytest.approx([140.0], abs=TOLERANCE_MM)
        assert np.abs(tips / 20.0 - np.rint(tips / 20.0)).max() < 1e-3


def test_rendered_lens_board_is_found_with_the_right_scale(board):
    layout = target_layout(1, "lens-board")
    sighting = find_board(rendered(board[1].path, 10.0), (layout,))
    assert len(sighting.saddle_ids) == 12 * 8
    scale = sighting.homography[:2, :2] / sighting.homography[2, 2]
    assert scale == pytest.approx(np.diag([10.0, -10.0]), rel=1e-4, abs=2e-3)
