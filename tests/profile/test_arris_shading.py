"""The correction for rounded arrises: direction, and what becomes of it under a lamp."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fitup.profile.arris_shading import ARRIS_RADIUS_MM, arris_shading, u_radius_mm
from fitup.profile.measure import _shifted

PAPER = 0.7
RADIUS_MM = 0.05


def joint(plate: float, floor: float = 0.01) -> SimpleNamespace:
    """Three stations between two plates, seen straight down."""
    row = np.full(3, 1.0)
    levels = np.stack([plate * row, floor * row, plate * row, floor * row], axis=1)
    fit = SimpleNamespace(levels=levels, band_px=np.zeros(3))
    return SimpleNamespace(fit=fit, face_far=np.ones(3, bool))


@pytest.mark.parametrize(("plate", "sign"), [(0.55, 1), (0.1, -1)])
def test_bright_plates_read_too_wide_and_dark_ones_too_narrow(plate: float, sign: int) -> None:
    shading = arris_shading(joint(plate), PAPER, RADIUS_MM)
    assert np.all(np.sign(shading.near_mm) == sign)
    assert np.all(np.sign(shading.far_mm) == sign)
    assert np.all(np.abs(shading.near_mm) <= RADIUS_MM)


@pytest.mark.parametrize("plate", [0.55, 0.1])
def test_a_lamp_takes_from_the_correction_and_gives_to_the_uncertainty(plate: float) -> None:
    slopes = [0.0, 0.0005, 0.001, 0.002, 0.005]
    made = [arris_shading(joint(plate), PAPER, RADIUS_MM, paper_slope_per_mm=slope) for slope in slopes]
    total = np.array([np.abs(s.near_mm + s.far_mm)[0] for s in made])
    u = np.array([s.u_gap_mm[0] for s in made])
    assert np.all(np.diff(total) < 0)
    assert np.all(np.diff(u) > 0)
    # What is not corrected any more is inside a rectangle's end, √3 standard uncertainties.
    assert np.all(total[0] - total <= np.sqrt(3) * u)


def test_the_lamps_side_does_not_matter() -> None:
    one, other = (arris_shading(joint(0.5), PAPER, RADIUS_MM, paper_slope_per_mm=s) for s in (0.002, -0.002))
    np.testing.assert_array_equal(one.near_mm, other.near_mm)
    np.testing.assert_array_equal(one.u_gap_mm, other.u_gap_mm)


def test_unknown_evenness_changes_nothing() -> None:
    even = arris_shading(joint(0.5), PAPER, RADIUS_MM)
    unknown = arris_shading(joint(0.5), PAPER, RADIUS_MM, paper_slope_per_mm=float("nan"))
    np.testing.assert_array_equal(even.near_mm, unknown.near_mm)


def test_without_paper_nothing_is_corrected() -> None:
    shading = arris_shading(joint(0.5), float("nan"), RADIUS_MM)
    assert np.all(shading.near_mm == 0)
    assert np.all(shading.far_mm == 0)
    assert np.all(shading.u_gap_mm > 0.5 * RADIUS_MM)


def test_a_sharp_arris_is_displaced_by_nothing() -> None:
    shading = arris_shading(joint(0.5), PAPER, 0.0, paper_slope_per_mm=0.003)
    assert np.all(shading.near_mm == 0)
    usual = arris_shading(joint(0.5), PAPER, ARRIS_RADIUS_MM, paper_slope_per_mm=0.003)
    assert np.all(shading.u_gap_mm > 0)  # how sharp it is, is no better known than how round
    assert np.all(shading.u_gap_mm < usual.u_gap_mm)


def test_a_radius_told_small_is_no_better_known() -> None:
    assert u_radius_mm(0.01) == u_radius_mm(ARRIS_RADIUS_MM)
    assert u_radius_mm(0.1) == pytest.approx(2 * u_radius_mm(ARRIS_RADIUS_MM))


def test_light_that_is_not_linear_leaves_the_whole_correction_open() -> None:
    known, unknown = (arris_shading(joint(0.55), PAPER, RADIUS_MM, linear=linear) for linear in (True, False))
    np.testing.assert_array_equal(known.near_mm, unknown.near_mm)
    assert np.all(np.abs(unknown.near_mm + unknown.far_mm) <= np.sqrt(3) * unknown.u_gap_mm)
    assert np.all(unknown.u_gap_mm > known.u_gap_mm)


@pytest.mark.parametrize(
    ("shading", "glint", "way"),
    [(0.02, 0.0, 0.02), (0.02, 0.05, -0.03), (-0.02, 0.0, -0.02), (-0.02, 0.05, -0.05), (-0.02, 0.01, -0.02)],
)
def test_a_bright_rim_that_is_expected_and_seen_counts_once(shading: float, glint: float, way: float) -> None:
    assert _shifted(np.array([shading]), np.array([glint]))[0] == pytest.approx(way)


@pytest.mark.parametrize(
    ("plate", "slope", "whole"), [(0.1, -0.003, True), (0.1, 0.003, False), (0.55, -0.003, False)]
)
def test_a_lamp_on_the_seen_face_leaves_dark_plates_their_correction(
    plate: float, slope: float, whole: bool
) -> None:
    seen = joint(plate)
    seen.fit.band_px = np.full(3, 5.0)
    even = arris_shading(seen, PAPER, RADIUS_MM)
    lit = arris_shading(seen, PAPER, RADIUS_MM, paper_slope_per_mm=slope)
    turned = SimpleNamespace(fit=seen.fit, face_far=np.zeros(3, bool))
    other = arris_shading(turned, PAPER, RADIUS_MM, paper_slope_per_mm=-slope)
    assert np.allclose(lit.near_mm, even.near_mm) == whole
    assert np.allclose(lit.far_mm, even.far_mm) == whole
    assert np.all(lit.u_gap_mm > even.u_gap_mm)
    np.testing.assert_array_equal(other.far_mm, lit.near_mm)  # the same joint, seen from its other side
