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
from fitup.scale.drawing import draw_target
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
