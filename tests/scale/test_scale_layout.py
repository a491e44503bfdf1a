"""The target's geometry, frame and ink."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from fitup.errors import RetakeError, UsageError
from fitup.scale import TargetLayout, find_target, target_layout, target_raster
from fitup.scale.finding import find_board
from fitup.scale.layout import FORMS, known_layouts
from tests.scale.drawing_world import Scene, draw, photo_of

QUIET_MM = 3.5  # half a square of white all round, what the outline finder needs


def library_board(layout: TargetLayout) -> cv2.aruco.CharucoBoard:
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, layout.dictionary))
    return cv2.aruco.CharucoBoard(
        (layout.columns, layout.rows), layout.pitch_mm, layout.marker_mm, book, layout.marker_ids
    )


def test_no_two_strips_share_a_marker():
    owned = [(layout.dictionary, int(i)) for layout in known_layouts() for i in layout.marker_ids]
    assert len(owned) == len(set(owned))
    assert len(known_layouts()) == 13 + 50


def test_lens_board_shares_no_marker_with_a_strip_and_is_no_strip():
    board = target_layout(1, "lens-board")
    assert (board.length_mm, board.width_mm, board.pitch_mm) == (260.0, 180.0, 20.0)
    assert board.dictionary not in {layout.dictionary for layout in known_layouts()}
    assert board not in known_layouts()


def test_lens_board_is_found_when_asked_for_and_never_taken_for_a_strip():
    board = target_layout(1, "lens-board")
    pixels = draw(Scene(layout=board, look_at_mm=(130, -90), distance_mm=330))
    sighting = find_board(pixels, (board,))
    assert len(sighting.saddle_ids) == 12 * 8
    with pytest.raises(RetakeError) as refusal:
        find_target(photo_of(pixels))
    assert refusal.value.reason == "no target"


def test_standard_strip_lies_where_the_frame_says():
    layout = target_layout(1)
    assert (layout.length_mm, layout.width_mm) == (210.0, 35.0)
    assert layout.saddles_mm[0] == pytest.approx([7, -7])
    assert layout.saddles_mm[-1] == pytest.approx([203, -28])
    assert len(layout.saddles_mm) == 29 * 4
    assert layout.squares[0, 0]  # the datum corner is black
    left, far, right, joint = layout.paper_box_mm
    assert 4 <= joint <= 5
    assert joint - far <= 60
    assert min(-left, right - 210, joint, -35 - far) >= QUIET_MM


def test_target_frame_is_right_handed_towards_the_camera():
    """Corners run clockwise as seen, so that their signed area is negative with y up."""
    x, y = target_layout(2).marker_corners_mm[0].T
    area = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
    assert area == pytest.approx(-25.0)


@pytest.mark.parametrize("form", FORMS)
def test_geometry_is_the_board_librarys_with_y_turned_up(form):
    layout = target_layout(FORMS[form].strips, form)
    board = library_board(layout)
    flip = np.array([1.0, -1.0])
    assert np.asarray(board.getChessboardCorners())[:, :2] * flip == pytest.approx(layout.saddles_mm)
    markers = np.stack(board.getObjPoints())[:, :, :2] * flip
    assert markers == pytest.approx(layout.marker_corners_mm, abs=1e-5)
    assert np.array_equal(np.ravel(board.getIds()), layout.marker_ids)


@pytest.mark.parametrize("form", FORMS)
def test_old_and_new_versions_of_the_library_draw_the_same_board(form):
    """An odd number of rows is what makes the two patterns agree."""
    board = library_board(target_layout(1, form))
    size = (FORMS[form].columns * 56, FORMS[form].rows * 56)
    new = board.generateImage(size)
    board.setLegacyPattern(True)
    assert np.array_equal(board.generateImage(size), new)


@pytest.mark.parametrize("form", FORMS)
def test_the_library_finds_every_saddle_of_the_raster_in_place(form):
    layout = target_layout(min(4, FORMS[form].strips), form)
    raster = target_raster(layout, 20.0)
    corners, ids, _, _ = cv2.aruco.CharucoDetector(library_board(layout)).detectBoard(raster.pixels)
    ids = np.ravel(ids)
    assert len(ids) == len(layout.saddles_mm)
    true = layout.saddles_mm[ids] @ raster.px_from_mm[:2, :2].T + raster.px_from_mm[:2, 2]
    assert np.abs(np.reshape(corners, (-1, 2)) - true).max() < 0.02  # px, at an ideal picture


@pytest.mark.parametrize("px_per_mm", [5.0, 7.3, 13.37])
def test_raster_keeps_the_area_of_ink_at_any_scale(px_per_mm):
    """Ink of the pattern = black squares + black modules, to the rounding of grey levels."""
    layout = target_layout(1)
    raster = target_raster(layout, px_per_mm)
    modules = layout.marker_bits.mean() * layout.marker_mm**2 * layout.marker_count
    ink_mm2 = layout.squares.sum() * layout.pitch_mm**2 + modules
    u, v = raster.datum_px
    pad = 2.0 * px_per_mm  # white rim, where nothing else is printed
    rows = slice(round(v - pad), round(v + 35 * px_per_mm + pad))
    columns = slice(round(u - pad), round(u + 210 * px_per_mm + pad))
    seen = (1 - raster.pixels[rows, columns] / 255.0).sum() / px_per_mm**2
    assert seen == pytest.approx(ink_mm2, rel=5e-4)


@pytest.mark.parametrize("form", FORMS)
def test_rim_of_the_pattern_is_white(form):
    layout = target_layout(1, form)
    scale = 10
    raster = target_raster(layout, scale)
    u, v = (round(c + 0.5) for c in raster.datum_px)
    width, height = round(layout.length_mm * scale), round(layout.width_mm * scale)
    quiet = round((QUIET_MM - 0.1) * scale)
    window = raster.pixels[v - quiet : v + height + quiet, u - quiet : u + width + quiet].copy()
    window[quiet:-quiet, quiet:-quiet] = 255
    assert window.min() == 255


@pytest.mark.parametrize(
    ("number", "form"), [(0, "strip-30x5"), (14, "strip-30x5"), (51, "strip-8x5"), (-1, "strip-8x5")]
)
def test_strip_numbers_outside_the_set_are_refused(number, form):
    with pytest.raises(UsageError, match="run from 1 to"):
        target_layout(number, form)


def test_second_lens_board_is_refused():
    with pytest.raises(UsageError, match="number 1 only"):
        target_layout(2, "lens-board")


def test_unknown_form_is_refused():
    with pytest.raises(UsageError, match="no target form"):
        target_layout(1, "strip-99x9")
