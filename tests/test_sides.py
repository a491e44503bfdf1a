"""A joint in two drawn photos, one from either side, with known gap and step (invented scenes)."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from fitup.errors import PhotoError, RetakeError, UsageError
from fitup.inspection import InspectionSettings, inspect
from fitup.profile.budget import STEP
from fitup.sides import Sides, inspect_sides
from fitup.verdict import VerdictWord, parse_sheet, parse_wire
from tests.conftest import true_gap
from tests.drawn_joint import Scene, save

SETTINGS = InspectionSettings(wire=parse_wire("0.9mm"), sheet=parse_sheet("1.5mm"), arris_radius_mm=0.0)
Draw = Callable[[str], Path]

HI_LO = Scene(
    gap_mm=lambda x: 0.35 + 0.1 * np.sin(x / 30) + 0.42 * np.exp(-(((x - 120) / 12) ** 2)),
    step_mm=lambda x: 0.06 + 0.07 * np.sin(np.pi * x / 210),
)
LEVEL = replace(HI_LO, step_mm=lambda x: 0 * x)
SCENES = {
    "hi-lo strip": replace(HI_LO, slant_deg=-15, seed=61),
    "hi-lo beyond": replace(HI_LO, slant_deg=15, seed=62, turn_deg=2.0),
    "hi-lo beyond, tacked": replace(HI_LO, slant_deg=15, seed=63, covered_mm=((60, 66),)),
    "lo-hi strip": replace(HI_LO, step_mm=lambda x: -0.1 + 0 * x, slant_deg=-14, seed=64),
    "lo-hi beyond": replace(HI_LO, step_mm=lambda x: -0.1 + 0 * x, slant_deg=16, seed=65),
    "level strip": replace(LEVEL, slant_deg=-15, seed=66),
    "level beyond": replace(LEVEL, slant_deg=15, seed=67),
    "level beyond too": replace(LEVEL, slant_deg=13, seed=68),
    "level above": replace(LEVEL, slant_deg=6, seed=69),
    "level strip 2": replace(LEVEL, slant_deg=15, seed=70, strip_number=2),
    "moved beyond": replace(
        LEVEL, gap_mm=lambda x: LEVEL.gap_mm(x) + 0.2 * np.exp(-(((x - 60) / 10) ** 2)), slant_deg=15, seed=71
    ),
    "moved evenly beyond": replace(LEVEL, gap_mm=lambda x: LEVEL.gap_mm(x) - 0.25, slant_deg=15, seed=73),
}


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Draw:
    """Give a drawn photo by name; each is drawn once."""
    folder = tmp_path_factory.mktemp("sides")

    def give(name: str) -> Path:
        path = folder / f"{name.replace(' ', '_').replace(',', '')}.jpg"
        return path if path.exists() else save(SCENES[name], path)

    return give


@pytest.fixture(scope="module")
def hi_lo(photo: Draw) -> Sides:
    """The joint with a step, photos in the wrong order."""
    return inspect_sides([photo("hi-lo beyond"), photo("hi-lo strip")], SETTINGS)


def places(sides: Sides) -> np.ndarray:
    """Places (N, 2) of the profile's stations, as the first photo has them."""
    band = sides.photos[0].alone.arrises.band
    return np.asarray(band.xy_mm[np.searchsorted(band.station_mm, sides.profile.station_mm)])


def check(sides: Sides, scene: Scene) -> None:
    """Gap and step are true, and within what is stated."""
    assert sides.separated is not None
    at = places(sides)
    gap_error = sides.profile.gap_mm - true_gap(scene, at)
    step_error = sides.separated.step_mm - scene.step_mm(at[:, 0])
    assert np.sqrt(np.nanmean(gap_error**2)) < 0.015
    assert np.sqrt(np.nanmean(step_error**2)) < 0.03
    for error, u in ((gap_error, sides.profile.u_gap_mm), (step_error, sides.separated.u_step_mm)):
        told = np.isfinite(error)
        assert (np.abs(error) <= 2 * u)[told].mean() > 0.95
    assert np.nanmedian(sides.profile.u_gap_mm) < 0.02
    assert np.nanmedian(sides.separated.u_step_mm) < 0.05


def test_gap_and_step_are_true_within_what_is_stated(hi_lo: Sides) -> None:
    check(hi_lo, HI_LO)
    assert hi_lo.verdict.word is VerdictWord.WITHIN
    assert [Path(one.path).stem for one in hi_lo.photos] == ["hi-lo_strip", "hi-lo_beyond"]


