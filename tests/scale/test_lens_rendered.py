"""The rendered photos of the lens board: an invented phone whose lens is known to the last digit."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from fitup.photo import open_photo
from fitup.scale import LensProfile, load_lens_profile
from fitup.scale.lens_board import look_at_board
from fitup.scale.lens_fit import LensFit
from fitup.scale.lens_model import LensModel
from fitup.scale.lens_set import fit_profile

ROOT = Path(__file__).parents[2]
PHOTOS = sorted((ROOT / "demo_images" / "lens_board").glob("*.jpg"))
NAMES = ("k1", "k2", "p1", "p2", "k3")


@cache
def fitted() -> tuple[LensProfile, LensFit]:
    return fit_profile([look_at_board(open_photo(path)) for path in PHOTOS], day="2026-03-01")


@cache
def truth() -> LensModel:
    """The lens at the profile's reference distance; it moves as a whole, by f / (1 - f / Z)."""
    profile, _ = fitted()
    cameras = [json.loads(path.with_suffix(".truth.json").read_text())["camera"] for path in PHOTOS]
    far = [camera["focal_px"] * (1 - profile.focal_length_mm / camera["focus_mm"]) for camera in cameras]
    assert np.ptp(far) < 1e-6 * np.mean(far)
    (lens,) = {
        (*camera["principal_point_px"], *(camera["distortion"][k] for k in NAMES)) for camera in cameras
    }
    return LensModel(
        kind="opencv",
        size_px=tuple(cameras[0]["size_px"]),
        focal_px=float(np.mean(far)) / (1 - profile.focal_length_mm / profile.distance_mm),
        centre_px=lens[:2],
        coefficients=lens[2:],
    )


def test_all_photos_are_used():
    profile, fit = fitted()
    assert profile.photo_count == len(PHOTOS) >= 8
    assert fit.point_count > 0.9 * 96 * len(PHOTOS)


def test_camera_and_coefficients_are_the_truth_within_their_uncertainty():
    profile, _ = fitted()
    lens, u = profile.lens, np.sqrt(np.diag(profile.covariance))
    assert lens.kind == "opencv"
    assert abs(np.log(lens.focal_px / truth().focal_px)) < 0.003
    assert len(lens.coefficients) == 5
    found = np.array([np.log(lens.focal_px), *lens.centre_px, profile.focus, *lens.coefficients])
    true = np.array([np.log(truth().focal_px), *truth().centre_px, 1.0, *truth().coefficients])
    z = (found - true) / u
    assert np.all(np.abs(z) < 3.0), z
    assert np.sqrt(np.mean(z**2)) < 1.7, z


def test_the_lens_is_known_to_a_tenth_of_a_pixel_all_over_the_picture():
    profile, _ = fitted()
    u, v = np.meshgrid(np.linspace(0, 3999, 13), np.linspace(0, 2999, 10))
    px = np.column_stack((u.ravel(), v.ravel()))
    x = (truth().undistort(px) - truth().centre_px) / truth().focal_px
    lens = profile.lens
    seen = lens.distort(np.array(lens.centre_px) + lens.focal_px * x)
    off = np.linalg.norm(seen - px, axis=1)
    assert np.median(off) < 0.3  # of shifts of up to 40 px
    assert off.max() < 1.5
    straight = np.linalg.norm(truth().distort(px) - px, axis=1)
    assert straight.max() > 10


def test_residuals_are_noise():
    profile, fit = fitted()
    assert 0.02 < profile.rms_px < 0.15
    assert profile.left_px < 0.03
    assert fit.predicted_px < 1.2 * fit.rms_px
    assert np.abs(fit.board[1:]).max() < 0.1  # the board is flat


def test_example_profile_is_what_the_program_makes_of_these_photos():
    example = load_lens_profile(ROOT / "calibration" / "lens-profile-example.json")
    profile, _ = fitted()
    mine, its = ({**one.entries, "date": ""} for one in (profile, example))
    for name in ("make", "model", "size_px", "kind", "photo_count", "focal_length_mm"):
        assert mine[name] == its[name]
    assert mine["focal_px"] == pytest.approx(its["focal_px"], rel=1e-5)
    assert mine["coefficients"] == pytest.approx(its["coefficients"], abs=1e-4)
