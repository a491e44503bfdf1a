"""From a photo's bytes to the verdict, on drawn photos with known truth (invented scenes)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fitup.errors import RetakeError, UsageError
from fitup.inspection import InspectionSettings, inspect
from fitup.photo import open_photo
from fitup.scale import find_target, scale_map
from fitup.verdict import StationState, VerdictWord, parse_sheet, parse_wire
from tests.conftest import SCENES, Drawn
from tests.drawn_joint import HEIGHT_PX, WIDTH_PX, Scene, save

Give = Callable[[str], Drawn]

# What the drawn world must allow: its edges are ideal, so the bounds are below those of rendered photos.
BIAS_MM, RMS_MM, P95_MM = 0.015, 0.018, 0.035
SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), arris_radius_mm=0.0)


@pytest.mark.parametrize("name", sorted(set(SCENES) - {"short openings"}))
def test_gap_is_true_and_its_uncertainty_honest(drawn: Give, name: str) -> None:
    joint = drawn(name)
    error = joint.error_mm
    seen = np.isfinite(error)
    assert seen.mean() > 0.93
    assert abs(np.nanmean(error)) < BIAS_MM
    assert np.sqrt(np.nanmean(error**2)) < RMS_MM
    assert np.nanpercentile(np.abs(error), 95) < P95_MM
    covered = np.abs(error[seen]) <= 1.96 * joint.inspection.profile.u_gap_mm[seen]
    assert covered.mean() > 0.7  # stations of one photo err alike: it scatters widely about the 0.95
    assert np.nanmean(joint.inspection.profile.u_gap_mm) < 0.05  # and not by stating a barn door


def test_stated_interval_covers_the_truth_over_all_scenes(drawn: Give) -> None:
    share = []
    for name in sorted(set(SCENES) - {"short openings"}):
        joint = drawn(name)
        seen = np.isfinite(joint.error_mm)
        u = joint.inspection.profile.u_gap_mm[seen]
        share.append((np.abs(joint.error_mm[seen]) <= 1.96 * u).mean())
    assert np.mean(share) > 0.92


def test_hairline_is_not_read_as_a_gap(drawn: Give) -> None:
    profile = drawn("hairline").inspection.profile
    assert np.nanmax(profile.gap_mm) < 0.15


def test_covered_stretches_are_unseen_and_never_within(drawn: Give) -> None:
    joint = drawn("opening")
    x = joint.inspection.arrises.band.xy_mm[:, 0]
    states = np.array([str(state) for state in joint.inspection.verdict.states])
    for start, end in joint.scene.covered_mm:
        under = (x > start) & (x < end)
        assert under.sum() >= 6
        assert (states[under] == StationState.UNSEEN).all()


def test_opening_is_re_fixture_where_it_is(drawn: Give) -> None:
    joint = drawn("opening")
    verdict = joint.inspection.verdict
    assert verdict.word is VerdictWord.RE_FIXTURE
    over = [spot for spot in verdict.spots if spot.state is StationState.OVER]
    assert len(over) == 1
    limit = joint.inspection.limit.limit_mm
    x = joint.inspection.arrises.band.xy_mm[:, 0]
    wide = x[joint.true_gap_mm > limit]
    assert over[0].start_mm == pytest.approx(wide.min(), abs=1.0)
    assert over[0].end_mm == pytest.approx(wide.max(), abs=1.0)


def test_openings_of_one_and_three_millimetres_are_not_smoothed_away(drawn: Give) -> None:
    joint = drawn("short openings")
    x = joint.inspection.arrises.band.xy_mm[:, 0]
    states = np.array([str(state) for state in joint.inspection.verdict.states])
    for start, end in ((60, 61), (130, 133)):
        assert (states[(x > start + 0.25) & (x < end - 0.25)] == StationState.OVER).all()
    apart = np.abs(x[:, None] - np.array([60, 61, 130, 133])).min(axis=1) > 0.75
    assert np.nanmax(np.abs(joint.error_mm[apart])) < 0.06


def test_pen_lines_and_scratches_beside_the_joint_are_left_alone(drawn: Give) -> None:
    line = drawn("decoys").inspection.line
    middle = drawn("decoys").scene.middle_mm(line.xy_mm[:, 0])
    assert np.abs(line.xy_mm[:, 1] - middle).max() < 0.3


def test_positions_along_the_joint_count_from_the_datum_mark(drawn: Give) -> None:
    for name in ("bow", "slanted taper"):
        joint = drawn(name)
        band = joint.inspection.arrises.band
        # The joint is nearly straight: from the foot of the origin, s follows x over cos(slope).
        slope = np.gradient(joint.scene.middle_mm(band.xy_mm[:, 0]), band.xy_mm[:, 0])
        x = band.xy_mm[:, 0]
        arc = np.concatenate([[0], np.cumsum(np.hypot(1, (slope[1:] + slope[:-1]) / 2) * np.diff(x))])
        difference = band.station_mm - arc
        assert np.ptp(difference) < 0.1


def test_larger_limit_flags_no_more(drawn: Give) -> None:
    joint = drawn("slanted taper")
    over = []
    for wire in ("0.8mm", "1.0mm", "1.2mm", "1.6mm"):
        verdict = inspect(joint.path, replace(SETTINGS, wire=parse_wire(wire))).verdict
        over.append(sum(state is StationState.OVER for state in verdict.states))
    assert over == sorted(over, reverse=True)
    assert over[0] > over[-1]


def test_same_photo_gives_the_same_profile_bit_for_bit(drawn: Give) -> None:
    joint = drawn("decoys")
    again = inspect(joint.path, joint.inspection.settings)
    np.testing.assert_array_equal(again.profile.gap_mm, joint.inspection.profile.gap_mm)
    np.testing.assert_array_equal(again.profile.u_gap_mm, joint.inspection.profile.u_gap_mm)


@pytest.fixture(scope="module")
def two_joints(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A photo in which a second line beside the target behaves like a gap."""
    scene = Scene(gap_mm=lambda x: 0.3 + 0 * x, face=0.05, lines=((-50, 300, 36.0, 0.3, 0.012),), seed=21)
    return save(scene, tmp_path_factory.mktemp("two") / "two.jpg")


