"""The demo photos are complete, small enough, and agree with the truth beside them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

FOLDER = Path(__file__).resolve().parent.parent / "demo_images"
PHOTOS = sorted(FOLDER.glob("*.jpg"))
photos = pytest.mark.parametrize("photo", PHOTOS, ids=lambda p: p.stem)


def _truth(photo: Path) -> dict[str, Any]:
    content: dict[str, Any] = json.loads(photo.with_suffix(".truth.json").read_text(encoding="utf-8"))
    return content


def test_there_are_enough_photos_and_they_stay_small() -> None:
    assert len(PHOTOS) >= 12
    sizes = [p.stat().st_size for p in PHOTOS]
    assert max(sizes) <= 2_500_000
    assert sum(sizes) <= 30_000_000
    assert {p.name.replace(".truth.json", "") for p in FOLDER.glob("*.truth.json")} == {
        p.stem for p in PHOTOS
    }


def test_the_job_has_every_verdict_it_promises_and_one_upright_photo() -> None:
    assert {_truth(p)["expected_verdict"] for p in PHOTOS} == {"within", "re-fixture"}
    assert sum(_truth(p)["camera"]["exif_orientation"] == 6 for p in PHOTOS) == 1


@photos
def test_photo_is_a_twelve_megapixel_jpeg_with_a_phones_exif(photo: Path) -> None:
    with Image.open(photo) as image:
        exif = image.getexif()
        detail = exif.get_ifd(0x8769)
        assert image.format == "JPEG"
        assert list(image.size) == _truth(photo)["camera"]["size_px"]
        assert image.width * image.height >= 12_000_000
    assert exif[0x010F] == "Nordlicht"
    assert exif[0x0110] in {"N1", "N2"}
    assert exif[0x0112] == _truth(photo)["camera"]["exif_orientation"]
    assert len(detail[0x9003]) == len("2026:05:11 09:14:22")
    # The nominal focal length in the file must be 2-4 % short of the effective one (close focus).
    nominal_px = detail[0xA405] / 43.267 * np.hypot(*_truth(photo)["camera"]["size_px"])
    assert 1.02 < _truth(photo)["camera"]["focal_px"] / nominal_px < 1.04
    assert 4 < float(detail[0x920A]) < 8


@photos
def test_truth_is_complete_and_says_that_it_is_invented(photo: Path) -> None:
    truth = _truth(photo)
    assert truth["name"] == photo.stem
    assert truth["invented"] is True
    assert truth["target"]["form"] == "strip-30x5"
    for key in ("description", "sheet_mm", "wire", "arris_radius_mm", "hi_lo_mm"):
        assert key in truth
    stations = truth["stations"]
    s = np.array(stations["s_mm"])
    assert np.allclose(np.diff(s), 0.5)
    assert all(len(stations[k]) == len(s) for k in ("gap_mm", "near_xy_mm", "far_xy_mm", "hidden"))
    assert len(truth["hi_lo_mm"]) == len(s)


@photos
def test_gap_is_the_arrises_distance_square_to_the_joint(photo: Path) -> None:
    truth = _truth(photo)
    angle = np.radians(truth["joint"]["angle_deg"])
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    near, far = (np.array(truth["stations"][k]) for k in ("near_xy_mm", "far_xy_mm"))
    assert np.allclose((far - near) @ across, truth["stations"]["gap_mm"], atol=2e-4)
    assert np.allclose(near @ along, truth["stations"]["s_mm"], atol=2e-4)  # s from the datum mark's foot
    assert min(truth["stations"]["gap_mm"]) > 0
    hidden = np.array(truth["stations"]["hidden"])
    limit = float(truth["wire"].removesuffix("mm"))
    over = np.array(truth["stations"]["gap_mm"])[~hidden].max() > limit
    assert truth["expected_verdict"] == ("re-fixture" if over else "within")


@photos
def test_pose_in_the_truth_finds_the_datum_corner_in_the_picture(photo: Path) -> None:
    """The pattern's first square is black and what lies left of it is paper, where the pose says."""
    camera = _truth(photo)["camera"]
    scale = _truth(photo)["target"]
    points = np.array([[3.5, -3.5, 0], [-1.5, -3.5, 0], [213.0, -3.5, 0]])
    points *= [scale["print_scale_along"], scale["print_scale_across"], 1]
    seen = (points - camera["position_mm"]) @ np.array(camera["rotation_target_to_camera"]).T
    column, row = (seen[:, :2] / seen[:, 2:] * camera["focal_px"] + camera["principal_point_px"]).T
    with Image.open(photo) as image:
        grey = np.asarray(image.convert("L"), dtype=float)
    level = [
        grey[int(v) - 8 : int(v) + 9, int(u) - 8 : int(u) + 9].mean()
        for u, v in zip(column, row, strict=True)
    ]
    assert level[0] < 90
    assert min(level[1:]) > 170
