"""Drawn sheets: files, refusals, and that the committed ones are what the code draws today."""

from __future__ import annotations

import runpy
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.errors import StorageError, UsageError
from fitup.scale import find_target, target_layout
from fitup.scale.artwork import Polygon, strip_marks, turned_marks
from fitup.scale.drawing import draw_form, draw_target
from fitup.scale.finding import find_board
from fitup.scale.forms import PRINT_FORMS, form_layouts
from fitup.scale.raster import raster_marks
from tests.scale.drawing_world import photo_of

CALIBRATION = Path(__file__).resolve().parents[2] / "calibration"
DPI = 600


def test_committed_targets_are_what_the_code_draws(tmp_path):
    drawn = runpy.run_path(str(CALIBRATION / "draw.py"))["draw_all"](tmp_path)
    kept = {path.name for path in CALIBRATION.iterdir() if path.suffix in {".pdf", ".svg"}}
    assert {path.name for path in drawn} == kept
    for path in drawn:
        assert path.read_bytes() == (CALIBRATION / path.name).read_bytes(), path.name


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_png_is_found_by_the_program_itself(tmp_path, paper):
    path = tmp_path / "target.png"
    draw_target(target_layout(7), path, paper)
    with Image.open(path) as picture:
        assert picture.info["dpi"] == pytest.approx((DPI, DPI), abs=0.01)
        pixels = np.asarray(picture)
    sighting = find_target(photo_of(pixels))
    assert sighting.layout == target_layout(7)
    assert len(sighting.saddle_ids) == 116
    # On a flat sheet the homography is a plain scale: px per mm, y down.
    expected = np.diag([DPI / 25.4, -DPI / 25.4])
    assert sighting.homography[:2, :2] / sighting.homography[2, 2] == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("form", PRINT_FORMS)
def test_every_form_is_drawn_and_carries_what_it_says(tmp_path, form):
    path = tmp_path / "form.png"
    draw_form(form, 1, path, "Letter")
    with Image.open(path) as picture:
        pixels = np.asarray(picture)
    for layout in form_layouts(form, 1):
        assert len(find_board(pixels, (layout,)).saddle_ids) == len(layout.saddles_mm)


def test_turned_marks_are_the_picture_turned_words_and_all():
    layout = target_layout(1, "strip-8x5")
    left, far, right, joint = layout.paper_box_mm
    marks = [
        m for m in strip_marks(layout) if not isinstance(m, Polygon)
    ]  # arrow heads are not drawn exactly
    turned = turned_marks(marks, ((left + right) / 2, (far + joint) / 2))
    upright = raster_marks(marks, layout.paper_box_mm, 10.0).astype(int)
    assert np.abs(raster_marks(turned, layout.paper_box_mm, 10.0)[::-1, ::-1] - upright).max() <= 1


def test_turned_words_of_a_corner_sheet_are_turned_in_svg(tmp_path):
    draw_form("corner-8x5", 1, tmp_path / "corner.svg")
    texts = ElementTree.parse(tmp_path / "corner.svg").iter("{http://www.w3.org/2000/svg}text")
    turned = {t.text for t in texts if t.get("transform", "").startswith("rotate(180 ")}
    assert {"JOINT", "fitup strip-8x5 No. 2", "mm", "inch"} <= turned
    assert "fitup strip-8x5 No. 1" not in turned


@pytest.mark.parametrize(
    ("form", "number", "words"),
    [
        ("corner-30x5", 13, "runs from 1 to 12, not 13"),
        ("corner-8x5", 0, "runs from 1 to 49"),
        ("magnet-30x5", 14, "run from 1 to 13"),
        ("lens-board", 2, "number 1 only"),
        ("disc", 1, "no target form 'disc'"),
    ],
)
def test_numbers_and_forms_that_do_not_exist_are_refused(tmp_path, form, number, words):
    with pytest.raises(UsageError, match=words):
        draw_form(form, number, tmp_path / "x.pdf")
    assert list(tmp_path.iterdir()) == []


def test_svg_counts_in_millimetres(tmp_path):
    path = tmp_path / "target.svg"
    draw_target(target_layout(1), path)
    root = ElementTree.parse(path).getroot()
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("297mm", "210mm", "0 0 297 210")
    outlines = [shape.get("d") for shape in root.iter("{http://www.w3.org/2000/svg}path")]
    assert len(outlines) > 150
    words = "".join(root.itertext())
    assert "JOINT" in words
    assert "PRINT AT 100 %" in words


def test_same_drawing_gives_the_same_bytes(tmp_path):
    for suffix in (".pdf", ".svg", ".png"):
        first, second = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
        draw_target(target_layout(2, "strip-8x5"), first)
        draw_target(target_layout(2, "strip-8x5"), second)
        assert first.read_bytes() == second.read_bytes()


def test_refusals_leave_nothing_behind(tmp_path):
    layout = target_layout(1)
    with pytest.raises(UsageError, match=r"drawn as \.pdf, \.svg, \.png"):
        draw_target(layout, tmp_path / "target.docx")
    with pytest.raises(UsageError, match="no paper 'A3'"):
        draw_target(layout, tmp_path / "target.pdf", "A3")
    with pytest.raises(StorageError, match="could not be written"):
        draw_target(layout, tmp_path / "missing" / "target.svg")
    occupied = tmp_path / "target.svg"
    occupied.mkdir()
    with pytest.raises(StorageError, match="could not be written"):
        draw_target(layout, occupied)
    assert list(tmp_path.iterdir()) == [occupied]


def test_module_draws_from_the_command_line(tmp_path):
    command = [sys.executable, "-m", "fitup.scale.drawing"]
    path = tmp_path / "strip.pdf"
    done = subprocess.run([*command, "3", str(path), "Letter", "strip-8x5"], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert path.read_bytes().startswith(b"%PDF")
    refused = subprocess.run([*command, "99", str(path)], capture_output=True, text=True)
    assert refused.returncode == 2
    assert "run from 1 to 13" in refused.stderr
    assert "Traceback" not in refused.stderr
    assert subprocess.run(command, capture_output=True).returncode == 2