class TestChoosingTheJoint:
    def test_two_joints_are_left_to_a_person(self, two_joints: Path) -> None:
        with pytest.raises(RetakeError) as caught:
            inspect(two_joints, SETTINGS)
        assert caught.value.reason == "more than one line"
        assert "--points" in caught.value.remedy

    @pytest.mark.parametrize("y", [22.0, 36.0])
    def test_points_on_either_choose_it(self, two_joints: Path, y: float) -> None:
        photo = open_photo(two_joints)
        to_px = scale_map(photo, find_target(photo)).to_px
        points = to_px(np.array([[20.0, y + 0.2], [190.0, y + 1.7 if y < 30 else y]]))
        inspection = inspect(two_joints, replace(SETTINGS, points_px=points))
        assert inspection.line.given_by_person
        inner = inspection.line.xy_mm[:, 1]
        expected = 22.0 + 0.01 * inspection.line.xy_mm[:, 0] if y < 30 else y
        assert np.abs(inner - expected).max() < 0.3
        assert np.nanmedian(inspection.profile.gap_mm) == pytest.approx(0.3, abs=0.02)

    @pytest.mark.parametrize(
        "points",
        [
            [[100.0, 100.0]],
            [[100.0, 100.0], [100.0, 100.0]],
            [[-5.0, 100.0], [900.0, 100.0]],
            [[np.nan, 100.0], [900.0, 100.0]],
            [[100.0, 100.0], [WIDTH_PX + 50.0, 100.0]],
        ],
        ids=["one", "same", "outside", "nan", "beyond"],
    )
    def test_impossible_points_are_refused(self, two_joints: Path, points: list[list[float]]) -> None:
        with pytest.raises(UsageError):
            inspect(two_joints, replace(SETTINGS, points_px=np.array(points)))

    def test_stretch_can_be_chosen(self, drawn: Give) -> None:
        joint = drawn("bow")
        part = inspect(joint.path, replace(SETTINGS, from_mm=50.0, to_mm=120.0))
        s = part.profile.station_mm
        assert 49 < s[0] < 52
        assert 118 < s[-1] < 122
        whole = np.interp(s, joint.inspection.profile.station_mm, joint.inspection.profile.gap_mm)
        # Blur and floor are pooled over what is looked at, so the two differ, but by less than is stated.
        apart = np.abs(part.profile.gap_mm - whole)
        assert (apart <= 1.96 * part.profile.u_gap_mm).mean() > 0.95

    def test_stretch_too_short_is_refused(self, drawn: Give) -> None:
        with pytest.raises(UsageError, match="too short"):
            inspect(drawn("bow").path, replace(SETTINGS, from_mm=50.0, to_mm=51.0))


def test_plain_plate_without_a_joint_is_a_retake(tmp_path: Path) -> None:
    scene = Scene(gap_mm=lambda x: 0 * x, plates=(0.4, 0.4), floor=0.4, face=0.4, seed=22)
    with pytest.raises(RetakeError) as caught:
        inspect(save(scene, tmp_path / "plate.jpg"), SETTINGS)
    assert caught.value.reason in {"no joint", "more than one line"}


def test_photo_without_a_target_is_a_retake(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    from PIL import Image

    noise = rng.integers(60, 180, (HEIGHT_PX // 2, WIDTH_PX // 2), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "noise.jpg")
    with pytest.raises(RetakeError) as caught:
        inspect(tmp_path / "noise.jpg", SETTINGS)
    assert caught.value.reason == "no target"


def test_unknown_sheet_is_said_and_stays_honest(drawn: Give) -> None:
    joint = drawn("slanted away")
    without = inspect(joint.path, replace(SETTINGS, sheet=None)).profile
    seen = np.isfinite(without.gap_mm)
    error = np.abs(without.gap_mm - joint.true_gap_mm)[seen]
    assert (error <= 1.96 * without.u_gap_mm[seen]).mean() > 0.88
    assert any("thickness" in note for note in without.notes)


def test_strip_of_another_number_measures_the_same(tmp_path: Path, drawn: Give) -> None:
    joint = drawn("bow")
    other = inspect(save(replace(joint.scene, strip_number=7), tmp_path / "seven.jpg"), SETTINGS)
    assert other.scale.sighting.layout.strip_number == 7
    n = min(len(other.profile.gap_mm), len(joint.error_mm))
    difference = other.profile.gap_mm[:n] - joint.inspection.profile.gap_mm[:n]
    assert np.sqrt(np.nanmean(difference**2)) < 0.015