def test_each_photo_alone_is_off_by_the_step_and_both_are_not(hi_lo: Sides) -> None:
    truth = true_gap(HI_LO, places(hi_lo))
    off = [float(np.nanmean(shown - truth)) for shown in hi_lo.apparent.apparent_mm]
    assert off[0] > 0.03  # seen from the strip's side, past a higher plate: too wide
    assert off[1] < -0.01
    assert abs(float(np.nanmean(hi_lo.profile.gap_mm - truth))) < 0.01


@pytest.mark.parametrize(
    ("names", "scene"),
    [(("lo-hi strip", "lo-hi beyond"), "lo-hi strip"), (("level strip", "level beyond"), "level strip")],
)
def test_a_lower_plate_and_level_plates(photo: Draw, names: tuple[str, str], scene: str) -> None:
    check(inspect_sides([photo(name) for name in names], SETTINGS), SCENES[scene])


def test_least_squares_over_both_photos_gives_the_same(hi_lo: Sides) -> None:
    """Reference: numpy.linalg.lstsq, the photos' gaps and views taken as they were measured alone."""
    assert hi_lo.separated is not None
    for index in range(0, len(hi_lo.profile.gap_mm), 37):
        tangents = hi_lo.apparent.tangent[:, index]
        matrix = np.stack([np.ones(2), -tangents], axis=1)
        gap, step = np.linalg.lstsq(matrix, hi_lo.apparent.apparent_mm[:, index], rcond=None)[0]
        assert hi_lo.profile.gap_mm[index] == pytest.approx(gap, abs=1e-9)
        assert hi_lo.separated.step_mm[index] == pytest.approx(step, abs=1e-9)


def test_any_order_and_several_processes_give_the_same_bits(photo: Draw, hi_lo: Sides) -> None:
    other = inspect_sides([photo("hi-lo strip"), photo("hi-lo beyond")], SETTINGS, workers=2)
    for name in ("station_mm", "gap_mm", "u_gap_mm", "near_px", "far_px", "centre_px"):
        np.testing.assert_array_equal(getattr(other.profile, name), getattr(hi_lo.profile, name))
    assert other.verdict.sentence == hi_lo.verdict.sentence


def test_the_photos_keep_their_own_pixels(hi_lo: Sides) -> None:
    for one in hi_lo.photos:
        np.testing.assert_array_equal(one.subject.profile.near_px, one.alone.profile.near_px)
        inside = np.isin(hi_lo.profile.station_mm, one.profile.station_mm)
        np.testing.assert_array_equal(one.profile.gap_mm, hi_lo.profile.gap_mm[inside])


def test_a_place_that_one_photo_does_not_show_is_measured_in_the_other(photo: Draw) -> None:
    sides = inspect_sides([photo("hi-lo strip"), photo("hi-lo beyond, tacked")], SETTINGS)
    check(sides, HI_LO)
    alone = np.isfinite(sides.apparent.apparent_mm[0]) & np.isnan(sides.apparent.apparent_mm[1])
    assert alone.sum() > 8
    assert sides.profile.seen[alone].all()
    (row,) = [row for row in sides.profile.budget if row.name == STEP]
    assert (row.u_mm[alone] > 0.015).all()


def test_photos_from_one_side_say_so_and_the_more_careful_is_judged(photo: Draw) -> None:
    paths = [photo("level beyond"), photo("level beyond too")]
    sides = inspect_sides(paths, SETTINGS)
    assert sides.separated is None
    assert sides.not_separated is not None
    assert "nearly the same side" in sides.notes[0]
    assert sides.judged is not None
    judged = sides.photos[sides.judged]
    alone = inspect(judged.path, SETTINGS)
    np.testing.assert_array_equal(sides.profile.u_gap_mm, alone.profile.u_gap_mm)
    assert any(row.name == STEP and row.u_mm.any() for row in sides.profile.budget)
    assert sides.verdict.sentence == alone.verdict.sentence
    largest = [
        float(np.nanmax(one.alone.profile.gap_mm + 2 * one.alone.profile.u_gap_mm)) for one in sides.photos
    ]
    assert largest[sides.judged] == max(largest)


def test_the_worse_verdict_is_the_more_careful_one(photo: Draw) -> None:
    """From the strip's side the higher plate lets the joint look too wide: that one counts."""
    settings = replace(SETTINGS, procedure_limit_mm=0.75)
    # Two photos from the strip's side: the same one, and one with an opening.
    wide = replace(SCENES["hi-lo strip"], gap_mm=lambda x: HI_LO.gap_mm(x) + 0.3, seed=72)
    path = photo("hi-lo strip").with_name("wide.jpg")
    sides = inspect_sides([photo("hi-lo strip"), save(wide, path)], settings)
    assert sides.judged is not None
    assert Path(sides.photos[sides.judged].path).name == "wide.jpg"
    assert sides.verdict.word is VerdictWord.RE_FIXTURE


