"""The figures of a long joint, on a drawn one whose truth is written as the rendered ones' is."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.bench.seam import seam_figures, seam_truths
from tests.drawn_seam import SHOTS, STRIPS, Shot, long_gap, save_shot


def write_truth(shot: Shot, photo: Path, strip: int) -> None:
    """The drawn camera and joint in the form of a rendered photo's truth."""
    scene = shot.held()
    _, camera = scene.camera()
    slant, turn = np.deg2rad([scene.slant_deg, scene.turn_deg])
    cs, ss, ct, st = np.cos(slant), np.sin(slant), np.cos(turn), np.sin(turn)
    rotation = (
        np.array([[ct, -st, 0], [st, ct, 0], [0, 0, 1]])
        @ np.array([[1, 0, 0], [0, cs, -ss], [0, ss, cs]])
        @ np.diag([1.0, -1.0, -1.0])
    )
    x = np.arange(shot.centre_mm[0] - 150, shot.centre_mm[0] + 150, 0.5)
    gap, middle = long_gap(x), scene.middle_mm(x)
    edges = [np.column_stack([x, middle + side * gap / 2, 0 * x]).tolist() for side in (-1, 1)]
    truth = {
        "wire": "0.9mm",
        "sheet_mm": 1.5,
        "targets": [{"strip_number": number} for number in STRIPS],
        "stations": {
            "s_mm": (x - STRIPS[strip].x_mm).tolist(),
            "seam_s_mm": x.tolist(),
            "gap_mm": gap.tolist(),
            "hidden": [False] * len(x),
            "near_xyz_mm": edges[0],
            "far_xyz_mm": edges[1],
        },
        "camera": {
            "position_mm": camera.tolist(),
            "rotation_target_to_camera": rotation.tolist(),
            "focal_px": scene.focal_px,
            "principal_point_px": [(n - 1) / 2 for n in shot.size_px],
        },
    }
    photo.with_suffix(".truth.json").write_text(json.dumps(truth), encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("seam")
    for name, strip in (("b", 11), ("c", 12)):
        write_truth(SHOTS[name], save_shot(SHOTS[name], folder / f"{name}.jpg"), strip)
    return folder


def test_figures_of_a_drawn_joint(folder: Path) -> None:
    figures = seam_figures(seam_truths(folder), workers=1)
    assert figures["photos"] == 2
    assert 0.4 < figures["seen_share"] < 0.6  # two of four photos
    # Both photos show a glimpse of the next strips.
    assert 0 < figures["position_rms_mm"] <= figures["seam_position_error_mm"] < 0.3
    assert abs(figures["bias_mm"]) < 0.025
    assert figures["rms_mm"] < 0.03
    assert figures["coverage_95"] > 0.9
    assert (figures["openings"], figures["missed_openings"]) == (2, 0)
    assert figures["any_order_same"]
    assert figures["one_missing_same"] == 1.0


def test_no_photos_no_figures(tmp_path: Path) -> None:
    assert seam_figures(seam_truths(tmp_path)) == {"photos": 0}
