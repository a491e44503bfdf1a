"""Several joints in one photo, on drawn photos (invented scenes)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import RetakeError, UsageError
from fitup.inspection import InspectionSettings, inspect
from fitup.joints import inspect_joints
from fitup.verdict import VerdictWord, parse_sheet, parse_wire
from tests.drawn_seam import SCENE, SHOTS, Shot, Strip, save_shot

SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), arris_radius_mm=0.0)
UPPER_Y_MM, UPPER_GAP_MM = 112.0, 1.3

TWO = Shot(
    centre_mm=(105.0, 42.0),
    # The upper joint is drawn as a dark line; strip 11 lies before it, strip 10 before the lower one.
    scene=replace(
        SCENE, gap_mm=lambda x: 0.4 + 0 * x, lines=((-60.0, 300.0, UPPER_Y_MM, UPPER_GAP_MM, SCENE.floor),)
    ),
    strips={10: Strip(x_mm=0.0), 11: Strip(x_mm=4.0, y_mm=90.0)},
    size_px=(2340, 1800),
    seed=61,
)


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo of two joints, a strip beside each."""
    return save_shot(TWO, tmp_path_factory.mktemp("two") / "two.jpg")


def test_every_joint_is_inspected_and_named_after_its_strip(two: Path) -> None:
    lower, upper = inspect_joints(two, SETTINGS)
    assert [(one.name, one.strip_number) for one in (lower, upper)] == [("strip 10", 10), ("strip 11", 11)]
    assert lower.inspection is not None
    assert upper.inspection is not None
    assert np.nanmedian(lower.inspection.profile.gap_mm) == pytest.approx(0.4, abs=0.03)
    assert np.nanmedian(upper.inspection.profile.gap_mm) == pytest.approx(UPPER_GAP_MM, abs=0.05)
    assert lower.inspection.verdict.word is VerdictWord.WITHIN
    assert upper.inspection.verdict.word is VerdictWord.RE_FIXTURE


def test_names_choose_the_joints(two: Path) -> None:
    (one,) = inspect_joints(two, SETTINGS, {11: "J4"})
    assert (one.name, one.strip_number) == ("J4", 11)
    both = inspect_joints(two, SETTINGS, {11: "J4", 10: "J3"})
    assert [one.name for one in both] == ["J3", "J4"]
    assert both[1].inspection is not None
    assert one.inspection is not None
    np.testing.assert_array_equal(both[1].inspection.profile.gap_mm, one.inspection.profile.gap_mm)


def test_a_strip_that_is_not_there_is_told_by_its_joint(two: Path) -> None:
    with pytest.raises(RetakeError) as caught:
        inspect_joints(two, SETTINGS, {10: "J3", 12: "J9"})
    assert caught.value.reason == "no such strip"
    assert "J9" in str(caught.value)


def test_a_named_joint_that_cannot_be_measured_keeps_its_fault(tmp_path: Path) -> None:
    """Strip 11 lies there, but nothing beside it is a joint."""
    bare = replace(TWO, scene=replace(TWO.scene, lines=()), seed=62)
    path = save_shot(bare, tmp_path / "one.jpg")
    good, bad = inspect_joints(path, SETTINGS, {10: "J3", 11: "J4"})
    assert good.inspection is not None
    assert (bad.name, bad.inspection) == ("J4", None)
    assert bad.fault is not None
    assert [one.strip_number for one in inspect_joints(path, SETTINGS)] == [10]


def test_points_belong_to_one_joint(two: Path) -> None:
    points = replace(SETTINGS, points_px=np.array([[100.0, 900.0], [2000.0, 900.0]]))
    with pytest.raises(UsageError):
        inspect_joints(two, points, {10: "J3", 11: "J4"})


def test_strips_end_to_end_beside_one_joint_are_one_joint(tmp_path: Path) -> None:
    path = save_shot(replace(SHOTS["b"], centre_mm=(221.0, 0.0), size_px=(4200, 1000)), tmp_path / "long.jpg")
    (one,) = inspect_joints(path, SETTINGS)
    assert one.strip_number in (10, 11)


def test_a_photo_of_one_joint_gives_what_inspect_gives(tmp_path: Path) -> None:
    path = save_shot(replace(SHOTS["a"], size_px=(2340, 1000)), tmp_path / "plain.jpg")
    (one,) = inspect_joints(path, SETTINGS)
    assert one.inspection is not None
    np.testing.assert_array_equal(one.inspection.profile.gap_mm, inspect(path, SETTINGS).profile.gap_mm)
