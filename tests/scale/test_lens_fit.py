"""The lens fit against known truth: its stated uncertainty must cover what it gets wrong."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from fitup.scale.lens import PARAMETERS, LensProfile
from fitup.scale.lens_fit import LensFit, fit_lens
from fitup.scale.lens_model import LensModel
from tests.scale.lens_world import (
    FOCAL_MM,
    PHONE,
    ULTRA_WIDE,
    Board,
    focused,
    random_poses,
    views_of,
)

DISTANCES_MM = {"opencv": (280.0, 420.0), "fisheye": (130.0, 230.0)}
SETS = 20


def one_set(lens: LensModel, seed: int, photos: int = 10) -> LensFit:
    """A board that is a little stretched and bowed, noise, and errors that a photo's saddles share."""
    rng = np.random.default_rng(1000 + seed)
    board = Board(stretch=rng.normal(0, 0.004), bow_mm=tuple(rng.normal(0, 0.2, 3)))
    poses = random_poses(lens, seed, photos, DISTANCES_MM[lens.kind])
    views = views_of(lens, poses, board, seed=seed, focus=rng.uniform(0, 1))
    fit = fit_lens(views, lens.size_px, lens.kind, FOCAL_MM, 1.03 * lens.focal_px)
    assert fit is not None
    return fit


@cache
def many(kind: str) -> list[LensFit]:
    lens = {"opencv": PHONE, "fisheye": ULTRA_WIDE}[kind]
    return [one_set(lens, seed) for seed in range(SETS)]


def truth(kind: str, fit: LensFit, seed: int) -> tuple[LensModel, float]:
    """The true lens at the fit's reference distance, and the true focus."""
    focus = np.random.default_rng(1000 + seed)
    focus.normal(0, 0.004)
    focus.normal(0, 0.2, 3)
    share = float(focus.uniform(0, 1))
    return focused({"opencv": PHONE, "fisheye": ULTRA_WIDE}[kind], fit.distance_mm, share), share


@pytest.mark.parametrize("kind", ["opencv", "fisheye"])
def test_uncertainty_of_camera_covers_the_truth(kind):
    """20 sets, 4 parameters each: of 80 intervals of 95 % at least 72 hold the truth (p < 0.01 for fewer)."""
    z = []
    for seed, fit in enumerate(many(kind)):
        lens, focus = truth(kind, fit, seed)
        u = np.sqrt(np.diag(fit.covariance))
        error = [
            np.log(fit.lens.focal_px / lens.focal_px),
            *(np.array(fit.lens.centre_px) - lens.centre_px),
            fit.focus - focus,
        ]
        z.append(error / u[: len(PARAMETERS)])
    z = np.array(z)
    assert np.mean(np.abs(z) < 1.96) >= 0.9
    assert 0.5 < np.sqrt(np.mean(z**2)) < 1.5
    assert np.all(np.sqrt(np.mean(z**2, axis=0)) < 2)


@pytest.mark.parametrize("kind", ["opencv", "fisheye"])
def test_uncertainty_of_the_map_covers_the_truth_all_over_the_picture(kind):
    """Where a direction is seen: the error of focal length, centre and coefficients together."""
    grid = np.stack(np.meshgrid(np.linspace(100, 1900, 9), np.linspace(80, 1420, 7)), -1).reshape(-1, 2)
    z = []
    for seed, fit in enumerate(many(kind)):
        lens, _ = truth(kind, fit, seed)
        x = (lens.undistort(grid) - lens.centre_px) / lens.focal_px
        model = fit.lens
        ideal = np.array(model.centre_px) + model.focal_px * x
        seen = model.distort(ideal)
        one = np.tile(np.eye(2)[:, None], (1, len(grid), 1))
        by = np.concatenate(((seen - model.centre_px)[None], one, model.coefficient_shifts(ideal)))
        C = np.delete(np.delete(fit.covariance, 3, 0), 3, 1)
        u = np.sqrt(np.einsum("pni,pq,qni->ni", by, C, by))
        z.append((seen - grid) / u)
    z = np.array(z)
    assert np.mean(np.abs(z) < 1.96) >= 0.88  # places of one set are alike, so that 20 sets are few
    assert 0.5 < np.sqrt(np.mean(z**2)) < 1.5


