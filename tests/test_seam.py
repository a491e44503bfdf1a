"""Long joints from several photos, on drawn photos with known truth (invented scenes)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from threading import Barrier

import numpy as np
import pytest
from PIL import Image

from fitup.errors import PhotoError, RetakeError, UsageError
from fitup.inspection import InspectionSettings
from fitup.parallel import each_photo, usual_workers
from fitup.profile.joining import NO_PHOTO
from fitup.seam import Seam, inspect_seam
from fitup.verdict import StationState, VerdictWord, parse_sheet, parse_wire
from tests.drawn_seam import SCENE, SHOTS, STRIPS, Shot, Strip, long_gap, save_shot

SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), arris_radius_mm=0.0)
Draw = Callable[[str], Path]

MORE_SHOTS = {
    # Between two strips, so that it measures their distance.
    "bc": Shot(centre_mm=(452.0, 0.0), seed=41, slant_deg=1.0),
    # Somebody pushed the parts together before this photo of the second strip.
    "b moved": replace(
        SHOTS["b"], scene=replace(SCENE, gap_mm=lambda x: long_gap(x) - 0.2 * (np.abs(x - 450) < 60)), seed=42
    ),
    "out of order": replace(
        SHOTS["b"], centre_mm=(221.0, 0.0), strips={10: STRIPS[10], 12: Strip(x_mm=232.2)}, seed=43
    ),
    "b with number 10": replace(SHOTS["b"], strips={10: STRIPS[11]}, seed=44),
}


@pytest.fixture(scope="module")
def shot(tmp_path_factory: pytest.TempPathFactory) -> Draw:
    """Give a drawn photo by name; each is drawn once."""
    folder = tmp_path_factory.mktemp("shots")

    def give(name: str) -> Path:
        path = folder / f"{name.replace(' ', '_')}.jpg"
        return path if path.exists() else save_shot({**SHOTS, **MORE_SHOTS}[name], path)

    return give


@pytest.fixture(scope="module")
def seam(shot: Draw) -> Seam:
    """The whole joint from its four photos."""
    return inspect_seam([shot(name) for name in "abcd"], SETTINGS)


def true_place(seam: Seam) -> np.ndarray:
    """Where the stations really are along the joint [mm]."""
    stations = seam.stations
    return np.array([STRIPS[number].x_mm for number in stations.strip_number]) + stations.on_strip_mm


def keys(seam: Seam, mask: Sequence[bool] | np.ndarray) -> dict[tuple[int, float], tuple[float, ...]]:
    """Stations by strip and place on it, with what was measured there."""
    profile, stations = seam.profile, seam.stations
    rows = zip(
        stations.strip_number.tolist(),
        stations.on_strip_mm.tolist(),
        profile.gap_mm.tolist(),
        profile.u_gap_mm.tolist(),
        profile.near_px[:, 0].tolist(),
        mask,
        strict=True,
    )
    return {(strip, at): values for strip, at, *values, kept in rows if kept}


def test_gap_is_true_along_the_whole_joint(seam: Seam) -> None:
    profile = seam.profile
    error = profile.gap_mm - long_gap(true_place(seam))
    assert profile.seen.mean() > 0.99
    assert abs(np.nanmean(error)) < 0.02
    assert np.sqrt(np.nanmean(error**2)) < 0.025
    covered = np.abs(error[profile.seen]) <= 1.96 * profile.u_gap_mm[profile.seen]
    assert covered.mean() > 0.9


def test_openings_are_found_where_they_are_also_between_two_strips(seam: Seam) -> None:
    assert seam.verdict.word is VerdictWord.RE_FIXTURE
    over = [spot for spot in seam.verdict.spots if spot.state is StationState.OVER]
    assert [spot.at_mm for spot in over] == pytest.approx([330.0, 680.0], abs=1.0)
    by_strips = seam.joined.shown[:, np.abs(seam.profile.station_mm - 680) < 4]
    assert by_strips[2:].all()
    assert not by_strips[:2].any()


def test_places_are_true_to_three_tenths_over_nine_hundred_millimetres(seam: Seam) -> None:
    """Four papers that do not quite touch, of each of which the next photo shows a glimpse."""
    off = np.abs(seam.profile.station_mm - true_place(seam))
    assert off.max() < 0.3
    u_chain = np.array([seam.chain.u_mm[seam.chain.numbers.index(n)] for n in seam.stations.strip_number])
    assert (off <= 2 * np.hypot(u_chain, 0.05)).all()
    assert {(link.first, link.second) for link in seam.chain.links} == {(10, 11), (11, 12), (12, 13)}


def test_glimpses_of_the_next_strip_are_true_within_what_is_stated(seam: Seam) -> None:
    for link in seam.chain.links:
        true = STRIPS[link.second].x_mm - STRIPS[link.first].x_mm
        assert abs(link.offset_mm - true) < min(2 * link.u_mm, 0.2)
        assert link.u_mm < 0.5


def test_a_photo_of_two_strips_measures_their_distance(shot: Draw, seam: Seam) -> None:
    more = inspect_seam([shot(name) for name in ("a", "b", "c", "d", "bc")], SETTINGS)
    (link,) = [link for link in more.chain.links if link.photo == "bc.jpg"]
    true = STRIPS[12].x_mm - STRIPS[11].x_mm
    assert (link.first, link.second) == (11, 12)
    assert abs(link.offset_mm - true) < min(3 * link.u_mm, 0.15)
    assert link.u_mm < 0.1
    offset, u = more.chain.offset_mm(11, 12)
    assert offset == pytest.approx(true, abs=0.15)
    assert u < seam.chain.offset_mm(11, 12)[1]
    assert all(overlap.agrees for overlap in more.joined.overlaps)
    # Where the new photo does not look, nothing changes but the places.
    untouched = ~more.joined.shown[[photo.path.endswith("bc.jpg") for photo in more.photos]].any(axis=0)
    before = keys(seam, np.ones(len(seam.profile.gap_mm), bool))
    after = keys(more, untouched & more.profile.seen)
    assert len(after) > 1000
    assert all(before[key] == values for key, values in after.items())


def test_any_order_and_several_processes_give_the_same_bits(shot: Draw, seam: Seam) -> None:
    told: list[int] = []
    other = inspect_seam(
        [shot(name) for name in "cadb"], SETTINGS, workers=2, told=lambda index, _: told.append(index)
    )
    assert sorted(told) == [0, 1, 2, 3]
    for name in ("station_mm", "gap_mm", "u_gap_mm", "near_mm", "far_mm", "near_px", "far_px", "centre_px"):
        np.testing.assert_array_equal(getattr(other.profile, name), getattr(seam.profile, name))
    assert other.profile.unseen_reason == seam.profile.unseen_reason
    assert [Path(photo.path).name for photo in other.photos] == ["a.jpg", "b.jpg", "c.jpg", "d.jpg"]
    assert other.verdict.sentence == seam.verdict.sentence


@pytest.mark.parametrize("missing", ["a", "b", "d"])
def test_one_missing_photo_leaves_a_hole_and_changes_nothing_else(
    shot: Draw, seam: Seam, missing: str
) -> None:
    index = "abcd".index(missing)
    part = inspect_seam([shot(name) for name in "abcd" if name != missing], SETTINGS, strips=(10, 13))
    untouched = seam.profile.seen & ~seam.joined.shown[index]
    before, after = keys(seam, untouched), keys(part, part.profile.seen)
    assert len(before) > 1000
    assert all(after[key] == values for key, values in before.items())
    # Only how far the strips lie apart is known less well without it.
    assert part.chain.place_mm == pytest.approx(seam.chain.place_mm, abs=0.3)
    only_there = seam.joined.shown[index] & (seam.joined.shown.sum(axis=0) == 1)
    (hole,) = part.holes
    at = seam.profile.station_mm[only_there]
    assert (hole.start_mm, hole.end_mm) == pytest.approx((at[0] - 0.25, at[-1] + 0.25), abs=0.8)
    inside = (part.profile.station_mm > hole.start_mm) & (part.profile.station_mm < hole.end_mm)
    assert set(np.array(part.profile.unseen_reason)[inside]) == {NO_PHOTO}
    assert any("photograph the stretch" in spot.advice for spot in part.verdict.spots)


def test_parts_moved_between_photos_are_an_error_that_names_both(shot: Draw) -> None:
    with pytest.raises(RetakeError) as caught:
        inspect_seam([shot("a"), shot("b moved"), shot("c")], SETTINGS)
    assert caught.value.reason == "photos disagree"
    assert "b_moved.jpg" in str(caught.value)
    assert "c.jpg" in str(caught.value)
    assert "along the joint" in str(caught.value)


def test_one_number_on_two_strips_is_an_error_that_names_both_photos(shot: Draw) -> None:
    with pytest.raises(RetakeError) as caught:
        inspect_seam([shot("a"), shot("b with number 10")], SETTINGS)
    assert caught.value.reason == "photos disagree"
    assert "a.jpg" in str(caught.value)
    assert "b_with_number_10.jpg" in str(caught.value)
    assert "every strip number once" in caught.value.remedy


def test_strips_out_of_order_are_an_error_that_names_the_photo(shot: Draw) -> None:
    with pytest.raises(RetakeError) as caught:
        inspect_seam([shot("a"), shot("out of order")], SETTINGS)
    assert caught.value.reason == "strips out of order"
    assert "out_of_order.jpg" in str(caught.value)


def test_the_same_photo_twice_counts_once(shot: Draw, seam: Seam, tmp_path: Path) -> None:
    copy = Path(shutil.copy(shot("b"), tmp_path / "z.jpg"))
    twice = inspect_seam([*(shot(name) for name in "abcd"), copy], SETTINGS)
    assert len(twice.photos) == 4
    assert "z.jpg is the same photo as b.jpg" in twice.notes[0]
    np.testing.assert_array_equal(twice.profile.u_gap_mm, seam.profile.u_gap_mm)


def test_bad_photos_are_named_and_the_rest_stays(shot: Draw, seam: Seam, tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    Image.fromarray(rng.integers(90, 120, (600, 800), dtype=np.uint8)).save(tmp_path / "plate.png")
    (tmp_path / "text.jpg").write_text("no photo")
    part = inspect_seam(
        [tmp_path / "plate.png", shot("a"), shot("c"), shot("d"), tmp_path / "text.jpg"], SETTINGS
    )
    assert {one.name: type(one.fault) for one in part.faults} == {
        "plate.png": RetakeError,
        "text.jpg": PhotoError,
    }
    (hole,) = part.holes
    assert any(text.startswith("plate.png: ") for text in hole.meant)
    before = keys(seam, seam.profile.seen & ~seam.joined.shown[1])
    after = keys(part, part.profile.seen)
    assert all(after[key] == values for key, values in before.items())


def test_no_photo_that_can_be_measured_is_an_error_of_the_photos(tmp_path: Path) -> None:
    for name in ("one.png", "two.png"):
        Image.fromarray(np.full((600, 800), 100, np.uint8)).save(tmp_path / name)
    with pytest.raises(RetakeError) as caught:
        inspect_seam(sorted(tmp_path.iterdir()), SETTINGS)
    assert caught.value.reason == "no target"
    assert "None of the 2 photos" in str(caught.value)
    (tmp_path / "one.png").write_bytes(b"x")
    with pytest.raises(PhotoError):
        inspect_seam([tmp_path / "one.png"], SETTINGS)


def test_a_strip_that_is_only_glimpsed_is_a_part_of_the_joint_unless_told_otherwise(shot: Draw) -> None:
    whole = inspect_seam([shot("b")], SETTINGS)
    assert whole.chain.numbers == (11, 12)
    (hole,) = whole.holes
    assert hole.end_mm > 400
    part = inspect_seam([shot("b")], SETTINGS, strips=(11, 11))
    assert part.chain.numbers == (11,)
    assert not part.holes
    assert part.profile.seen.all()


def test_the_ends_of_the_joint_can_be_given(shot: Draw) -> None:
    part = inspect_seam(
        [shot("b"), shot("c")], replace(SETTINGS, from_mm=-12.0, to_mm=300.0), strips=(11, 12)
    )
    assert part.profile.station_mm[0] == pytest.approx(-12.0)
    assert part.profile.station_mm[-1] == pytest.approx(300.0, abs=0.5)
    assert part.profile.seen.mean() > 0.95


@pytest.mark.parametrize(
    ("change", "strips", "word"),
    [
        ({"points_px": np.array([[1.0, 1.0], [9.0, 9.0]])}, None, "points"),
        ({"from_mm": 50.0, "to_mm": 40.0}, None, "too short"),
        ({"from_mm": 5000.0, "to_mm": 5100.0}, None, "no photo shows"),
        ({}, (11, 13), "no photo shows"),
        ({"joint_kind": "dovetail"}, None, "joint kind"),
    ],
    ids=["points", "short", "elsewhere", "strips", "kind"],
)
def test_settings_that_cannot_be_used_are_refused(
    shot: Draw, change: dict[str, object], strips: tuple[int, int] | None, word: str
) -> None:
    with pytest.raises(UsageError, match=word):
        inspect_seam([shot("a")], replace(SETTINGS, **change), strips=strips)


def test_no_photos_are_refused() -> None:
    with pytest.raises(UsageError):
        inspect_seam([], SETTINGS)


class TestSeveralAtOnce:
    def test_results_and_errors_come_back_by_index(self) -> None:
        found = dict(each_photo(_half, ["4", "x", "6"], workers=2))
        assert (found[0], found[2]) == (2, 3)
        assert isinstance(found[1], ValueError)

    def test_photos_are_worked_on_at_the_same_time(self) -> None:
        met = Barrier(2, timeout=20)  # which nobody passes alone
        found = dict(each_photo(lambda path: met.wait() >= 0, ["a", "b"], workers=2))
        assert found == {0: True, 1: True}

    def test_no_more_workers_than_photos(self) -> None:
        assert usual_workers(1) == 1
        assert 1 <= usual_workers(100) <= (os.cpu_count() or 1)


def _half(text: str) -> int:
    return int(text) // 2
