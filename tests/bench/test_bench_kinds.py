"""What a person tells of a joint, drawn anew: off as stated, and nothing else touched."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from fitup.edges.section import U_ANGLE_DEG
from fitup.profile.arris_shading import u_radius_mm
from fitup.profile.second_target import U_SHEET_MM
from fitup.scale.scale_map import U_THICKNESS_MM
from tests.bench.kinds import DRAWS, covered_drawn, kind_settings, kind_truths, told_off

FOLDER = Path(__file__).parents[2] / "demo_images" / "kinds"
TRUTHS = {truth.name: truth for truth in kind_truths(FOLDER)}
MANY = 600
TOLD = {"arris_radius_mm", "target_thickness_mm", "sheet", "included_angle_deg", "overlap_mm"}


def test_what_is_told_scatters_as_the_product_states() -> None:
    truth, rng = TRUTHS["17_corner_full_open"], np.random.default_rng(3)
    told = [told_off(kind_settings(truth, 1), truth, rng) for _ in range(MANY)]
    radius = np.array([t.arris_radius_mm for t in told])
    sheet = np.array([t.sheet.thickness_mm for t in told if t.sheet])
    angle = np.array([t.included_angle_deg for t in told])
    thickness = np.array([t.target_thickness_mm for t in told], dtype=float)
    cut = 0.88  # of a deviation that is cut at two of its own
    assert sheet.mean() == pytest.approx(1.5, abs=0.005)
    assert sheet.std() == pytest.approx(cut * U_SHEET_MM, rel=0.2)
    assert angle.std() == pytest.approx(cut * U_ANGLE_DEG, rel=0.2)
    assert thickness.mean() == pytest.approx(0.1, abs=0.01)
    assert thickness.std() == pytest.approx(cut * U_THICKNESS_MM, rel=0.2)
    assert radius.min() > 0
    assert radius.std() == pytest.approx(cut * u_radius_mm(0.05), rel=0.25)


@pytest.mark.parametrize("name", ["20_corner_flush", "23a_tee", "28_lap_two"])
def test_only_what_a_person_tells_is_off(name: str) -> None:
    truth = TRUTHS[name]
    plain = kind_settings(truth, len(truth.data["targets"]))
    told = told_off(plain, truth, np.random.default_rng(1))
    for field in fields(plain):
        if field.name not in TOLD:
            assert getattr(told, field.name) is getattr(plain, field.name)
    assert told.included_angle_deg == plain.included_angle_deg
    assert told.overlap_mm is None


def test_coverage_is_that_of_all_draws_and_always_the_same() -> None:
    truth = TRUTHS["24_tee_polished"]
    one, two = (covered_drawn(truth, 1, draws=2) for _ in range(2))
    np.testing.assert_array_equal(one, two)
    assert len(one) > 800
    assert one.mean() > 0.9
    assert DRAWS >= 4