def test_a_step_known_too_badly_says_so(photo: Draw) -> None:
    """Arrises of unknown radius and views that are not far apart."""
    sides = inspect_sides(
        [photo("level above"), photo("level beyond")], replace(SETTINGS, arris_radius_mm=0.15)
    )
    assert sides.separated is None
    assert "not measurable in these photos" in sides.notes[0]
    assert "° apart" in sides.notes[0]
    assert "15 degrees to either side" in sides.notes[0]


def test_strips_that_differ_are_one_sentence_that_names_both(photo: Draw) -> None:
    with pytest.raises(UsageError) as caught:
        inspect_sides([photo("level strip"), photo("level strip 2")], SETTINGS)
    said = str(caught.value)
    assert "level_strip.jpg shows strip 1" in said
    assert "level_strip_2.jpg shows strip 2" in said
    assert said.count(".jpg") == 2


def test_parts_moved_between_the_photos_are_told_with_the_place(photo: Draw) -> None:
    with pytest.raises(RetakeError) as caught:
        inspect_sides([photo("level strip"), photo("moved beyond")], SETTINGS)
    assert caught.value.reason == "photos disagree"
    assert "level_strip.jpg" in str(caught.value)
    assert "moved_beyond.jpg" in str(caught.value)


def test_parts_moved_evenly_look_like_a_large_step_which_is_remarked(photo: Draw, hi_lo: Sides) -> None:
    sides = inspect_sides([photo("level strip"), photo("moved evenly beyond")], SETTINGS)
    assert "make sure that nothing moved" in sides.notes[0]
    assert not hi_lo.notes


def test_one_photo_twice_is_refused(photo: Draw, tmp_path: Path) -> None:
    copy = Path(shutil.copy(photo("level strip"), tmp_path / "copy.jpg"))
    with pytest.raises(UsageError, match="same photo"):
        inspect_sides([photo("level strip"), copy], SETTINGS)


def test_a_photo_that_cannot_be_measured_is_named(photo: Draw, tmp_path: Path) -> None:
    Image.fromarray(np.full((600, 800), 100, np.uint8)).save(tmp_path / "plate.png")
    with pytest.raises(RetakeError, match=r"plate\.png") as caught:
        inspect_sides([photo("level strip"), tmp_path / "plate.png"], SETTINGS)
    assert caught.value.reason == "no target"
    (tmp_path / "text.jpg").write_text("no photo")
    with pytest.raises(PhotoError, match=r"text\.jpg"):
        inspect_sides([tmp_path / "text.jpg", photo("level strip")], SETTINGS)


@pytest.mark.parametrize(
    ("change", "count", "word"),
    [
        ({}, 1, "two photos"),
        ({}, 3, "two photos"),
        ({"points_px": np.array([[1.0, 1.0], [9.0, 9.0]])}, 2, "points"),
        ({"joint_kind": "tee"}, 2, "T-joint"),
        ({"two_targets": True}, 2, "target on each plate"),
        ({"joint_kind": "dovetail"}, 2, "joint kind"),
    ],
    ids=["one", "three", "points", "tee", "two targets", "kind"],
)
def test_settings_that_cannot_be_used_are_refused(change: dict[str, object], count: int, word: str) -> None:
    with pytest.raises(UsageError, match=word):
        inspect_sides(["none.jpg"] * count, replace(SETTINGS, **change))


# ----------------------------------------------------------------------- rendered photos (demo_images/sides)

RENDERED = Path(__file__).parents[1] / "demo_images" / "sides"


@pytest.mark.parametrize(("joint", "told"), [("33", 1), ("34", 0), ("35", -1)])
def test_rendered_photos_from_both_sides_tell_gap_and_step_apart(joint: str, told: int) -> None:
    """The plate beyond the joint higher, level, lower: true within what is stated, told where sure."""
    paths = sorted(RENDERED.glob(f"{joint}?_sides.jpg"))
    sides = inspect_sides(paths, InspectionSettings(wire=SETTINGS.wire, sheet=SETTINGS.sheet))
    truth = json.loads(paths[0].with_suffix(".truth.json").read_text(encoding="utf-8"))["stations"]
    assert sides.separated is not None
    step, u_step = sides.separated.step_mm, sides.separated.u_step_mm
    for key, found, u in (
        ("gap_mm", sides.profile.gap_mm, sides.profile.u_gap_mm),
        ("step_mm", step, u_step),
    ):
        seen = np.isfinite(found)
        error = found - np.interp(sides.profile.station_mm, truth["s_mm"], truth[key])
        assert seen.mean() > 0.9
        assert (np.abs(error) <= 2 * u)[seen].mean() > 0.9
    sure = np.abs(np.nanmedian(step)) > 2 * np.nanmedian(u_step)
    assert np.sign(np.nanmedian(step)) * sure == told