@pytest.mark.parametrize("kind", ["opencv", "fisheye"])
def test_focal_length_is_found_within_some_thousandths(kind):
    errors = []
    for seed, fit in enumerate(many(kind)):
        errors.append(abs(np.log(fit.lens.focal_px / truth(kind, fit, seed)[0].focal_px)))
        # What was put in: 0.1 px of noise and 0.05 px that a photo shares, each way, less what poses take up.
        assert fit.rms_px == pytest.approx(0.15, abs=0.015)
        assert fit.left_px < 0.05
    assert max(errors) < 0.005
    assert np.median(errors) < 0.0015


def test_coefficients_beyond_five_come_only_where_they_pay():
    assert {len(fit.lens.coefficients) for fit in many("opencv")} <= {5, 8}
    assert np.median([len(fit.lens.coefficients) for fit in many("opencv")]) == 5
    wide = views_of(ULTRA_WIDE, random_poses(ULTRA_WIDE, 5, 12, (130.0, 230.0)), Board(), seed=5)
    fit = fit_lens(wide, ULTRA_WIDE.size_px, "opencv", FOCAL_MM)
    assert fit is None or len(fit.lens.coefficients) == 8


def test_corners_that_lie_far_off_are_left_out():
    poses = random_poses(PHONE, 3, 10, DISTANCES_MM["opencv"])
    views = list(views_of(PHONE, poses, Board(), seed=3))
    clean = fit_lens(tuple(views), PHONE.size_px, "opencv", FOCAL_MM)
    for view in views[::2]:
        view.points_px[7] += [9.0, -6.0]
    fit = fit_lens(tuple(views), PHONE.size_px, "opencv", FOCAL_MM)
    assert clean.point_count - 12 <= fit.point_count <= clean.point_count - 5
    assert abs(np.log(fit.lens.focal_px / clean.lens.focal_px)) < 0.5 * np.sqrt(clean.covariance[0, 0])
    assert fit.rms_px < 1.05 * clean.rms_px


def test_the_same_photos_in_another_order_give_the_same_lens():
    poses = random_poses(PHONE, 4, 9, DISTANCES_MM["opencv"])
    views = views_of(PHONE, poses, Board(), seed=4)
    first, again, turned = (
        fit_lens(v, PHONE.size_px, "opencv", FOCAL_MM) for v in (views, views, views[::-1])
    )
    assert first.lens.coefficients == again.lens.coefficients
    assert turned.lens.focal_px == pytest.approx(first.lens.focal_px, rel=1e-5)


def test_what_no_lens_makes_gives_none_or_a_residual():
    rng = np.random.default_rng(5)
    views = list(views_of(PHONE, random_poses(PHONE, 5, 8, DISTANCES_MM["opencv"]), Board(), seed=5))
    for view in views:
        view.points_px[:] = rng.uniform(0, 1500, view.points_px.shape)
    fit = fit_lens(tuple(views), PHONE.size_px, "opencv", FOCAL_MM)
    assert fit is None or fit.rms_px > 50


def test_covariance_turns_with_the_picture():
    """A portrait photo sees the same lens: any point's uncertainty is the same turned."""
    fit = many("opencv")[0]
    profile = LensProfile(
        make=None, model=None, software=None, focal_length_mm=FOCAL_MM, focal_length_35mm=None, lens=fit.lens,
        focus=fit.focus, distance_mm=fit.distance_mm, covariance=tuple(map(tuple, fit.covariance)),
        rms_px=fit.rms_px, left_px=fit.left_px, photo_count=8, point_count=700, date="2026-03-01",
    )  # fmt: skip
    stored = profile.optics(1, 300.0)
    turned = profile.optics(6, 300.0)
    px = np.array([[200.0, 300.0], [1500.0, 1200.0]])
    upright = np.column_stack((1499 - px[:, 1], px[:, 0]))
    assert turned.model.undistort(upright) == pytest.approx(
        np.column_stack((1499 - stored.model.undistort(px)[:, 1], stored.model.undistort(px)[:, 0])), abs=1e-8
    )
    one, other = (
        np.einsum("mni,mnj->nij", field, field) for field in (stored.fields(px), turned.fields(upright))
    )
    turn = np.array([[0.0, -1.0], [1.0, 0.0]])
    assert other == pytest.approx(turn @ one @ turn.T, rel=1e-6)
